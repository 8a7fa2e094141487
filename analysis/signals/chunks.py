"""Cuts a long block of readings into pieces that fit the processor's cache."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from analysis.signals.time_cells import Floats
from logger.session.records import ChannelReadings

SLICE, SLICE_S = 1 << 18, 2600.0  # readings of a channel, and seconds, taken at once; speed only


def slices(
    readings: dict[str, ChannelReadings],
) -> Iterator[tuple[dict[str, tuple[Floats, Floats]], bool]]:
    """Yield pieces of a block: (channel -> (time_s, reading), (n,) each; whether times are in order).

    Each piece holds all channels up to one common time.  A block that is short or whose times are not
    in order comes as one piece.
    """
    channels = {
        name: (np.asarray(r.time_s, np.float64), np.asarray(r.reading, np.float64))
        for name, r in readings.items()
        if len(r.time_s)
    }
    most = max(channels.values(), key=lambda c: len(c[0]), default=None)
    orderly = most is not None and len(most[0]) > SLICE // 16
    if most is None or not (
        orderly and all(bool((t[1:] >= t[:-1]).all()) for t, _ in channels.values())
    ):
        yield channels, False
        return
    np.empty(1 << 22)  # freed at once: from then on the C library reuses arrays up to this size
    span = float(most[0][-1] - most[0][0])
    step = (
        SLICE
        if span <= SLICE_S
        else max(SLICE // 16, min(SLICE, int(len(most[0]) * SLICE_S / span)))
    )
    times = [*most[0][step::step].tolist(), math.inf]
    at = dict.fromkeys(channels, 0)
    for until in times:
        piece = {}
        for name, (time_s, reading) in channels.items():
            k = int(np.searchsorted(time_s, until, "left")) if until < math.inf else len(time_s)
            if k > at[name]:
                piece[name] = (time_s[at[name] : k], reading[at[name] : k])
                at[name] = k
        yield piece, True
