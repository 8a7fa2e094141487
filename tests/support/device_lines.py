"""What scales, load cell indicators and counters send, each written from the description of its line.

No line is made by the program's own encoders.  The descriptions are common practice of such devices,
no source; `write` follows the words, not the decoder.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import reduce
from operator import xor

VALUES = (0.0, 12.5, -3.5, 123.5, 2.0, -0.5, 77.0)  # what a device shows in turn, in its unit


@dataclass(frozen=True)
class DeviceLine:
    """One emulated device.

    said: its line in words
    quantity: "force" or "length"
    keys: lines of the channel in the sensors file that read it
    write: bytes that the device sends for a value in its unit
    unit: the unit in which the values are read
    decimals: how many decimals the device sends
    never_negative: whether it shows no sign
    pauses: whether a silence stands behind each line
    """

    said: str
    quantity: str
    keys: str
    write: Callable[[float], bytes]
    unit: str
    decimals: int = 1
    never_negative: bool = False
    pauses: bool = False


def _sign(value: float) -> str:
    return "-" if value < 0 else "+"


def _framed(body: bytes) -> bytes:
    """STX, text, ETX, and the exclusive or of text and ETX."""
    return b"\x02" + body + b"\x03" + bytes([reduce(xor, body + b"\x03", 0)])


def _summed(body: bytes) -> bytes:
    """STX, text, ETX, and the sum of the text as two hexadecimal digits, CR."""
    return b"\x02%s\x03%02X\r" % (body, sum(body) % 256)


def _swapped(value: float) -> bytes:
    """Digits from the last to the first, as some displays are driven, behind an equals sign."""
    return b"=%s" % f"{abs(value):07.1f}".encode()


def _bits_time(value: float, count: list[int]) -> bytes:
    count[0] = (count[0] + 25) % 65536
    return b"t=%d N=%.1f\r\n" % (count[0], value)


DEVICES = {
    "status, mode, apart sign": DeviceLine("stable or not, gross or net, sign, seven places, unit; CR LF", "force",
        'format = "text"\nunit = "kg"', lambda v: b"ST,GS,%s%7.1fkg\r\n" % (_sign(v).encode(), abs(v)), "kg"),
    "status, net, blank": DeviceLine("status, comma, NT, comma, sign, blank, number, blank, unit; CR LF", "force",
        'format = "text"\nafter = "NT,"\nunit = "kg"', lambda v: b"US,NT,%s %06.1f kg\r\n" % (_sign(v).encode(), abs(v)), "kg"),
    "cr alone": DeviceLine("sign, six places, unit; CR", "force", 'format = "text"\nunit = "lb"',
        lambda v: b"%s%6.1f lb\r" % (_sign(v).encode(), abs(v)), "lb"),
    "framed with check byte": DeviceLine("STX, sign, digits, unit, ETX, block check byte", "force",
        'format = "text"\nunit = "kg"', lambda v: _framed(b"%s%06.1fkg" % (_sign(v).encode(), abs(v))), "kg"),
    "framed with sum": DeviceLine("STX, status letter, number, ETX, two hexadecimal digits, CR", "force",
        'format = "text"\nunit = "N"', lambda v: _summed(b"S %8.1f N" % v), "N"),
    "framed, etx stated": DeviceLine("as before, ends stated", "force",
        'format = "text"\nends = "etx"\nunit = "N"', lambda v: _summed(b"\r\n%8.1f N\r\n" % v), "N"),
    "sign behind": DeviceLine("number with its sign behind, unit; LF", "force", 'format = "text"\nunit = "kg"',
        lambda v: b"%.1f%s kg\n" % (abs(v), b"-" if v < 0 else b""), "kg"),
    "two letters glued": DeviceLine("wn for net, six digits, point, unit glued; CR LF", "force",
        'format = "text"\nunit = "kg"', lambda v: b"wn%s%06.1fkg\r\n" % (b"-" if v < 0 else b"", abs(v)), "kg"),
    "gross and net": DeviceLine("G: and N: with units on one line; CR LF", "force",
        'format = "text"\nafter = "N:"\nunit = "kg"', lambda v: b"G: %8.1f kg N: %8.1f kg\r\n" % (v + 20, v), "kg"),
    "third number": DeviceLine("gross, tare, net, blanks between; CR", "force",
        'format = "text"\nnumber = 3\nunit = "kg"', lambda v: b"%9.1f %9.1f %9.1f\r" % (v + 20, 20, v), "kg"),
    "fixed places": DeviceLine("two digits of address, eight places of weight, two of status, one block; CR", "force",
        'format = "text"\nfrom = 3\nto = 10\nunit = "kg"', lambda v: b"01%8.1f07\r" % v, "kg"),
    "decimal comma": DeviceLine("number with a comma, unit; CR LF", "force",
        'format = "text"\ndecimal = ","\nunit = "kN"', lambda v: b"%.3f kN\r\n".replace(b"%.3f", f"{v:.3f}".replace(".", ",").encode()), "kN", 3),
    "comma and points": DeviceLine("points between thousands, decimal comma; LF", "force",
        'format = "text"\ndecimal = ","\nthousands = "."\nunit = "N"',
        lambda v: f"F = {v * 100:,.1f} N\n".translate(str.maketrans(",.", ".,")).encode(), "N"),
    "commas between thousands": DeviceLine("commas between thousands; LF", "force",
        'format = "text"\nthousands = ","\nunit = "lbf"', lambda v: f"{v * 100:,.1f} lbf\n".encode(), "lbf"),
    "decanewtons": DeviceLine("peak and present pull in daN; CR LF", "force",
        'format = "text"\nafter = "ACT"\nunit = "daN"', lambda v: b"MAX 150.0 daN ACT %.1f daN\r\n" % v, "daN"),
    "tonnes": DeviceLine("crane scale in tonnes, three decimals; CR LF", "force",
        'format = "text"\nunit = "t"', lambda v: b"GROSS %9.3f t\r\n" % (v / 10), "t", 3),
    "channel names": DeviceLine("CH1 and CH2 with colons; CR LF", "force",
        'format = "text"\nafter = "CH2:"\nunit = "N"', lambda v: b"CH1: 5.5 N CH2: %.1f N\r\n" % v, "N"),
    "date before": DeviceLine("date and time of day, then the number; LF", "force",
        'format = "text"\nafter = "F"\nunit = "N"', lambda v: b"2026-11-30 12:30:05 F %.1f N\n" % v, "N"),
    "semicolons": DeviceLine("number, semicolon, status; CR LF", "force",
        'format = "columns"\ncolumn = 1\nseparator = ";"\nunit = "N"', lambda v: b"%.1f;OK\r\n" % v, "N"),
    "comma columns": DeviceLine("milliseconds, force, length as comma separated values; LF", "force",
        'format = "columns"\ncolumn = 2\nseparator = ","\ntime_column = 1\ntime_unit = "ms"\nunit = "N"', lambda v: b"1000,%.1f,0.5\n" % v, "N"),
    "semicolon and comma": DeviceLine("decimal commas, semicolons; CR", "force",
        'format = "columns"\ncolumn = 2\ndecimal = ","\nunit = "kg"', lambda v: b"1;%s\r" % f"{v:.1f}".replace(".", ",").encode(), "kg"),
    "sentence": DeviceLine("XDR sentence, checksum; CR LF", "force", 'format = "xdr"\nid = "HAUL"',
        lambda v: (lambda body: b"$%s*%02X\r\n" % (body, reduce(xor, body, 0)))(b"YXXDR,N,%.1f,N,HAUL" % v), "N"),
    "object": DeviceLine("JSON object a line; LF", "force", 'format = "json"\nid = "f"\ntime = "t"\ntime_unit = "us"\nunit = "N"',
        lambda v: b'{"t":123456,"f":%.1f}\n' % v, "N"),
    "nested object": DeviceLine("a list of cells in an object; LF", "force", 'format = "json"\nid = "cells.1.value"\nunit = "kg"',
        lambda v: b'{"cells":[{"value":1},{"value":%.1f}],"ok":true}\n' % v, "kg"),
    "silence": DeviceLine("number without any end, a silence behind it", "force",
        'format = "text"\nends = "pause"\nunit = "kg"', lambda v: b"%+08.1fkg" % v, "kg", pauses=True),
    "own end": DeviceLine("equals sign, seven places; a semicolon ends the line", "force",
        'format = "text"\nends = ";"\nunit = "kg"', lambda v: _swapped(v) + b";", "kg", never_negative=True),
    "line feed first": DeviceLine("LF, number, unit, CR", "force", 'format = "text"\nunit = "kg"',
        lambda v: b"\n%8.1f kg\r" % v, "kg"),
    "counter": DeviceLine("counter of line, metres, two decimals; CR LF", "length",
        'format = "text"\nafter = "L="\nunit = "m"', lambda v: b"L= %8.2f m\r\n" % v, "m", 2),
    "counter in feet": DeviceLine("length in feet and speed behind it; CR", "length",
        'format = "text"\nunit = "ft"', lambda v: b"%+.1f ft %+.1f ft/min\r" % (v, 2 * v), "ft"),
    "encoder": DeviceLine("16 bits that start again, decimal; LF", "length",
        'format = "columns"\ncolumn = 1\nunit = "count"\nscale = 0.001\nmodulus = 65536',
        lambda v: b"%d\n" % (int(v * 2) % 65536), "count", 0, never_negative=True),
    "timed text": DeviceLine("t= counts milliseconds from 0 to 65535; CR LF", "force",
        'format = "text"\nafter = "N="\ntime_after = "t="\ntime_unit = "ms"\ntime_modulus = 65536\nunit = "N"',
        lambda v, count=[0]: _bits_time(v, count), "N"),
}  # fmt: skip
# what each device shows is VALUES times this
FACTORS = {
    "comma and points": 100.0,
    "commas between thousands": 100.0,
    "tonnes": 0.1,
    "encoder": 2.0,
}

# lines of such devices that the channel of DEVICES must not take for a reading
NOT_TAKEN = {
    "status, mode, apart sign": [b"ST,GS,+   12.5lb\r\n", b"OL,GS,+99999.9kg\r\n", b"ST,GS,+  12,5kg\r\n", b"ST,GS,-------kg\r\n", b"ST,GS,+ 1.2.5kg\r\n"],
    "status, net, blank": [b"US,GS,+ 0012.5 kg\r\n", b"US,NT,+ 0012.5 g\r\n", b"US,NT,+-0012.5 kg\r\n"],
    "cr alone": [b"+  12.5 kg\r", b"  OVER\r", b"+  12.5 oz\r"],
    "framed with check byte": [b"\x02+0012.5lb\x03\x10", b"\x02  OL  kg\x03\x10"],
    "gross and net": [b"G:     12.5 kg N:   ----- kg\r\n", b"N:  1N:     12.5 kg\r\n"],
    "third number": [b"     32.5      20.0\r", b"     32.5      20.0      ------\r"],
    "fixed places": [b"01  Err 107\r", b"01\r"],
    "decimal comma": [b"1.500 kN\r\n", b"1,500 N\r\n"],
    "commas between thousands": [b"1,90 lbf\n", b"1,2345.0 lbf\n"],
    "tonnes": [b"GROSS    12.500 kg\r\n", b"GROSS    12.500 ton\r\n"],
    "counter": [b"L=    12.50 ft\r\n", b"L=    12.50 km\r\n", b"V=    12.50 m/s\r\n"],
    "sentence": [b"$YXXDR,N,12.5,N,HAUL*00\r\n"],
    "nested object": [b'{"cells":[{"value":12.5}]}\n', b'{"cells":[{"value":1},{"value":"12.5"}]}\n'],
}  # fmt: skip
