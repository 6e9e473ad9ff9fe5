"""The prices of preferences as a picture (SVG): for each the minutes of the best plan with it, and without it."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from textwrap import shorten

from trayopt.domain.prices import PreferencePrice, Prices
from trayopt.explainer.price_words import figures, metres

HEADING = "What keeping preferences costs"
WIDTH, MARGIN, LEFT, RIGHT = 900, 24, 190, 330
ROW, HEAD, FOOT = 64, 120, 52
LONGEST = 100
"""Characters of a job's title that find room in a line."""
INK, SOFT, RULE = "#1c2733", "#56636f", "#d5dbe1"
WITH, WITHOUT = "#b4532a", "#2a6f97"
FONT = "font-family=\"'DejaVu Sans', Verdana, sans-serif\""


def picture(found: Prices) -> str:
    """Draw prices as a self-contained SVG; every mark has its figure beside it, so that no colour stands alone."""
    rows = found.priced
    height = HEAD + max(1, len(rows)) * ROW + FOOT
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" height="{height}" '
        f'role="img" aria-labelledby="prices-title prices-text" {FONT}>',
        f'<title id="prices-title">{escape(_title(found))}</title>',
        f'<desc id="prices-text">{escape(_described(found))}</desc>',
        f'<rect width="{WIDTH}" height="{height}" fill="#ffffff"/>',
        _text(MARGIN, 36, HEADING, size=18, weight="bold"),
        _text(MARGIN, 60, shorten(found.job.title, LONGEST, placeholder=" …"), size=14),
        _text(MARGIN, 82, _best(found), size=13, fill=SOFT),
        *_key(),
    ]
    if rows:
        scale = _Scale(found)
        lines += list(scale.drawn(height))
        for i, price in enumerate(rows):
            lines += list(_row(found, price, scale, HEAD + i * ROW + ROW // 2))
    else:
        lines.append(_text(MARGIN, HEAD + ROW // 2, "No preference was found to cost anything.", size=14))
    return "\n".join([*lines, "</svg>"]) + "\n"


def _title(found: Prices) -> str:
    return f"{HEADING}: {found.job.title}" if found.job.title else HEADING


def _best(found: Prices) -> str:
    legs, trays, length, minutes = figures(found.best)
    proof = "proven" if found.best.proven else "not proven"
    return f"The best plan ({proof}): {legs} legs, {trays} trays, {length} m, {minutes} crew minutes."


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
        """Where so many minutes stand."""
        return round(LEFT + (WIDTH - RIGHT - LEFT) * (minutes - self.low) / (self.high - self.low), 1)

    def drawn(self, height: int) -> Iterator[str]:
        """Draw lines at round minutes, with their figures below."""
        for minutes in range(self.low, self.high + 1, self.step):
            x = self.x(minutes)
            yield f'<line x1="{x}" y1="{HEAD}" x2="{x}" y2="{height - FOOT}" stroke="{RULE}"/>'
            yield _text(x, height - FOOT + 18, f"{minutes:,}", size=12, fill=SOFT, anchor="middle")
        yield _text(
            (LEFT + WIDTH - RIGHT) / 2, height - 12, "crew minutes, one person (estimates)", size=12, fill=SOFT,
            anchor="middle",
        )  # fmt: skip


def _round_step(least: float) -> int:
    """Give the least of 1, 2 and 5 with zeros that is not below."""
    size = 1
    while True:
        for step in (size, 2 * size, 5 * size):
            if step >= least:
                return step
        size *= 10


def _key() -> Iterator[str]:
    """Say what the two marks are."""
    yield f'<circle cx="{MARGIN + 6}" cy="103" r="6" fill="{WITH}"/>'
    yield _text(MARGIN + 18, 108, "with it", size=12)
    yield _square(MARGIN + 82, 103, WITHOUT)
    yield _text(MARGIN + 98, 108, "without it (hollow: not proven)", size=12)


def _square(x: float, y: float, colour: str, *, hollow: bool = False) -> str:
    fill = "#ffffff" if hollow else colour
    return (
        f'<rect x="{round(x - 5.5, 1)}" y="{y - 5.5}" width="11" height="11" fill="{fill}" stroke="{colour}" '
        'stroke-width="2"/>'
    )


def _row(found: Prices, price: PreferencePrice, scale: _Scale, y: int) -> Iterator[str]:
    """Draw one preference: its name and weight, both plans, and what is saved."""
    best, other = found.best, price.without
    here, there = scale.x(best.minutes), scale.x(other.minutes)
    yield _text(MARGIN, y - 2, price.rule, size=14, weight="bold")
    kept = f"weight {price.weight}" + (f", broken {price.broken} ×" if price.broken else "")
    yield _text(MARGIN, y + 16, kept, size=12, fill=SOFT)
    yield f'<line x1="{here}" y1="{y}" x2="{there}" y2="{y}" stroke="{SOFT}" stroke-width="3"/>'
    yield f'<circle cx="{here}" cy="{y}" r="6" fill="{WITH}"/>'
    yield _square(there, y, WITHOUT, hollow=not other.proven)
    yield _text(there, y + 24, f"{other.minutes:,}", size=12, fill=WITHOUT, anchor="middle")
    yield _text(here, y - 14, f"{best.minutes:,}", size=12, fill=WITH, anchor="middle")
    at = WIDTH - RIGHT + 40
    yield _text(at, y - 2, f"{_change(other.minutes - best.minutes)} minutes without it", size=13, weight="bold")
    yield _text(
        at, y + 16,
        f"{_change(other.legs - best.legs)} legs, {_change(other.trays - best.trays)} trays, "
        f"{_metres(other.leg_length_mm - best.leg_length_mm)} m",
        size=12, fill=SOFT,
    )  # fmt: skip


def _change(count: int) -> str:
    """Write a change with its sign; no change as ±0."""
    return f"{count:+,}".replace("-", "−") if count else "±0"


def _metres(mm: int) -> str:
    sign = "+" if mm > 0 else "−" if mm < 0 else "±"
    return f"{sign}{metres(abs(mm))}"


def _text(
    x: float, y: float, words: str, *, size: int, weight: str = "normal", fill: str = INK, anchor: str = "start"
) -> str:
    return (
        f'<text x="{x}" y="{y}" font-size="{size}" font-weight="{weight}" fill="{fill}" '
        f'text-anchor="{anchor}">{escape(words)}</text>'
    )
