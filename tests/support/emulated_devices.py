"""Devices that people own, emulated on real pseudo-terminals and sockets: what each sends, how it is asked, and
an inbox of all that was sent to it.

Each line is written from the description of its protocol (common practice of such devices, no source), none by
the program's own encoders. The lines of `device_lines` are in the catalogue too. Boards that publish by MQTT have
rows here and their wire in `mqtt_devices`; Modbus devices have no lines, and a catalogue of their own in
`register_devices`.
"""

from __future__ import annotations

import importlib.util
import itertools
import os
import random
import select
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import reduce
from operator import xor
from pathlib import Path

from support.device_lines import DEVICES, FACTORS
from support.serial_wire import forget, is_set, own_terminal, received, settings_of, with_parity
from support.waiting import joined, long_enough

# what a device shows in turn, in its unit: none twice in a row, so that a lost or doubled one is seen
COURSE = (12.5, 123.5, 0.5, 77.0, -3.5, 250.5, 2.0, 41.5, -0.5, 99.0, 18.5, 305.0)


@dataclass(frozen=True)
class Emulated:
    """One device of the catalogue.

    said: its line in words
    write: bytes that it sends for a value in its unit; of one that is asked: its answer
    quantity, unit: what it measures
    keys: lines of the channel that read it, without unit and port
    baud, framing: of its serial line
    wire: "pty", "tcp", "udp", "listen" or "mqtt", see `mqtt_devices.plugged`
    asked: its question; b"" where it sends by itself
    decimals: how many it sends
    factor: what it shows is COURSE times this
    rate_hz: lines a second
    also: further numbers of its line: unit and the value that is sent for a value of COURSE
    person: what a person must say before `listen` can read it: "", "unit" or "comma"
    answer: the answer of that person: a unit, or a meaning of the comma
    missed: whether listening is known not to find it
    retained: a message that the broker has kept from before; b"": none
    """

    said: str
    write: Callable[[float], bytes]
    unit: str
    keys: str = 'format = "text"'
    quantity: str = "force"
    baud: int = 9600
    framing: str = "8N1"
    wire: str = "pty"
    asked: bytes = b""
    decimals: int = 1
    factor: float = 1.0
    never_negative: bool = False
    pauses: bool = False
    rate_hz: float = 80.0
    also: tuple[tuple[str, Callable[[float], float]], ...] = ()
    person: str = ""
    answer: str = ""
    missed: bool = False
    echo: bool = False
    retained: bytes = b""
    course: tuple[float, ...] = field(default=COURSE)

    def shown(self, value: float) -> float:
        """The number that the device shows for a value of COURSE, in its unit."""
        value = abs(value) if self.never_negative else value
        return round(value * self.factor, self.decimals)


def _signed(value: float, form: str) -> bytes:
    return (b"-" if value < 0 else b"+") + format(abs(value), form).encode()


def _stx(body: bytes) -> bytes:
    return b"\x02" + body + b"\x03"


def _sentence(body: bytes) -> bytes:
    """NMEA 0183: $, body, *, exclusive or of the body as two hexadecimal digits, CR LF."""
    return b"$%s*%02X\r\n" % (body, reduce(xor, body, 0))


def _comma(value: float, decimals: int = 1) -> bytes:
    return f"{value:.{decimals}f}".replace(".", ",").encode()


def _blocks(value: float) -> bytes:
    return b"GROSS %8.1f kg\r\nTARE  %8.1f kg\r\nNET   %8.1f kg\r\n" % (value + 20, 20.0, value)


def _clocked(form: bytes) -> Callable[[float], bytes]:
    """A line with the board's own milliseconds in it."""
    began = time.monotonic()
    return lambda v: form % (int((time.monotonic() - began) * 1000), v)


def _stations(value: float) -> bytes:
    """Two stations that send one after the other."""
    return b"@01 %6.1f kg\r\n@02 %6.1f kg\r\n" % (value, value / 2)


def _sometimes(value: float) -> bytes:
    """An overload now and then."""
    return (b"ST,GS,  OL    kg\r\n" if value == 305.0 else b"") + b"ST,GS,%s kg\r\n" % _signed(
        value, "7.1f"
    )


def _bracketed(value: float) -> bytes:
    return b"F[kN]=%.3f\r\n" % value


