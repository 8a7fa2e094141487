"""Keeps what pages are sent: small named parts, each with the version in which it changed last, and
bins of force and travel.  An answer (`wire.SinceAnswer`) holds what changed since the version that the
page has, within a budget."""

from __future__ import annotations

import json
import threading
from typing import Any

import numpy as np

from analysis.live.minmax_pyramid import BASE_S, Pyramid
from dashboard.live.wire import Bins, Now, Numbered, Parts, Waiting

BUDGET = 980  # bytes of an answer, except the first and those with many bins
MOST_BINS_SENT = 120  # in one answer; a page that lacks more asks again at once
MOST_PART = 560  # bytes of one part

SPANS: dict[str, float | None] = {
    "60": 60.0, "300": 300.0, "600": 600.0, "3600": 3600.0, "all": None,
}  # fmt: skip


def sig(value: float | None, digits: int = 4) -> float | None:
    """The value, in any unit, rounded to significant digits so that an answer is short."""
    return None if value is None else float(f"{value:.{digits}g}")


def encode(value: Any) -> bytes:
    """A value as compact JSON, UTF-8."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode(
        "utf-8", "replace"
    )


class Board:
    """Parts and bins of one session for its pages; one thread writes, many read.

    run: name of this run of the server.
    lock: is held while parts or bins are read or changed.
    pyramid: bins of the force.
    travel: bins of the travel that is drawn below the force; None without one.
    """

    def __init__(self, run: str, pyramid: Pyramid, travel: Pyramid | None = None) -> None:
        self.run = run
        self.lock = threading.Lock()
        self.pyramid, self.travel = pyramid, travel
        self._parts: dict[str, tuple[int, bytes]] = {}
        self._version = 0
        self._now = b"null"

    def set(self, key: str, value: Any, whole: bool = False) -> None:
        """Set the part `key`; None removes it.

        A text is cut to the length that an answer can hold.  whole: the part may be longer, because it is
        sent in a first answer, which has no budget.
        """
        data = encode(value)
        if isinstance(value, str) and len(data) > MOST_PART:
            cut = value.encode("utf-8", "replace")[: MOST_PART // 2].decode("utf-8", "ignore")
            data = encode(cut + " …")
        assert whole or len(data) <= MOST_PART, key
        with self.lock:
            present = self._parts.get(key)
            if (present is not None and present[1] == data) or (present is None and value is None):
                return
            self._version += 1
            self._parts[key] = (self._version, data)

    def put(self, parts: Parts) -> None:
        """Set several parts at once."""
        for key, value in parts.items():
            self.set(key, value)

    def put_numbered(self, number: int | str, parts: Numbered) -> None:
        """Set parts under the keys "name:number"."""
        for key, value in parts.items():
            self.set(f"{key}:{number}", value)

    def lines(self, key: str, texts: list[str], most: int = 40) -> None:
        """Set texts as parts `key:0`, `key:1` ..., and remove those of an earlier, longer list."""
        shown = texts[:most]
        for k, text in enumerate(shown):
            self.set(f"{key}:{k}", text)
        for k in range(len(shown), most):
            self.set(f"{key}:{k}", None)

    def now(self, value: Now | Waiting) -> None:
        """What changes at every tick."""
        data = encode(value)
        with self.lock:
            self._now = data

    def since(self, seq: int, version: int, span: str) -> bytes:
        """The `SinceAnswer` for a page that has bins up to `seq` and parts up to `version` (0: nothing)."""
        with self.lock:
            if version > self._version:
                seq = version = 0
            force, travel, end, more = self._bins(seq, SPANS[span])
            head = b'{"run":"%s","force":%s,"travel":%s,"now":%s,"parts":{' % (
                self.run.encode(), force, travel, self._now,
            )  # fmt: skip
            wanted = sorted(
                (changed, key, data)
                for key, (changed, data) in self._parts.items()
                if changed > version
            )
            sent: list[tuple[int, bytes]] = []
            size, upto = len(head) + 50, self._version
            for changed, key, data in wanted:
                piece = encode(key) + b":" + data
                if version and sent and size + len(piece) > BUDGET:
                    upto = sent[-1][0]
                    break
                sent.append((changed, piece))
                size += len(piece) + 1
            body = b",".join(piece for _, piece in sent)
        return (
            head + body + b'},"version":%d,"seq":%d%s}' % (upto, end, b',"more":1' if more else b"")
        )

    def _bins(self, seq: int, span_s: float | None) -> tuple[bytes, bytes, int, bool]:
        """Bins of force and travel from level-0 bin seq - 1 on, the first level-0 bin after them, and whether
        more follow."""
        shown = [p for p in (self.pyramid, self.travel) if p is not None and p.last is not None]
        if not shown:
            return b"null", b"null", 0, False
        last = max(p.last or 0 for p in shown)
        since = None if seq <= 0 else seq - 1
        if span_s is not None:
            begin = last - int(span_s / BASE_S)
            since = begin if since is None else max(since, begin)
        until = last
        if self.pyramid.last is not None:
            level = self.pyramid.level_for(span_s)
            index, _, _ = self.pyramid.bins(level, since)
            if len(index) > MOST_BINS_SENT:  # up to the end of the last bin that is sent
                until = ((int(index[MOST_BINS_SENT - 1]) + 1) << level) - 1
        force = self._encoded(self.pyramid, span_s, since, until, True)
        travel = b"null"
        if self.travel is not None:
            travel = self._encoded(self.travel, span_s, since, until, False)
        return force, travel, max(0, until) + 1, until < last

    def _encoded(
        self, pyramid: Pyramid, span_s: float | None, since: int | None, until: int, means: bool
    ) -> bytes:
        """Bins from level-0 bin `since` to `until` as JSON, at the level for this span; means: with
        means."""
        if pyramid.last is None:
            return b"null"
        level = pyramid.level_for(span_s)
        index, low, high = pyramid.bins(level, since)
        keep = int(np.searchsorted(index, until >> level, "right"))
        columns = [low[:keep].tolist(), high[:keep].tolist()]
        if means:
            columns.append(pyramid.means(level, since)[:keep].tolist())
        flat: list[float | int] = []
        for k, *values in zip(index[:keep].tolist(), *columns, strict=True):
            flat.append(k)
            flat += [_short(v) for v in values]
        return encode(Bins(level=level, flat=flat))


def _short(value: float) -> float | int:
    """A number with four significant digits, as an integer where it is whole: fewer bytes."""
    rounded = float(f"{value:.4g}")
    return int(rounded) if rounded.is_integer() and abs(rounded) < 1e15 else rounded
