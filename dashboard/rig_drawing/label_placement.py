"""Texts on a drawing: how wide they are, and a place for each where it covers nothing."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

WIDE, NARROW, USUAL = "mMwWØ@%—", "iljtf.,:;'|!I ()[]", 0.60


BOLD = ("tension", "body")  # kinds of label that are set bold


@dataclass(frozen=True)
class Box:
    x0: float
    y0: float
    x1: float
    y1: float

    def over(self, other: Box) -> float:
        """The area that both cover."""
        wide = min(self.x1, other.x1) - max(self.x0, other.x0)
        high = min(self.y1, other.y1) - max(self.y0, other.y0)
        return wide * high if wide > 0 and high > 0 else 0.0


@dataclass(frozen=True)
class Label:
    """A text with its middle at (x, y).  kind: element | body | tension | haul | slack | rope;
    name: the whole name of what it stands for."""

    kind: str
    name: str
    text: str
    x: float
    y: float
    box: Box


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Pixels of a text in a usual sans-serif type of this size, rather too many than too few."""
    total = 0.0
    for letter in text:
        if unicodedata.combining(letter):
            continue
        if unicodedata.east_asian_width(letter) in "WF":
            total += 1.05
        else:
            total += 0.95 if letter in WIDE else 0.36 if letter in NARROW else USUAL
            total += 0.12 if letter.isupper() else 0.0
    return total * size * (1.1 if bold else 1.0)


def cut(text: str, size: float, most: float) -> str:
    """The text, or its beginning with a sign that it goes on, at most this many pixels wide."""
    if text_width(text, size) <= most:
        return text
    while text and text_width(text + "…", size) > most:
        text = text[:-1]
    return text.rstrip() + "…"


@dataclass
class Placer:
    """Takes what must stay clear first, then the labels in order of rank."""

    page: Box
    size: float
    labels: list[Label] = field(default_factory=list)
    _taken: list[Box] = field(default_factory=list)

    def block(self, box: Box) -> None:
        self._taken.append(box)

    def block_line(self, x0: float, y0: float, x1: float, y1: float, key: int) -> None:
        """A rope: a chain of small boxes, so that a sloping one blocks only itself."""
        steps = 1 if y0 == y1 else 12
        for k in range(steps):
            xs = [x0 + (x1 - x0) * (k + part) / steps for part in (0, 1)]
            ys = [y0 + (y1 - y0) * (k + part) / steps for part in (0, 1)]
            self.block(Box(min(xs), min(ys) - 4.5, max(xs), max(ys) + 4.5))

    def put(
        self,
        kind: str,
        name: str,
        text: str,
        spots: Sequence[tuple[float, float]],
        fits: Callable[[tuple[float, float]], bool] | None = None,
    ) -> None:
        """Place a text at the first of these middles that covers nothing and fits; else at the first that
        covers nothing; else where it covers least."""
        wide = text_width(text, self.size, bold=kind in BOLD)
        high = self.size * 1.15
        unfit: list[tuple[float, float]] = []
        for spot in spots:
            if fits is not None and not fits(spot):
                unfit.append(spot)
                continue
            box = self._box(spot, wide, high)
            if self._free(box):
                self._take(kind, name, text, box)
                return
        for spot in unfit:
            box = self._box(spot, wide, high)
            if self._free(box):
                self._take(kind, name, text, box)
                return
        boxes = [self._box(spot, wide, high) for spot in spots]
        if boxes:
            least = min(boxes, key=lambda box: sum(box.over(other) for other in self._taken))
            self._take(kind, name, text, least)

    def _box(self, spot: tuple[float, float], wide: float, high: float) -> Box:
        """The place of a text around this middle, moved onto the page."""
        page = self.page
        x = min(max(spot[0], page.x0 + wide / 2 + 2), page.x1 - wide / 2 - 2)
        y = min(max(spot[1], page.y0 + high / 2), page.y1 - high / 2)
        return Box(x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)

    def _free(self, box: Box) -> bool:
        x0, y0, x1, y1 = box.x0, box.y0, box.x1, box.y1
        return not any(
            other.y0 < y1 and y0 < other.y1 and other.x0 < x1 and x0 < other.x1
            for other in self._taken
        )

    def _take(self, kind: str, name: str, text: str, box: Box) -> None:
        self.block(box)
        middle = ((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2)
        self.labels.append(Label(kind, name, text, *middle, box))
