"""The least that is enough of something, found by halving; every step is a proof of its own."""

from __future__ import annotations

from collections.abc import Callable


def least(low: int, high: int, enough: Callable[[int], bool], *, steps: int = 12) -> int | None:
    """Find the least whole number above ``low`` and up to ``high`` that is enough; None where ``high`` is not.

    More is enough wherever less is. After so many steps the least number that is known to be enough is given.
    """
    if high <= low or not enough(high):
        return None
    while high - low > 1 and steps > 0:
        middle = (low + high) // 2
        if enough(middle):
            high = middle
        else:
            low = middle
        steps -= 1
    return high


def growing(enough: Callable[[int], bool], most: int) -> int | None:
    """Find the least number from 1 up to ``most`` that is enough, by doubling and halving; None where ``most`` is not."""
    high = 1
    while high < most and not enough(high):
        high *= 2
    high = min(high, most)
    return least(high // 2, high, enough) if high > 1 else (1 if enough(1) else None)
