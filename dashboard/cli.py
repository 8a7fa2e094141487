"""The `haul` command: find the subcommand, import it alone, turn what goes wrong into one line.

Exit status: 0 done; 1 the question was answered no; 2 the input or the call is wrong; 3 our own
fault, its trace in a log.  130, 143 and 141 as shells have them: stopped by Ctrl-C, by SIGTERM,
reader gone.
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
from logger.toml_tables import nearest

DONE, NO, WRONG, OURS, READER_GONE = 0, 1, 2, 3, 141

# name -> (module below dashboard.commands, what it does): all that `haul --help` needs
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("demo", "virtual devices on real serial channels, and recorder and page on them"),
    "record": ("record", "record from the ports of a sensors file until Ctrl-C"),
    "watch": ("watch", "the live page over a session, growing or finished"),
    "review": ("review", "what a session measured, against what its rig predicts"),
    "predict": ("predict", "what a rig should do: forces, travel, rope, limits"),
    "choose": ("choose", "which rigs of the shelf do a job, and why the others do not"),
    "plan": ("plan", "the plan page of a rig, or of two side by side"),
    "import": ("import_table", "make a session from a table of readings"),
    "calibrate": ("calibrate", "fit a calibration to known forces or lengths"),
    "compare": ("compare", "several sessions side by side"),
    "library": ("library", "a folder of sessions: list, filter, trend of each rig"),
    "gear": ("gear", "what each marked item of gear went through, over a folder of sessions"),
    "replay": ("replay", "a session played again on the live page, for training"),
    "verify": ("verify", "whether a session is complete and unchanged; mend a torn one"),
    "simulate": ("simulate", "virtual devices that send stated true values"),
    "ports": ("ports", "the serial ports of this machine"),
}


class Parser(argparse.ArgumentParser):
    """argparse that raises CallFault, in one line with the nearest option, instead of exiting."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"allow_abbrev": False, **kwargs})

    def options(self) -> list[str]:
        """Every option that the help shows."""
        return [o for a in self._actions if a.help != argparse.SUPPRESS for o in a.option_strings]

    def error(self, message: str) -> NoReturn:
        name = self.prog.removeprefix("haul ")
        raise CallFault(name, message, f"see `{self.prog} --help`")

    def parse(self, argv: Sequence[str]) -> argparse.Namespace:
        """All of the arguments; an unknown one is a fault that names the nearest option."""
        # asked first: a missing argument would hide the typo that is the cause
        for word in argv:
            if word == "--":
                break
            option = word.split("=", 1)[0]
            if option.startswith("--") and option not in self._option_string_actions:
                near = nearest(option, self.options())
                known = "known: " + " ".join(o for o in self.options() if o.startswith("--"))
                raise CallFault(
                    self.prog.removeprefix("haul "),
                    f"there is no option {option}",
                    f"write {near}" if near else known,
                )
        args, rest = self.parse_known_args(argv)
        if rest:
            self.error(f"{' '.join(rest)!r} is one argument too many")
        return args


def build(name: str) -> tuple[Parser, Any]:
    """The parser and the module of a subcommand; imports it."""
    file, what = COMMANDS[name]
    module = importlib.import_module(f"dashboard.commands.{file}")
    parser = Parser(prog=f"haul {name}", description=module.__doc__ or what,
                    formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    module.add_arguments(parser)
    return parser, module


def main(argv: Sequence[str] | None = None) -> int:
    """Run one call; argv without the program's name.  Returns the exit status, never raises."""
    try:
        with stop_signals.handled():
            return _call(list(sys.argv[1:] if argv is None else argv))
    except KeyboardInterrupt:
        return stop_signals.last_status()


def _call(argv: list[str]) -> int:
    """Run one call; raises KeyboardInterrupt alone."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a terminal that lacks a sign must not end the call
            stream.reconfigure(errors="replace")
    try:
        status = _run(argv)
        if sys.stdout is not None:
            sys.stdout.flush()
        return status
    except UserFault as fault:
        _say(str(fault))
        return WRONG
    except BrokenPipeError:
        _forget_stdout()
        return READER_GONE
    except Exception as error:
        return _our_fault(error)


def _run(argv: list[str]) -> int:
    if not argv or argv[0] in ("-h", "--help", "help"):
        if len(argv) > 1 and argv[1] in COMMANDS:
            return _run([argv[1], "--help"])
        print(_overview())
        return DONE if argv else WRONG
    if argv[0] == "--version":
        from importlib.metadata import version

        print("haul", version("haul-session-logger"))
        return DONE
    if argv[0] not in COMMANDS:
        near = nearest(argv[0], COMMANDS)
        cure = f"write haul {near}" if near else "commands are " + ", ".join(COMMANDS)
        what = "option" if argv[0].startswith("-") else "command"
        raise CallFault(argv[0] or '""', f"there is no such {what}", cure)
    parser, module = build(argv[0])
    try:
        args = parser.parse(argv[1:])
    except SystemExit:  # --help has been printed; faults don't exit
        return DONE
    return int(module.run(args))


def _overview() -> str:
    rows = [f"  {name:<10} {what}" for name, (_, what) in COMMANDS.items()]
    return "\n".join(
        [
            "usage: haul COMMAND ...",
            "",
            "Records load cell and line counter during a rope haul, and compares what was measured",
            "with what the rig predicts.",
            "",
            *rows,
            "",
            "`haul COMMAND --help` says what a command takes.",
            "Stay out of the line of pull. A reading never outranks a rating.",
        ]
    )


def _say(text: str) -> None:
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
    _say(f"our own fault, not yours ({line}); the trace is in {path}")
    return OURS


def _forget_stdout() -> None:
    # what is still buffered would raise again when the interpreter flushes at its end
    try:
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, sys.stdout.fileno())
        os.close(null)
    except (OSError, ValueError, AttributeError):
        pass


if __name__ == "__main__":
    sys.exit(main())
