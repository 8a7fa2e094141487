"""Notices a device that floods its port with what nobody understands, and thins that.

A flood costs time and memory that the other ports need.  So of a flood only a part is decoded; of
the rest the lines are counted as dropped.  Of dropped lines a few samples a second are kept.
"""

from __future__ import annotations

from logger.formats.base import Decoded, Decoder

WINDOW_S = 1.0  # time over which a port is judged; chosen by us: a burst is no flood
FLOOD_BYTES_S = 1e6  # chosen by us: eight times what a serial line at 1 Mbaud carries
FLOOD_LINES_S = 5000.0  # lines not understood; chosen by us: five times a fast device
LOOKED_BYTES_S = 100_000.0  # bytes a second of a flood that are decoded; speed only
# samples of dropped lines, a second and at once; chosen by us: rejects.csv holds 2,000 to 8,000
SAMPLES_S, MOST_SAMPLES = 200.0, 3000.0


class FloodGate:
    """Passes the bytes of one port to its decoder, or counts their lines only.

    since_s: `clock.now` at which the flood began, s; None: there is no flood
    """

    def __init__(self, decoder: Decoder) -> None:
        self.since_s: float | None = None
        self._decoder = decoder
        self._window_from = 0.0
        self._bytes = 0
        self._before = (0, 0)
        self._looked = _Budget(LOOKED_BYTES_S, LOOKED_BYTES_S)
        self._samples = _Budget(SAMPLES_S, MOST_SAMPLES)
        self._skipped = 0

    def feed(self, content: bytes, now_s: float) -> Decoded:
        """Decode `content`, or count its lines if it is one part too much of a flood.

        now_s: `clock.now`, s.
        """
        self._bytes += len(content)
        if self.since_s is not None and not self._looked.take(len(content), now_s):
            self._skipped += self._decoder.skip(content)
            return Decoded()
        return self.thinned(self._decoder.feed(content), now_s)

    def thinned(self, decoded: Decoded, now_s: float) -> Decoded:
        """The same readings, with no more samples than may be kept now; now_s: `clock.now`, s."""
        if decoded.samples:
            kept = self._samples.most(len(decoded.samples), now_s)
            del decoded.samples[kept:]
        return decoded

    def change(self, now_s: float) -> tuple[float, str] | None:
        """A flood that began or ended: a number and a text for its event; None: neither.

        now_s: `clock.now`, s.  The number is bytes a second at the beginning, and at the end the
        lines that were only counted.
        """
        passed_s = now_s - self._window_from
        if passed_s < WINDOW_S:
            return None
        bytes_s = self._bytes / passed_s
        lines, understood = self._decoder.lines, self._decoder.understood
        bad = (lines - self._before[0]) - (understood - self._before[1])
        good = understood - self._before[1]
        bad_s = bad / passed_s
        first = self._window_from == 0.0
        self._window_from, self._bytes, self._before = now_s, 0, (lines, understood)
        if first or passed_s > 2 * WINDOW_S:  # nothing came meanwhile, or the reader was held up
            return self.ended(now_s) if self.since_s is not None else None
        flooded = bad >= good and (bytes_s > FLOOD_BYTES_S or bad_s > FLOOD_LINES_S)
        if flooded == (self.since_s is not None):
            return None
        if not flooded:
            return self.ended(now_s)
        self.since_s, self._skipped = now_s, 0
        return round(bytes_s), (
            f"a flood: {bytes_s / 1e6:.2g} MB and {bad_s:.0f} lines a second, which nobody "
            "understands; only a part of them is looked at: unplug the device or correct its "
            "setting"
        )

    def ended(self, now_s: float) -> tuple[float, str] | None:
        """As `change`, for a flood that ends now; None if there is none."""
        if self.since_s is None:
            return None
        took_s, self.since_s = now_s - self.since_s, None
        return self._skipped, (
            f"the flood is over after {took_s:.1f} s; {self._skipped} lines were dropped without "
            "a look"
        )


class _Budget:
    """An allowance that grows by `rate` a second up to `most`."""

    def __init__(self, rate: float, most: float) -> None:
        self._rate, self._most = rate, most
        self._left, self._at_s = most, 0.0

    def take(self, amount: int, now_s: float) -> bool:
        """Whether some is left; then `amount` is taken, even if that is more."""
        self._grow(now_s)
        if self._left <= 0:
            return False
        self._left -= amount
        return True

    def most(self, amount: int, now_s: float) -> int:
        """Take `amount`, or what is left of it; returns how many."""
        self._grow(now_s)
        taken = min(amount, int(self._left))
        self._left -= taken
        return taken

    def _grow(self, now_s: float) -> None:
        self._left = min(self._most, self._left + self._rate * max(0.0, now_s - self._at_s))
        self._at_s = now_s
