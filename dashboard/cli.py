"""The `haul` command: imports the module of one subcommand, runs it, and prints a fault as one line.

Exit status: 0 done; 1 the answer is no; 2 the input or the call is wrong; 3 our own fault, its trace in
a log.  130, 143 and 141 as in shells: stopped by Ctrl-C, by SIGTERM, reader of the output gone.
"""

from __future__ import annotations

# first, because Ctrl-C counts while the modules below are imported
from dashboard import stop_signals  # isort: skip

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

from logger.errors import CallFault, UserFault, one_line
from logger.spelling import cure

DONE, NO, WRONG, OURS, READER_GONE = 0, 1, 2, 3, 141

# name -> (module in dashboard.commands, what it does): `haul --help` imports no module
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("demo", "try it without a device: virtual devices, the recorder and the live page"),
    "desk": ("desk", "do the whole job on pages: sensors, rig, check, haul, result, sessions"),
    "record": ("record", "record a haul from the devices of a sensors file, until Ctrl-C"),
    "watch": ("watch", "show the live page of a session that is being recorded, or is finished"),
    "review": ("review", "compare what a session measured with what its rig predicts"),
    "predict": ("predict", "predict forces, travel, rope and limits from a rig file"),
    "choose": ("choose", "list the built-in rigs that can do a job, and why the others cannot"),
    "convert": (
        "convert",
        "list the moves that make one rig of another with the load held",
    ),
    "card": ("card", "write one printable page of a rig for the crew"),
    "plan": ("plan", "show the plan page of one rig, or of two side by side"),
    "import": ("import_table", "make a session from a table of readings"),
    "calibrate": ("calibrate", "fit a calibration to known forces or lengths"),
    "compare": ("compare", "compare several sessions with each other"),
    "library": ("library", "list the sessions of a folder, and the trend of each rig's efficiency"),
    "gear": ("gear", "list what each marked piece of gear carried in the sessions of a folder"),
    "replay": ("replay", "play a session again on the live page, for training"),
    "verify": (
        "verify",
        "check that a session is complete and unchanged; repair one that was cut short",
    ),
    "simulate": (
        "simulate",
        "run virtual devices that send readings of a haul with stated true values",
    ),
    "shelf": ("shelf", "list the rigs that come with the program"),
    "schema": ("schema", "print a JSON Schema of rig or sensors files, for editors"),
    "ports": ("ports", "list the serial ports of this machine"),
    "listen": ("listen", "show what a device sends, and write the channel that reads it"),
}


class _Paragraphs(argparse.HelpFormatter):
    """Wraps each paragraph of a description to the width of the terminal."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        fill = super()._fill_text
        return "\n\n".join(fill(paragraph, width, indent) for paragraph in text.split("\n\n"))


class Parser(argparse.ArgumentParser):
    """An argument parser that raises CallFault instead of exiting; the fault names the option
    that was likely meant."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"allow_abbrev": False, **kwargs})

    def options(self) -> list[str]:
        """Every option that the help lists."""
        return [o for a in self._actions if a.help != argparse.SUPPRESS for o in a.option_strings]

    def error(self, message: str) -> NoReturn:
        """Raise CallFault with argparse's message."""
        name = self.prog.removeprefix("haul ")
        raise CallFault(name, message, f"see `{self.prog} --help`")

    def parse(self, argv: Sequence[str]) -> argparse.Namespace:
        """The arguments; raises CallFault for an unknown one, with the option that was likely meant."""
        # checked before argparse, which would report a missing argument instead of the mistyped option
        for word in argv:
            if word == "--":
                break
            option = word.split("=", 1)[0]
            if option.startswith("--") and option not in self._option_string_actions:
                options = [o for o in self.options() if o.startswith("--")]
                raise CallFault(
                    self.prog.removeprefix("haul "),
                    f"there is no option {option}",
                    cure(option, options, "options are", "{}"),
                )
        args, rest = self.parse_known_args(argv)
        if rest:
            self.error(f"{' '.join(rest)!r} is one argument too many")
        return args


def build(name: str) -> tuple[Parser, Any]:
    """Import the module of a subcommand; return its parser and the module."""
    file, what = COMMANDS[name]
    module = importlib.import_module(f"dashboard.commands.{file}")
    parser = Parser(prog=f"haul {name}", description=module.__doc__ or what,
                    formatter_class=_Paragraphs)  # fmt: skip
    module.add_arguments(parser)
    return parser, module


