"""Keeps what pages are sent: small named parts, each with the version in which it changed last, and
bins of force and travel.  An answer (`wire.SinceAnswer`) holds what changed since the version that the page
has, within a budget."""

from __future__ import annotations

import json
import threading
from typing import Any

import numpy as np

from analysis.live.minmax_pyramid import BASE_S, Pyramid
from dashboard.live.wire import Bins, Now, Numbered, Parts, Waiting

BUDGET = 980  # bytes of an answer, except the first and those with many bins
MOST_BINS_SENT = 200  # in one answer; a page that lacks more asks again at once
MOST_PART = 560  # bytes of one part

SPANS: dict[str, float | None] = {
    "60": 60.0, "300": 300.0, "600": 600.0, "3600": 3600.0, "all": None,
}  # fmt: skip


def sig(value: float | None, digits: int = 4) -> float | None:
    """Rounded to significant digits, for short answers."""
    return None if value is None else float(f"{value:.{digits}g}")


def encode(value: Any) -> bytes:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode(
        "utf-8", "replace"
    )


class Board:
    """Written by one thread, read by many.  run: names this run of the server; pyramid: of the force;
    way: of the travel, drawn below it."""

    def __init__(self, run: str, pyramid: Pyramid, way: Pyramid | None = None) -> None:
        self.run = run
        self.lock = threading.Lock()
        self.pyramid, self.way = pyramid, way
        self._parts: dict[str, tuple[int, bytes]] = {}
        self._version = 0
        self._now = b"null"

    def set(self, key: str, value: Any, whole: bool = False) -> None:
        """A part; None takes it away.  A text is cut to what an answer can hold; whole: a part
        that is set before any page has asked, and may be longer."""
        data = encode(value)
        if isinstance(value, str) and len(data) > MOST_PART:
            cut = value.encode("utf-8", "replace")[: MOST_PART // 2].decode("utf-8", "ignore")
            data = encode(cut + " …")
        assert whole or len(data) <= MOST_PART, key
        with self.lock:
            known = self._parts.get(key)
            if (known is not None and known[1] == data) or (known is None and value is None):
                return
            self._version += 1
            self._parts[key] = (self._version, data)

    def put(self, parts: Parts) -> None:
        """Several parts at once, each as by `set`."""
        for key, value in parts.items():
            self.set(key, value)

    def put_numbered(self, number: int | str, parts: Numbered) -> None:
        """Parts "name:number", each as by `set`."""
        for key, value in parts.items():
            self.set(f"{key}:{number}", value)

    def lines(self, key: str, texts: list[str], most: int = 40) -> None:
        """Texts as parts `key:0`, `key:1` ...; what an earlier, longer list had is taken away."""
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
            force, way, end, more = self._bins(seq, SPANS[span])
            head = b'{"run":"%s","force":%s,"travel":%s,"now":%s,"parts":{' % (
                self.run.encode(), force, way, self._now,
            )  # fmt: skip
            wanted = sorted(
                (changed, key, data)
                for key, (changed, data) in self._parts.items()
                if changed > version
            )
            told: list[tuple[int, bytes]] = []
            size, upto = len(head) + 50, self._version
            for changed, key, data in wanted:
                piece = encode(key) + b":" + data
                if version and told and size + len(piece) > BUDGET:
                    upto = told[-1][0]
                    break
                told.append((changed, piece))
                size += len(piece) + 1
            body = b",".join(piece for _, piece in told)
        return (
            head + body + b'},"version":%d,"seq":%d%s}' % (upto, end, b',"more":1' if more else b"")
        )

    def _bins(self, seq: int, span_s: float | None) -> tuple[bytes, bytes, int, bool]:
        """Bins of force and travel from level-0 bin seq - 1 on, how far they go, whether more follow."""
        shown = [p for p in (self.pyramid, self.way) if p is not None and p.last is not None]
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
            if len(index) > MOST_BINS_SENT:  # the last whole bin that goes along
                until = ((int(index[MOST_BINS_SENT - 1]) + 1) << level) - 1
        force = self._told(self.pyramid, span_s, since, until, True)
        way = b"null" if self.way is None else self._told(self.way, span_s, since, until, False)
        return force, way, max(0, until) + 1, until < last

    def _told(
        self, pyramid: Pyramid, span_s: float | None, since: int | None, until: int, means: bool
    ) -> bytes:
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
    rounded = float(f"{value:.4g}")
    return int(rounded) if rounded.is_integer() and abs(rounded) < 1e15 else rounded
