"""Draws a figure as one SVG element for paper: dark on white, readable without colour too."""

from __future__ import annotations

import math
from html import escape

import numpy as np

from dashboard.figures.spec import Band, Curve, Dots, Figure, ticks

LEFT, RIGHT, TOP, BOTTOM = 58.0, 10.0, 30.0, 36.0
NARROW, MORE_TOP = 500, 12.0  # pixels: below, the legend takes a line of its own
INK, MUTED, RULE = "#14181c", "#4a525a", "#d5d9dd"
FILL = {"stroke": "#e3edf7", "reset": "#f1f1f1", "predicted": "#f6d9b8", "measured": "#b9d7c2"}
EDGE = {"predicted": "#a2460a", "measured": "#1d6b3a"}
INK_OF_LINE = {"measured": "#0a4f9e", "predicted": EDGE["predicted"], "stop": "#b3261e"}
DASH_OF_LINE = {"stop": ' stroke-dasharray="9 3 2 3"'}  # told apart without colour too
APART = 13.0  # pixels between labels of marks


def svg(figure: Figure, width: int = 720, height: int = 230) -> str:
    """The SVG text of a figure, width x height in pixels; it scales with the page.  Texts are
    escaped."""
    return _Paper(figure, width, height).draw()


class _Paper:
    """One figure on a page: its axes in pixels, and the SVG of each thing on it."""

    def __init__(self, figure: Figure, width: int, height: int) -> None:
        self.figure, self.width, self.height = figure, width, height
        self.x0, self.x1 = figure.x_range()
        self.y0, self.y1 = figure.y_range()
        self.right, self.bottom = width - RIGHT, height - BOTTOM
        self.narrow = width < NARROW
        self.top = TOP + (MORE_TOP if self.narrow else 0.0)

    def x(self, value: float) -> float:
        """Pixels from the left edge; value: x in the unit of the axis."""
        return LEFT + (value - self.x0) / (self.x1 - self.x0) * (self.right - LEFT)

    def y(self, value: float) -> float:
        """Pixels from the upper edge; value: y in the unit of the axis."""
        return self.bottom - (value - self.y0) / (self.y1 - self.y0) * (self.bottom - self.top)

    def draw(self) -> str:
        """The SVG text of the whole figure."""
        figure = self.figure
        parts = [
            f'<svg role="img" aria-label="{escape(figure.title)}" viewBox="0 0 {self.width} {self.height}" '
            'font-family="system-ui, DejaVu Sans, Segoe UI, Roboto, sans-serif" font-size="11" '
            f'fill="{INK}"><title>{escape(figure.title)}</title>'
        ]
        if figure.nothing:
            parts.append(
                self._text(
                    self.width / 2, self.height / 2, _cut(figure.nothing, 110), "middle", MUTED
                )
            )
        else:
            # areas first, so that they do not cover the curves
            for kind in ("stroke", "reset", "predicted", "measured"):
                parts += [self._band(b) for b in figure.bands if b.kind == kind]
            parts += self._axes()
            parts += [self._line(line) for line in figure.lines]
            parts += [self._dots(dots) for dots in figure.dots]
            parts += self._marks()
        parts += [*self._labels(), "</svg>"]
        return "".join(parts)

    def _band(self, band: Band) -> str:
        left = LEFT if band.x0 is None else self.x(band.x0)
        right = self.right if band.x1 is None else self.x(band.x1)
        top = self.top if band.y1 is None else self.y(band.y1)
        low = self.bottom if band.y0 is None else self.y(band.y0)
        box = (
            f'<rect x="{left:.1f}" y="{top:.1f}" width="{max(0.5, right - left):.1f}" '
            f'height="{max(0.5, low - top):.1f}" fill="{FILL[band.kind]}"'
        )
        if band.kind in EDGE:
            dash = ' stroke-dasharray="5 3"' if band.kind == "predicted" else ""
            box += f' fill-opacity="0.6" stroke="{EDGE[band.kind]}" stroke-width="0.8"{dash}'
        return box + "/>"

    def _axes(self) -> list[str]:
        parts = []
        for value in ticks(self.y0, self.y1, max(2, int((self.bottom - self.top) / 32))):
            y = self.y(value)
            parts.append(
                f'<path d="M{LEFT} {y:.1f}H{self.right}" stroke="{RULE}" stroke-width="0.7"/>'
            )
            parts.append(self._text(LEFT - 5, y + 4, _number(value), "end"))
        for value in ticks(self.x0, self.x1, max(2, int((self.right - LEFT) / 70))):
            if self.figure.whole_x and value != round(value):
                continue
            x = self.x(value)
            parts.append(f'<path d="M{x:.1f} {self.bottom}v4" stroke="{INK}" stroke-width="0.8"/>')
            parts.append(self._text(x, self.bottom + 15, _number(value), "middle"))
        parts.append(
            f'<path d="M{LEFT} {self.top}V{self.bottom}H{self.right}" fill="none" stroke="{INK}" stroke-width="0.8"/>'
        )
        return parts

    def _line(self, line: Curve) -> str:
        path, draw = [], False
        for x, y in zip(line.x.tolist(), line.y.tolist(), strict=True):
            if not (math.isfinite(x) and math.isfinite(y)):
                draw = False
                continue
            path.append(f"{'L' if draw else 'M'}{self.x(x):.1f} {self.y(y):.1f}")
            draw = True
        style = f'stroke="{INK_OF_LINE[line.kind]}"{DASH_OF_LINE.get(line.kind, "")}'
        return f'<path d="{"".join(path)}" fill="none" {style} stroke-width="1" stroke-linejoin="round"/>'

    def _dots(self, dots: Dots) -> str:
        parts = []
        columns = (
            np.asarray(c, dtype=float).tolist() for c in (dots.x, dots.y, dots.low, dots.high)
        )
        for x, y, low, high in zip(*columns, strict=True):
            at = self.x(x)
            parts.append(
                f'<path d="M{at:.1f} {self.y(low):.1f}V{self.y(high):.1f}m-3 0h6M{at - 3:.1f} {self.y(low):.1f}h6" '
                f'stroke="{INK}" stroke-width="1.1"/><circle cx="{at:.1f}" cy="{self.y(y):.1f}" r="3" fill="{INK}"/>'
            )
        return "".join(parts)

    def _marks(self) -> list[str]:
        """A thin rule for each mark; labels that would overlap are merged into one, "5-9"."""
        parts: list[str] = []
        groups: list[tuple[float, list[str]]] = []
        for mark in sorted(self.figure.marks, key=lambda m: m.x):
            if not self.x0 <= mark.x <= self.x1:
                continue
            x = self.x(mark.x)
            parts.append(
                f'<path d="M{x:.1f} {self.top}V{self.bottom}" stroke="{MUTED}" stroke-width="0.6" stroke-dasharray="1.5 2"/>'
            )
            room = APART if not groups else APART * (1 + 0.4 * (len(groups[-1][1]) > 1))
            if groups and x - groups[-1][0] < room:
                groups[-1][1].append(mark.label)
            else:
                groups.append((x, [mark.label]))
        for x, labels in groups:
            text = labels[0] if len(labels) == 1 else f"{labels[0]}–{labels[-1]}"
            parts.append(self._text(x, self.top - 3, text, "middle", MUTED, 9))
        return parts

    def _labels(self) -> list[str]:
        figure = self.figure
        parts = [
            self._text(LEFT, 12, figure.title, "start", INK, 12, bold=True),
            self._text((LEFT + self.right) / 2, self.height - 6, figure.x_label, "middle"),
            f'<text transform="translate(12 {(self.top + self.bottom) / 2:.1f}) rotate(-90)" '
            f'text-anchor="middle">{escape(figure.y_label)}</text>',
        ]
        if figure.nothing:
            return parts
        keys = _legend(figure)
        x = self.right - sum(28.0 + 6.0 * len(name) for name, _ in keys)
        y = 12.0
        if self.narrow:
            x, y = LEFT, 27.0
        for name, kind in keys:
            parts.append(_key(x, y, kind))
            parts.append(self._text(x + 16, y, name, "start", MUTED, 10))
            x += 28.0 + (5.6 if self.narrow else 6.0) * len(name)
        return parts

    def _text(
        self,
        x: float,
        y: float,
        text: str,
        anchor: str,
        fill: str = INK,
        size: int = 11,
        bold: bool = False,
    ) -> str:
        weight = ' font-weight="bold"' if bold else ""
        return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{fill}" font-size="{size}"{weight}>{escape(text)}</text>'


def _legend(figure: Figure) -> list[tuple[str, str]]:
    rows = [(line.name, f"{line.kind} line") for line in figure.lines] + [
        (d.name, "dot") for d in figure.dots
    ]
    return list(dict.fromkeys(rows + [(b.name, b.kind) for b in figure.bands]))


def _key(x: float, y: float, kind: str) -> str:
    if kind.endswith(" line"):
        line = kind.removesuffix(" line")
        style = f'stroke="{INK_OF_LINE[line]}"{DASH_OF_LINE.get(line, "")}'
        return f'<path d="M{x:.1f} {y - 4:.1f}h12" {style} stroke-width="1.5"/>'
    if kind == "dot":
        return f'<circle cx="{x + 6:.1f}" cy="{y - 4:.1f}" r="3" fill="{INK}"/>'
    edge = (
        f' stroke="{EDGE[kind]}" stroke-width="0.8"'
        if kind in EDGE
        else f' stroke="{MUTED}" stroke-width="0.3"'
    )
    return f'<rect x="{x:.1f}" y="{y - 8:.1f}" width="12" height="8" fill="{FILL[kind]}"{edge}/>'


def _number(value: float) -> str:
    text = f"{value:.10g}"
    return "0" if text == "-0" else text


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"
