"""The prices of preferences as a picture: for each the minutes of the best plan with it, and without it."""

from __future__ import annotations

from trayopt.domain.prices import PreferencePrice, Prices
from trayopt.explainer.price_words import asked, metres
from trayopt.pictures.base import WIDTH, Anchor, Dot, Path, Picture, Text, fitted

HEADING = "What keeping preferences costs"
MARGIN, LEFT, RIGHT = 16.0, 200.0, 210.0
"""Beside the picture; names stand before the scale, and what is saved after it."""
ROW, HEAD, FOOT = 64.0, 120.0, 52.0
WITH, WITHOUT, OPEN = "with", "without", "without open"
"""Marks of the best plan, of the best one without a preference, and of one that is not proven to be it."""


def picture(found: Prices) -> Picture:
    """Draw prices; every mark has its figure beside it, so that no colour stands alone."""
    rows = found.priced
    drawn = Picture("prices", WIDTH, HEAD + max(1, len(rows)) * ROW + FOOT, _title(found), _described(found))
    drawn.texts += [
        Text(MARGIN, 28, HEADING, "title", size=17),
        Text(MARGIN, 54, fitted(found.job.title, WIDTH - 2 * MARGIN), full=found.job.title, kind="name"),
        Text(MARGIN, 76, _best(found)),
    ]
    _key(drawn)
    if rows:
        scale = _Scale(found)
        _lines(drawn, scale)
        for i, price in enumerate(rows):
            _row(drawn, found, price, scale, HEAD + i * ROW + ROW / 2)
    else:
        drawn.texts.append(Text(MARGIN, HEAD + ROW / 2, "No preference was found to cost anything.", "name"))
    return drawn


def _title(found: Prices) -> str:
    return f"{HEADING}: {found.job.title}" if found.job.title else HEADING


def _best(found: Prices) -> str:
    proof = "proven" if found.best.proven else "not proven"
    return f"The best plan ({proof}): {asked(found.best)}."


def _described(found: Prices) -> str:
    """Say for each preference what the picture shows, for those who do not see it."""
    told = [
        f"{price.rule}: {found.best.minutes:,} minutes with it, {price.without.minutes:,} without it"
        for price in found.priced
    ]
    return "; ".join(told) or "no preference was found to cost anything"


class _Scale:
    """Minutes along the page; it begins at round minutes below the least."""

    def __init__(self, found: Prices) -> None:
        values = [found.best.minutes, *(price.without.minutes for price in found.priced)]
        spread = max(values) - min(values) or max(1, values[0])
        self.step = _round_step(spread / 4)
        self.low = min(values) // self.step * self.step
        self.high = -(-max(values) // self.step) * self.step
        if self.high == self.low:
            self.high += self.step

    def x(self, minutes: float) -> float:
        """Return the x coordinate of a number of minutes."""
        return round(LEFT + (WIDTH - RIGHT - LEFT) * (minutes - self.low) / (self.high - self.low), 1)


def _round_step(least: float) -> int:
    """Return the least of 1, 2 and 5 with zeros that is not below."""
    size = 1
    while True:
        for step in (size, 2 * size, 5 * size):
            if step >= least:
                return step
        size *= 10


def _key(drawn: Picture) -> None:
    """Say what the two marks are."""
    drawn.dots += [Dot(MARGIN + 6, 103, WITH), Dot(MARGIN + 92, 103, WITHOUT)]
    drawn.texts += [
        Text(MARGIN + 18, 103, "with it", "legend"),
        Text(MARGIN + 104, 103, "without it (hollow: not proven)", "legend"),
    ]


def _lines(drawn: Picture, scale: _Scale) -> None:
    """Draw lines at round minutes, with their figures below."""
    foot = drawn.height - FOOT
    for minutes in range(scale.low, scale.high + 1, scale.step):
        x = scale.x(minutes)
        drawn.paths.append(Path(((x, HEAD), (x, foot)), "rule"))
        drawn.texts.append(Text(x, foot + 14, f"{minutes:,}", anchor="middle"))
    middle = (LEFT + WIDTH - RIGHT) / 2
    drawn.texts.append(Text(middle, foot + 36, "crew minutes, one person (estimates)", anchor="middle"))


def _row(drawn: Picture, found: Prices, price: PreferencePrice, scale: _Scale, y: float) -> None:
    """Draw one preference: its name and weight, both plans, and what is saved."""
    best, other = found.best, price.without
    here, there = scale.x(best.minutes), scale.x(other.minutes)
    drawn.paths.append(Path(((here, y), (there, y)), "price"))
    drawn.dots += [Dot(here, y, WITH), Dot(there, y, WITHOUT if other.proven else OPEN)]
    weight = f"weight {price.weight:,}" + (f", broken {price.broken} ×" if price.broken else "")
    after = WIDTH - RIGHT + 24
    saved = f"{_change(other.minutes - best.minutes)} minutes without it"
    beside = f"{_change(other.legs - best.legs)} legs, {_change(other.trays - best.trays)} trays"
    length = f"{_metres(other.leg_length_mm - best.leg_length_mm)} m"
    middle: Anchor = "middle"
    drawn.texts += [
        Text(MARGIN, y - 8, fitted(price.rule, LEFT - MARGIN - 30), "name", full=price.rule),
        Text(MARGIN, y + 10, fitted(weight, LEFT - MARGIN - 30), full=weight),
        Text(here, y - 18, f"{best.minutes:,}", WITH, middle),
        Text(there, y + 18, f"{other.minutes:,}", WITHOUT, middle),
        Text(after, y - 16, fitted(saved, WIDTH - after), "name", full=saved),
        Text(after, y, fitted(beside, WIDTH - after), full=beside),
        Text(after, y + 16, fitted(length, WIDTH - after), full=length),
    ]


def _change(count: int) -> str:
    """Write a change with its sign; no change as ±0."""
    return f"{count:+,}".replace("-", "−") if count else "±0"


def _metres(mm: int) -> str:
    sign = "+" if mm > 0 else "−" if mm < 0 else "±"
    return f"{sign}{metres(abs(mm))}"
