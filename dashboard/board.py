"""What a page is told: small named parts, each with the version in which it changed last, and bins
of the force.  An answer holds what changed since the version that the page has, within a budget."""

from __future__ import annotations

import json
import threading
from typing import Any

from dashboard.pyramid import BASE_S, Pyramid

BUDGET = 980  # bytes of an answer, except the first
MOST_PART = 560  # bytes of one part

SPANS: dict[str, float | None] = {"60": 60.0, "600": 600.0, "all": None}


def sig(value: float | None, digits: int = 4) -> float | None:
    """Rounded to significant digits, for short answers."""
    return None if value is None else float(f"{value:.{digits}g}")


def encode(value: Any) -> bytes:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode(
        "utf-8", "replace"
    )


class Board:
    """Written by one thread, read by many.  run: names this run of the server."""

    def __init__(self, run: str, pyramid: Pyramid) -> None:
        self.run = run
        self.lock = threading.Lock()
        self.pyramid = pyramid
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

    def lines(self, key: str, texts: list[str], most: int = 40) -> None:
        """Texts as parts `key:0`, `key:1` ...; what an earlier, longer list had is taken away."""
        shown = texts[:most]
        for k, text in enumerate(shown):
            self.set(f"{key}:{k}", text)
        for k in range(len(shown), most):
            self.set(f"{key}:{k}", None)

    def now(self, value: Any) -> None:
        """What changes at every tick."""
        data = encode(value)
        with self.lock:
            self._now = data

    def since(self, seq: int, version: int, span: str) -> bytes:
        """The answer for a page that has bins up to `seq` and parts up to `version` (0: nothing).

        Bins: [level-0 bins up to here, level, [bin, lowest, highest, ...]].
        """
        with self.lock:
            if version > self._version:
                seq = version = 0
            bins, end = self._bins(seq, SPANS[span])
            head = b'{"run":"%s","b":%s,"now":%s,"p":{' % (self.run.encode(), bins, self._now)
            wanted = sorted(
                (changed, key, data)
                for key, (changed, data) in self._parts.items()
                if changed > version
            )
            told, size, upto = [], len(head) + 40, self._version
            for changed, key, data in wanted:
                piece = encode(key) + b":" + data
                if version and told and size + len(piece) > BUDGET:
                    upto = told[-1][0]
                    break
                told.append((changed, piece))
                size += len(piece) + 1
            body = b",".join(piece for _, piece in told)
        return head + body + b'},"v":%d,"seq":%d}' % (upto, end)

    def _bins(self, seq: int, span_s: float | None) -> tuple[bytes, int]:
        first, last = self.pyramid.first, self.pyramid.last
        if first is None or last is None:
            return b"null", 0
        level = self.pyramid.level_for(span_s)
        since = None if seq <= 0 else first + seq - 1
        if span_s is not None:
            begin = last - int(span_s / BASE_S)
            since = begin if since is None else max(since, begin)
        index, low, high = self.pyramid.bins(level, since)
        flat: list[float | int | None] = []
        for k, lo, hi in zip(index.tolist(), low.tolist(), high.tolist(), strict=True):
            flat += [k, _short(lo), _short(hi)]
        return encode([level, flat]), last - first + 1


def _short(value: float) -> float | int:
    rounded = float(f"{value:.4g}")
    return int(rounded) if rounded.is_integer() and abs(rounded) < 1e15 else rounded