OWN: dict[str, Emulated] = {
    "blank or M behind": Emulated("seven places, unit, blank or M for motion; CR", lambda v: b"%7.1f kg %s\r" % (v, b"M" if v > 100 else b" "), "kg", baud=4800),
    "7E1 pounds": Emulated("sign, six places, lb; CR; seven bits, even parity", lambda v: _signed(v, "06.1f") + b" lb\r", "lb", baud=2400, framing="7E1"),
    "7O1 framed": Emulated("STX, sign, places, unit, ETX; seven bits, odd parity", lambda v: _stx(_signed(v, "07.1f") + b"kg"), "kg", baud=4800, framing="7O1"),
    "7N2 label": Emulated("F= and newtons; CR LF; seven bits, two stop bits", lambda v: b"F= %.1f N\r\n" % v, "N", baud=1200, framing="7N2"),
    "8E1 label": Emulated("F: and newtons; CR LF; eight bits, even parity", lambda v: b"F: %.1f N\r\n" % v, "N", baud=19200, framing="8E1"),
    "8N2 decanewtons": Emulated("number, daN; CR LF; two stop bits", lambda v: b"%.1f daN\r\n" % v, "daN", baud=38400, framing="8N2"),
    "kilonewtons, fast": Emulated("nine places, kN; LF; two hundred a second", lambda v: b"%9.3f kN\n" % v, "kN", baud=57600, decimals=3, rate_hz=200.0),
    "slow crane scale": Emulated("GROSS, number, t; eight lines a second", lambda v: b"GROSS %9.3f t\r\n" % v, "t", keys='format = "text"\nafter = "GROSS"', decimals=3, rate_hz=8.0),
    "key with unit": Emulated("JSON, force_N and rope_m", lambda v: b'{"force_N":%.1f,"rope_m":%.1f}\n' % (v, v / 10), "N", keys='format = "json"\nid = "force_N"', baud=115200, also=(("m", lambda v: round(v / 10, 1)),)),
    "unit as a member": Emulated("JSON, value and unit in an object", lambda v: b'{"cell":{"value":%.1f,"unit":"kg"},"ok":true}\n' % v, "kg", keys='format = "json"\nid = "cell.value"', wire="tcp"),
    "board by UDP": Emulated("JSON datagrams, ms and pull_kN", _clocked(b'{"ms":%d,"pull_kN":%.3f}'), "kN", keys='format = "json"\nid = "pull_kN"\ntime = "ms"\ntime_unit = "ms"', wire="udp", decimals=3),
    "sentence by UDP": Emulated("XDR datagrams", lambda v: _sentence(b"YXXDR,N,%.1f,N,CELL" % v), "N", keys='format = "xdr"\nid = "CELL"', wire="udp"),
    "board that connects": Emulated("FORCE= and ROPE= with units, semicolon between; LF", lambda v: b"FORCE=%.1f N;ROPE=%.2f m\n" % (v, v / 4), "N", keys='format = "text"\nafter = "FORCE="', wire="listen", also=(("m", lambda v: v / 4),)),
    "line server, parity passed on": Emulated("sign, places, kg; CR; even parity in the top bit", lambda v: with_parity(_signed(v, "06.1f") + b" kg\r"), "kg", keys='format = "text"\nframing = "7E1"', wire="tcp"),
    "tab columns": Emulated("force and length, tab between; LF", lambda v: b"%.1f\t%.1f\n" % (v, v / 4), "N", keys='format = "columns"\ncolumn = 1\nseparator = "\\t"', baud=115200, person="unit", answer="N"),
    "bare number": Emulated("an amplifier's number alone; CR LF", lambda v: b"%.1f\r\n" % v, "N", keys='format = "columns"\ncolumn = 1', baud=115200, person="unit", answer="N"),
    "unit in brackets": Emulated("F[kN]= and the number; CR LF", _bracketed, "kN", keys='format = "text"\nafter = "F[kN]="', decimals=3),
    "inches": Emulated("L= and inches; CR", lambda v: b"L= %.1f in\r" % v, "in", quantity="length"),
    "centimetres": Emulated("length in cm; LF", lambda v: b"%8.1f cm\n" % v, "cm", quantity="length", wire="tcp"),
    "whole millimetres": Emulated("whole millimetres; CR LF", lambda v: b"POS %+07d mm\r\n" % round(v * 2), "mm", quantity="length", decimals=0, factor=2.0, baud=19200),
    "encoder, letter": Emulated("P= and counts that start again at 65536; CR LF", lambda v: b"P=%05d\r\n" % (int(abs(v) * 2) % 65536), "count", keys='format = "text"\nafter = "P="\nscale = 0.001\nmodulus = 65536', quantity="length", decimals=0, factor=2.0, never_negative=True, person="unit", answer="m"),
    "counts said": Emulated("whole number and the word counts; LF", lambda v: b"%d counts\n" % int(abs(v) * 2), "count", keys='format = "text"\nscale = 0.5', decimals=0, factor=2.0, never_negative=True, person="unit", answer="N"),
    "asked, newtons": Emulated("READ? CR LF; number and N; CR LF", lambda v: b"%.1f N\r\n" % v, "N", asked=b"READ?\r\n"),
    "asked, 7E1": Emulated("W CR; STX, places, kg, ETX", lambda v: _stx(_signed(v, "07.1f") + b"kg"), "kg", asked=b"W\r", baud=19200, framing="7E1"),
    "asked station": Emulated("#01 CR on a bus; >, number, kg, CR", lambda v: b">" + _signed(v, "07.1f") + b" kg\r", "kg", asked=b"#01\r", baud=9600),
    "asked by ENQ": Emulated("one ENQ; STX, number, lb, ETX, check byte", lambda v: (lambda t: t + bytes([reduce(xor, t[1:], 0)]))(_stx(b"%8.1f lb" % v)), "lb", asked=b"\x05", baud=2400, framing="8N1"),
    "asked by TCP": Emulated("MEAS? LF; number and kN; LF", lambda v: b"%.3f kN\n" % v, "kN", asked=b"MEAS?\n", wire="tcp", decimals=3),
    "asked, no end": Emulated("? CR; number and kg and then silence", lambda v: b"%8.1fkg" % v, "kg", keys='format = "text"\nends = "pause"', asked=b"?\r", pauses=True),
    "asked, echo": Emulated("P CR on two wires, which come back first; number and N; CR LF", lambda v: b"N= %.1f N\r\n" % v, "N", keys='format = "text"\nafter = "N="', asked=b"P\r", echo=True),
    "gross, tare, net below each other": Emulated("three lines with words and units; CR LF", _blocks, "kg", keys='format = "text"\nafter = "NET"', rate_hz=40.0, also=(("kg", lambda v: v + 20), ("kg", lambda v: 20.0))),
    "force and length by turns": Emulated("F, number, N; then L, number, m; LF", lambda v: b"F %.1f N\nL %.2f m\n" % (v, v / 4), "N", keys='format = "text"\nafter = "F"', also=(("m", lambda v: v / 4),)),
    "two stations by turns": Emulated("@, two digits of address, places, kg; CR LF", _stations, "kg", keys='format = "text"\nafter = "@01"', also=(("kg", lambda v: v / 2),), rate_hz=60.0),
    "apostrophe between thousands": Emulated("thousands with an apostrophe, N; LF", lambda v: f"{v * 100:,.1f} N\n".replace(",", "'").encode(), "N", keys='format = "text"\nthousands = "\'"', factor=100.0),
    "blank between thousands": Emulated("thousands with a blank, N; LF", lambda v: f"{v * 100:,.1f} N\n".replace(",", " ").encode(), "N", keys='format = "text"\nthousands = " "', factor=100.0, missed=True),
    "timed object": Emulated("JSON, millis and kg", _clocked(b'{"millis":%d,"kg":%.1f}\r\n'), "kg", keys='format = "json"\nid = "kg"\ntime = "millis"\ntime_unit = "ms"', baud=115200),
    "two transducers": Emulated("XDR with force and length", lambda v: _sentence(b"YXXDR,N,%.1f,N,HAUL,D,%.2f,M,ROPE" % (v, v / 4)), "N", keys='format = "xdr"\nid = "HAUL"', baud=4800, also=(("m", lambda v: v / 4),)),
    "no checksum": Emulated("XDR without a checksum", lambda v: b"$IIXDR,N,%.1f,N,C1\r\n" % v, "N", keys='format = "xdr"\nid = "C1"\nchecksum = false', baud=4800),
    "among other sentences": Emulated("XDR between sentences of wind", lambda v: _sentence(b"WIMWV,214.8,R,0.1,K,A") + _sentence(b"YXXDR,N,%.1f,N,C2" % v), "N", keys='format = "xdr"\nid = "C2"', baud=38400, rate_hz=60.0),
    "exponent": Emulated("four digits and an exponent, N; CR LF", lambda v: b"%+.3E N\r\n" % v, "N", baud=115200),
    "capitals": Emulated("PULL, number, LBF; CR LF", lambda v: b"PULL %.1f LBF\r\n" % v, "lbf", baud=19200),
    "kiloponds": Emulated("number and kp; CR", lambda v: b"%.1f kp\r" % v, "kgf", baud=1200),
    "own end with unit": Emulated("F=, number, N, a semicolon and nothing else", lambda v: b"F=%+.1fN;" % v, "N", keys='format = "text"\nafter = "F="\nends = ";"', baud=19200),
    "peak and live": Emulated("PK and LV with kN; CR LF", lambda v: b"PK %.2f kN LV %.2f kN\r\n" % (400.0, v), "kN", keys='format = "text"\nafter = "LV"', decimals=2, also=(("kN", lambda v: 400.0),)),
    "overload now and then": Emulated("status, mode, number or OL, kg; CR LF", _sometimes, "kg", keys='format = "text"\nafter = "GS,"'),
    "comma, kN": Emulated("number with a decimal comma, kN; CR", lambda v: _comma(v, 2) + b" kN\r", "kN", keys='format = "text"\ndecimal = ","', decimals=2, baud=4800, framing="7E1", person="comma", answer="decimal"),
    "comma separated with units": Emulated("force and length with units, comma and blank between; LF", lambda v: b"%.1f N, %.2f m\n" % (v, v / 4), "N", also=(("m", lambda v: v / 4),), baud=230400),
    "hexadecimal": Emulated("counts as six hexadecimal digits; CR", lambda v: b"x%06Xh\r" % int(abs(v) * 2), "count", keys="", never_negative=True, decimals=0, missed=True),
}  # fmt: skip
# boards that publish by MQTT, a line a message
PUBLISHED: dict[str, Emulated] = {
    "object by a broker": Emulated("JSON messages, force_N", lambda v: b'{"force_N":%.1f}' % v, "N", keys='format = "json"\nid = "force_N"', wire="mqtt", rate_hz=40.0),
    "text by a broker": Emulated("messages of text: pull, number, lbf", lambda v: b"pull %.1f lbf" % v, "lbf", wire="mqtt", rate_hz=40.0),
    "comma by a broker": Emulated("messages of text with a decimal comma, kg", lambda v: _comma(v) + b" kg", "kg", keys='format = "text"\ndecimal = ","', wire="mqtt", rate_hz=40.0, person="comma", answer="decimal"),
    "retained by a broker": Emulated("JSON messages, pull_kN; an old one is retained", lambda v: b'{"pull_kN":%.3f}' % v, "kN", keys='format = "json"\nid = "pull_kN"', wire="mqtt", rate_hz=40.0, decimals=3, retained=b'{"pull_kN":999.125}'),
}  # fmt: skip
# how the lines of `device_lines` are wired, where not as 9600 8N1 on a pseudo-terminal, and what listening needs
_WIRED: dict[str, dict[str, object]] = {
    "status, net, blank": {"baud": 2400, "framing": "7E1"}, "cr alone": {"baud": 1200, "framing": "7E1"},
    "framed with check byte": {"baud": 19200}, "framed with sum": {"framing": "7O1"}, "sign behind": {"baud": 38400},
    "gross and net": {"also": (("kg", lambda v: v + 20),)}, "third number": {"person": "unit", "answer": "kg"},
    "fixed places": {"missed": True}, "decimal comma": {"person": "comma", "answer": "decimal"},
    "comma and points": {"wire": "tcp"}, "commas between thousands": {"wire": "tcp"},
    "decanewtons": {"also": (("daN", lambda v: 150.0),)},
    "channel names": {"also": (("N", lambda v: 5.5),), "wire": "listen"}, "date before": {"wire": "tcp"},
    "semicolons": {"person": "unit", "answer": "N"}, "comma columns": {"person": "unit", "answer": "N", "baud": 115200},
    "semicolon and comma": {"person": "unit", "answer": "kg"}, "sentence": {"baud": 4800},
    "object": {"person": "unit", "answer": "N", "baud": 115200}, "nested object": {"person": "unit", "answer": "kg", "wire": "udp"},
    "own end": {"person": "unit", "answer": "kg"}, "encoder": {"person": "unit", "answer": "m"},
    "timed text": {"person": "unit", "answer": "N"}, "counter in feet": {"baud": 57600},
}  # fmt: skip


