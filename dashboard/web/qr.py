"""Draws a link as a QR code (ISO/IEC 18004): SVG for a page, half blocks for a terminal."""

from __future__ import annotations

import io
from itertools import zip_longest

QUIET = 4  # light modules around it, as the standard asks
_BLOCKS = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def svg(text: str, scale: int = 6) -> bytes:
    """The QR code as an SVG file, black on white in every theme; scale: pixels of one module."""
    import segno

    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(
        out, kind="svg", scale=scale, border=QUIET, dark="#000", light="#fff", xmldecl=False
    )
    return out.getvalue()


def lines(text: str) -> list[str]:
    """The QR code as lines of text, two rows of modules in each.

    Dark modules are drawn as ink, so the terminal must show dark ink on a light ground.
    """
    import segno

    code = segno.make(text, error="m", micro=False)
    rows = [[bool(m) for m in row] for row in code.matrix_iter(border=QUIET)]
    return [
        "".join(_BLOCKS[pair] for pair in zip(upper, lower, strict=True))
        for upper, lower in zip_longest(rows[::2], rows[1::2], fillvalue=[False] * len(rows[0]))
    ]