def main(argv: Sequence[str] | None = None) -> int:
    """Run one call and return its exit status; never raises.  argv: without the program's name."""
    try:
        with stop_signals.handled():
            return _call(list(sys.argv[1:] if argv is None else argv))
    except KeyboardInterrupt:
        return stop_signals.last_status()


def _call(argv: list[str]) -> int:
    """Run one call and return its exit status; raises KeyboardInterrupt alone."""
    for stream in (sys.stdout, sys.stderr):
        # a terminal that lacks a character must not end the call
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        status = _run(argv)
        if sys.stdout is not None:
            sys.stdout.flush()
        return status
    except BrokenPipeError:
        _forget_stdout()
        return READER_GONE
    except Exception as error:
        if stop_signals.raised():
            # a library's import in C makes another exception of the interrupt, e.g. ImportError
            raise KeyboardInterrupt from error
        if isinstance(error, UserFault):
            _print_fault(str(error))
            return WRONG
        return _our_fault(error)


def _run(argv: list[str]) -> int:
    if not argv or argv[0] in ("-h", "--help", "help"):
        if len(argv) > 1 and argv[0] == "help":
            return _topic(argv[1:])
        if len(argv) > 1 and argv[1] in COMMANDS:
            return _run([argv[1], "--help"])
        print(_overview())
        return DONE if argv else WRONG
    if argv[0] == "--version":
        from importlib.metadata import version

        print("haul", version("haul-session-logger"))
        return DONE
    if argv[0] not in COMMANDS:
        what = "option" if argv[0].startswith("-") else "command"
        meant = cure(argv[0], COMMANDS, "commands are", "haul {}")
        raise CallFault(argv[0] or '""', f"there is no such {what}", meant)
    parser, module = build(argv[0])
    try:
        args = parser.parse(argv[1:])
    except SystemExit:  # argparse has printed the help; a fault raises CallFault
        return DONE
    return int(module.run(args))


def _topic(words: list[str]) -> int:
    """Print what `haul help TOPIC` says; raises CallFault."""
    from dashboard.text.help_topics import TOPICS, topic_text

    if len(words) == 1 and words[0] in COMMANDS and words[0] not in TOPICS:
        return _run([words[0], "--help"])
    if len(words) > 1 or words[0] not in TOPICS:
        meant = cure(words[0], [*TOPICS, *COMMANDS], "topics are", "haul help {}")
        raise CallFault("help", f"there is no such topic as {' '.join(words)!r}", meant)
    print(topic_text(words[0]))
    if words[0] in COMMANDS:
        print(f"\n`haul {words[0]} --help` lists the options of the command.")
    return DONE


def _overview() -> str:
    rows = [f"  {name:<10} {what}" for name, (_, what) in COMMANDS.items()]
    return "\n".join(
        [
            "usage: haul COMMAND ...",
            "",
            "Records the load cell and the line counter during a rope haul, and compares what was",
            "measured with what the rig predicts.",
            "",
            *rows,
            "",
            "`haul COMMAND --help` lists the options of a command; `haul help device` says what a board of",
            "your own should print.",
            "Stay out of the line of pull. A reading never outranks a rating.",
        ]
    )


def _print_fault(text: str) -> None:
    if sys.stderr is not None:
        print(f"haul: {one_line(text, 1500)}", file=sys.stderr)


def _our_fault(error: Exception) -> int:
    import tempfile
    import traceback

    line = one_line(f"{type(error).__name__}: {error}", 200)
    try:
        handle, path = tempfile.mkstemp(prefix="haul-fault-", suffix=".log")
        with os.fdopen(handle, "w", encoding="utf-8", errors="replace") as log:
            log.write(f"{' '.join(sys.argv)}\nPython {sys.version}\n\n")
            traceback.print_exception(error, file=log)
    except OSError as second:
        path = f"nowhere, no log could be written ({second.strerror})"
    _print_fault(f"our own fault, not yours ({line}); the trace is in {path}")
    return OURS


def _forget_stdout() -> None:
    # the interpreter flushes standard output at its end, and text in the buffer would raise again
    try:
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, sys.stdout.fileno())
        os.close(null)
    except (OSError, ValueError, AttributeError):
        pass


if __name__ == "__main__":
    sys.exit(main())
