"""Estimates the width of texts on a drawing, and places each where it covers nothing."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

# letters much wider and much narrower than usual; width of a usual letter as a share of the type size
WIDE, NARROW, USUAL = "mMwWØ@%—", "iljtf.,:;'|!I ()[]", 0.60


BOLD = ("tension", "body")  # kinds of label that are set bold


@dataclass(frozen=True)
class Box:
    """A rectangle, in pixels of the page."""

    x0: float  # left edge
    y0: float  # upper edge
    x1: float  # right edge
    y1: float  # lower edge

    def overlap(self, other: Box) -> float:
        """The area that both cover, square pixels."""
        wide = min(self.x1, other.x1) - max(self.x0, other.x0)
        high = min(self.y1, other.y1) - max(self.y0, other.y0)
        return wide * high if wide > 0 and high > 0 else 0.0


@dataclass(frozen=True)
class Label:
    """A text at its place on the page, in pixels.

    kind: element | body | tension | haul | slack | rope.
    name: of what it belongs to, in full.
    text: as it is drawn, perhaps cut.
    x: of its middle.
    y: of its middle.
    box: the area that it covers.
    """

    kind: str
    name: str
    text: str
    x: float
    y: float
    box: Box


@lru_cache(maxsize=4096)  # speed only: the same few hundred texts are placed at each edit
def text_width(text: str, size: float, bold: bool = False) -> float:
    """Estimated width of a text in a sans-serif type, pixels, rather too wide; size: of the type,
    pixels."""
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
    """The text, or its beginning and "…", at most `most` pixels wide; size: of the type, pixels."""
    if text_width(text, size) <= most:
        return text
    while text and text_width(text + "…", size) > most:
        text = text[:-1]
    return text.rstrip() + "…"


@dataclass
class Placer:
    """Places labels one after another on the area that is left; what must stay clear is blocked first.

    page: the area that labels may take.
    size: of the type, pixels.
    labels: those that are placed so far.
    _taken: areas that are blocked or covered by a label.
    """

    page: Box
    size: float
    labels: list[Label] = field(default_factory=list)
    _taken: list[Box] = field(default_factory=list)

    def block(self, box: Box) -> None:
        """Keep this area clear of labels."""
        self._taken.append(box)

    def block_line(self, x0: float, y0: float, x1: float, y1: float, key: int) -> None:
        """Keep a straight line from (x0, y0) to (x1, y1) clear, in pixels: a sloping one as a chain of small
        boxes, because a single box would block far more than the line."""
        steps = 1 if y0 == y1 else 12
        for k in range(steps):
            xs = [x0 + (x1 - x0) * (k + end) / steps for end in (0, 1)]
            ys = [y0 + (y1 - y0) * (k + end) / steps for end in (0, 1)]
            self.block(Box(min(xs), min(ys) - 4.5, max(xs), max(ys) + 4.5))

    def put(
        self,
        kind: str,
        name: str,
        text: str,
        spots: Sequence[tuple[float, float]],
        fits: Callable[[tuple[float, float]], bool] | None = None,
    ) -> None:
        """Place a text at the first position where it covers nothing and that fits; else at the first where it
        covers nothing; else where it covers least.

        spots: positions (x, y) of the text's middle, pixels, the best first.
        fits: a further condition on a position.
        """
        wide = text_width(text, self.size, bold=kind in BOLD)
        high = self.size * 1.15
        if not spots:
            return
        taken = self._near(spots, wide, high)
        boxes: list[Box] = []
        unfit: Box | None = None
        for spot in spots:
            box = self._box(spot, wide, high)
            boxes.append(box)
            if not _free(box, taken):
                continue
            if fits is None or fits(spot):
                self._take(kind, name, text, box)
                return
            unfit = unfit or box
        if unfit is None:
            unfit = min(boxes, key=lambda box: sum(box.overlap(other) for other in taken))
        self._take(kind, name, text, unfit)

    def _near(self, spots: Sequence[tuple[float, float]], wide: float, high: float) -> list[Box]:
        """The taken areas that a text of this size can cover at one of these positions."""
        xs, ys = [x for x, _ in spots], [y for _, y in spots]
        low = self._box((min(xs), min(ys)), wide, high)
        top = self._box((max(xs), max(ys)), wide, high)
        return _covering(Box(low.x0, low.y0, top.x1, top.y1), self._taken)

    def _box(self, spot: tuple[float, float], wide: float, high: float) -> Box:
        """The area of a text with its middle at this position, moved onto the page."""
        page = self.page
        x = min(max(spot[0], page.x0 + wide / 2 + 2), page.x1 - wide / 2 - 2)
        y = min(max(spot[1], page.y0 + high / 2), page.y1 - high / 2)
        return Box(x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)

    def _take(self, kind: str, name: str, text: str, box: Box) -> None:
        self.block(box)
        middle = ((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2)
        self.labels.append(Label(kind, name, text, *middle, box))


def _covering(box: Box, others: Sequence[Box]) -> list[Box]:
    """Those of the others that cover a part of the box."""
    x0, y0, x1, y1 = box.x0, box.y0, box.x1, box.y1
    return [
        other
        for other in others
        if other.y0 < y1 and y0 < other.y1 and other.x0 < x1 and x0 < other.x1
    ]


def _free(box: Box, taken: Sequence[Box]) -> bool:
    """Whether none of the taken areas covers a part of the box."""
    x0, y0, x1, y1 = box.x0, box.y0, box.x1, box.y1
    for other in taken:
        if other.y0 < y1 and y0 < other.y1 and other.x0 < x1 and x0 < other.x1:
            return False
    return True
