"""Printing never waits for the terminal; lines are kept up to a bound, of a status the newest alone."""

from __future__ import annotations

import contextlib
import io
import os
import sys
import threading

import pytest

from dashboard.text import terminal_printer
from dashboard.text.terminal_printer import MOST_LINES, TerminalPrinter


class Gate(io.StringIO):
    """A stream that takes what is written once the test opens it."""

    def __init__(self) -> None:
        super().__init__()
        self.open_now = threading.Event()
        self.blocked = threading.Event()

    def fileno(self) -> int:
        raise io.UnsupportedOperation

    def write(self, text: str) -> int:
        self.blocked.set()
        assert self.open_now.wait(600)
        return super().write(text)


@pytest.fixture
def gate():
    made = Gate()
    yield made
    made.open_now.set()


def printer_on(gate):
    """A printer that has both its streams there."""
    with contextlib.redirect_stderr(gate), contextlib.redirect_stdout(gate):
        return TerminalPrinter()


def test_a_blocked_terminal_holds_up_nobody_and_gets_the_lines_in_order(gate):
    printer = printer_on(gate)
    printer.line("one")
    assert gate.blocked.wait(600)
    for k in range(100):
        printer.line(f"line {k}", out=k % 2 == 0)
        printer.status(f"status {k}")
        printer.bell()
    assert not printer.flush(0.05)
    gate.open_now.set()
    assert printer.end(60)
    text = gate.getvalue()
    assert text.startswith("one\n\aline 0\n") and text.count("\a") == 1
    assert [line for line in text.replace("\a", "").splitlines() if line.startswith("line")] == [
        f"line {k}" for k in range(100)
    ]
    assert "status 99" in text and "status 98" not in text


def test_beyond_the_bound_the_oldest_lines_go_and_are_counted(gate):
    printer = printer_on(gate)
    printer.line("first")
    assert gate.blocked.wait(600)
    for k in range(MOST_LINES + 7):
        printer.line(f"line {k}")
    gate.open_now.set()
    assert printer.end(60)
    lines = gate.getvalue().splitlines()
    assert lines[:3] == ["first", "7 earlier lines were not printed", "line 7"]
    assert lines[-1] == f"line {MOST_LINES + 6}"


def test_a_line_is_written_over_the_status_and_the_next_status_below_it(gate):
    gate.open_now.set()
    printer = printer_on(gate)
    for step in (
        lambda: printer.status("0.5 s  450 N"),
        lambda: printer.line("said"),
        lambda: printer.status("1 s"),
    ):
        step()
        assert printer.flush(60)
    assert gate.getvalue() == "\r0.5 s  450 N" + "\rsaid        \n" + "\r1 s"
    printer.end()


def test_a_terminal_that_is_gone_is_no_fault(monkeypatch):
    read, write = os.pipe()
    os.close(read)
    with os.fdopen(write, "w") as gone:
        monkeypatch.setattr(sys, "stderr", gone)
        printer = TerminalPrinter()
        for _ in range(3):
            printer.line("nobody reads this")
        assert printer.end(60)


def test_no_stream_at_all_is_no_fault(monkeypatch):
    monkeypatch.setattr(sys, "stderr", None)
    printer = TerminalPrinter()
    printer.line("nobody reads this")
    assert printer.end(60)


@pytest.mark.skipif(sys.platform == "win32", reason="other system: no descriptors of pipes")
def test_a_pipe_that_somebody_made_non_blocking_gets_everything(monkeypatch):
    read, write = os.pipe()
    os.set_blocking(write, False)
    monkeypatch.setattr(terminal_printer, "MOST_LINES", 10_000)
    with os.fdopen(write, "w") as slow:
        monkeypatch.setattr(sys, "stderr", slow)
        printer = TerminalPrinter()
        for k in range(5000):
            printer.line(f"line {k}".ljust(40))
        assert not printer.flush(0.05)
        taken = b""
        while len(taken) < 5000 * 41:
            taken += os.read(read, 65536)
        assert printer.end(60)
    os.close(read)
    assert [line.strip() for line in taken.decode().splitlines()] == [
        f"line {k}" for k in range(5000)
    ]
