"""Bounds of counts: how many of many may come where each comes at a rate."""

from __future__ import annotations

import math


def most(n: int, rate: float, doubt: float = 1 / 200) -> int:
    """The count that a binomial variable of n draws passes in at most `doubt` of all cases."""
    count, left = -1, 1.0
    while left > doubt:
        count += 1
        left -= math.comb(n, count) * rate**count * (1 - rate) ** (n - count)
    return count


def least(n: int, rate: float) -> int:
    """The count below which a binomial variable of n draws stays in at most 1 of 200 cases."""
    return n - most(n, 1 - rate)