def _from_lines() -> dict[str, Emulated]:
    """The devices of `device_lines` on wires."""
    made = {}
    for name, line in DEVICES.items():
        keys = "\n".join(row for row in line.keys.splitlines() if not row.startswith("unit ="))
        made[name] = Emulated(
            line.said, line.write, line.unit, keys=keys, quantity=line.quantity, decimals=line.decimals,
            factor=FACTORS.get(name, 1.0), never_negative=line.never_negative, pauses=line.pauses,
            rate_hz=12.0 if line.pauses else 80.0, **_WIRED.get(name, {}),  # type: ignore[arg-type]
        )  # fmt: skip
    return made


_BROKER = all(importlib.util.find_spec(name) is not None for name in ("amqtt", "paho"))
# without a broker its boards cannot be emulated: pip install -e '.[test]'
CATALOGUE = {**_from_lines(), **OWN, **(PUBLISHED if _BROKER else {})}


class EmulatedDevice:
    """A device of the catalogue on its wire, in a thread; `port`: as in a sensors file.

    inbox: all bytes that were sent to it
    sent: the numbers that it sent on the present connection, as it shows them
    seen: rate and framing that its reader had set when it was last looked at
    """

    def __init__(self, device: Emulated, folder: Path, seed: int = 1, apart: bool = False) -> None:
        """apart: whether its reader is another process, whose framing cannot be noted."""
        self._apart = apart
        self.device, self.inbox = device, b""
        self.sent: list[float] = []
        self.seen: tuple[int, str] = (0, "")
        self._draw = random.Random(seed)
        self._halt, self._drop = threading.Event(), threading.Event()
        self._course = itertools.cycle(device.course)
        self._socket: socket.socket | None = None
        self._server: socket.socket | None = None
        self._master = self._slave = -1
        self._link = folder / f"device-{seed}"
        self._number = 0
        self._rest, self._opened = b"", False
        if device.wire == "pty":
            self.port = str(self._link)
        elif device.wire == "tcp":
            self._server = socket.create_server(("127.0.0.1", 0))
            self.port = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        else:
            kind = socket.SOCK_DGRAM if device.wire == "udp" else socket.SOCK_STREAM
            with socket.socket(socket.AF_INET, kind) as free:
                free.bind(("127.0.0.1", 0))
                self._number = int(free.getsockname()[1])
            self.port = f"{device.wire}://127.0.0.1:{self._number}"
        self._plug()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    # -- the wire ------------------------------------------------------------------------------------
    def _plug(self) -> None:
        """Connect anew."""
        self._rest, self._opened = b"", False
        if self.device.wire != "udp":  # datagrams of before may still come
            self.sent = []
        if self.device.wire == "pty":
            for fd in (self._master, self._slave):
                if fd >= 0:
                    os.close(fd)
            self._master, self._slave = own_terminal()
            forget(os.ttyname(self._slave))
            self._link.unlink(missing_ok=True)
            self._link.symlink_to(os.ttyname(self._slave))
            return
        if self._socket is not None:
            self._socket.close()
            self._socket = None
        if self.device.wire == "udp":
            self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
            self._socket.connect(("127.0.0.1", self._number))
            self._socket.setblocking(False)

    def _connect(self) -> bool:
        """Whether a reader is there; of TCP it may come or be looked for now."""
        if self.device.wire in ("pty", "udp") or self._socket is not None:
            return True
        try:
            if self._server is not None:
                if not select.select([self._server], [], [], 0.02)[0]:
                    return False
                self._socket = self._server.accept()[0]
            else:
                self._socket = socket.create_connection(("127.0.0.1", self._number), 1.0)
        except OSError:
            self._halt.wait(0.02)
            return False
        self.sent = []
        self._socket.setblocking(False)
        return True

    def _say(self, data: bytes) -> None:
        try:
            if self.device.wire == "pty":
                path = os.ttyname(self._slave)
                if not is_set(path) and not self._apart:
                    return  # nobody is there
                self.seen = settings_of(self._master, path)
                own = (self.device.baud, self.device.framing)
                os.write(self._master, received(data, own, self.seen))
            elif self._socket is not None:
                self._socket.send(data)
        except BlockingIOError:
            pass
        except OSError:
            if self.device.wire in ("tcp", "listen"):
                self._plug()

    def _take(self) -> bytes:
        """What the reader sent, as the device understands it."""
        try:
            if self.device.wire == "pty":
                data = os.read(self._master, 4096)
                own = (self.device.baud, self.device.framing)
                self.seen = settings_of(self._master, os.ttyname(self._slave))
                self.inbox += data
                return received(data, self.seen, own)
            if self._socket is not None:
                data = self._socket.recv(4096)
                if not data and self.device.wire in ("tcp", "listen"):
                    self._plug()
                self.inbox += data
                return data
        except OSError:
            return b""
        return b""

    # -- the device ----------------------------------------------------------------------------------
    def _run(self) -> None:
        begun = b""
        due = time.monotonic()
        while not self._halt.is_set():
            if self._drop.is_set():
                self._plug()
                self._drop.clear()
                begun = b""
            if not self._connect():
                continue
            begun += self._take()
            if self.device.asked:
                if self.device.asked in begun:
                    begun = begun.partition(self.device.asked)[2]
                    if self.device.echo:
                        self._say(self.device.asked)
                    self._send(next(self._course), whole=True)
                begun = begun[-64:]
                self._halt.wait(0.003)
                continue
            due = max(due + 1.0 / self.device.rate_hz, time.monotonic() - 0.05)
            self._halt.wait(max(0.0, due - time.monotonic()))
            self._send(next(self._course))

    def _send(self, value: float, whole: bool = False) -> None:
        """Send the rest of the line before and a piece of this one; its rest comes a period later."""
        device = self.device
        if device.wire == "pty" and not self._opened and is_set(os.ttyname(self._slave)):
            self._opened, self._rest = True, b""  # what was begun before the reader came is lost
        data = self._rest + device.write(abs(value) if device.never_negative else value)
        self.sent.append(device.shown(value))
        whole = whole or device.pauses or device.wire == "udp" or device.rate_hz < 30.0
        cut = len(data) - (0 if whole else self._draw.randrange(8))
        self._rest = data[cut:]
        self._say(data[:cut])
        if device.pauses:
            # a reader that is held up hears no shorter silence
            self._halt.wait(min(long_enough(0.08), 0.3))

    def drop(self) -> None:
        """Unplug the device, or end its connection, and come back."""
        self._drop.set()
        while self._drop.is_set() and self._thread.is_alive():
            self._halt.wait(0.002)

    def close(self) -> None:
        self._halt.set()
        joined(self._thread)
        for each in (self._socket, self._server):
            if each is not None:
                each.close()
        for fd in (self._master, self._slave):
            if fd >= 0:
                os.close(fd)
        self._link.unlink(missing_ok=True)


def toml_value(text: str) -> str:
    """A text as a TOML string."""
    return (
        '"'
        + "".join(c if c.isprintable() and c not in '"\\' else f"\\u{ord(c):04X}" for c in text)
        + '"'
    )


def channel_of(device: Emulated, port: str) -> str:
    """The channel that reads the device, by hand."""
    rows = [
        "[[channel]]",
        'name = "c"',
        f'quantity = "{device.quantity}"',
        'at = "haul"',
        f'port = "{port}"',
    ]
    if device.wire == "pty":
        rows += [f"baud = {device.baud}", f'framing = "{device.framing}"']
    rows += device.keys.splitlines()
    if 'format = "xdr"' not in device.keys:
        rows.append(f'unit = "{device.unit}"')
    if device.asked:
        rows += [
            f"ask = {toml_value(device.asked.decode('latin-1'))}",
            "every_s = 0.03",
            "answer_s = 1.0",
        ]
    return "\n".join(rows) + "\n"
