"""Prices of preferences in words: a line each, and the table of all."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from trayopt.domain.prices import PreferencePrice, Prices, PriceTogether, Worth
from trayopt.rules.words import listed, several

HEADS = ("preference", "weight", "legs", "trays", "metres", "minutes", "")
"""Columns of the table: figures of the best plan with the preference, and without it."""
FEW = 3
"""Most preferences that a line names; of more, it says the number."""


def metres(mm: int) -> str:
    """Write a length in metres."""
    return f"{mm / 1000:,.2f}"


def price_line(price: PreferencePrice, best: Worth) -> str:
    """Say in a line what keeping a preference costs."""
    most = "" if best.proven and price.without.proven else "at least "
    kept = f"{price.rule} (preferred, weight {price.weight}) costs {most}{several(price.saved(best), 'crew minute')}"
    return kept + _shown(price.without, best, "it")


def together_line(found: Prices, weights: Mapping[str, int], more_than: float) -> str:
    """Say in a line what keeping several preferences costs at least, and what is known of each by itself."""
    if found.together is None or not found.together.rules:
        raise ValueError("no plan gives up several preferences")
    rules, best, other = found.together.rules, found.best, found.together.without
    names = listed([f"{rule} (weight {weights[rule]})" for rule in rules])
    kept = f"keeping {names} costs at least {several(best.minutes - other.minutes, 'crew minute')}"
    known = f"none of them costs more than {more_than:,g} by itself"
    if set(rules) & set(found.open):
        known = "the time was too short to find what each costs by itself"
    return f"{kept}{_shown(other, best, 'them')}; {known}"


def _shown(other: Worth, best: Worth, what: str) -> str:
    """Say what a plan without preferences has less than the best plan."""
    less = [
        several(best.legs - other.legs, "leg"),
        several(best.trays - other.trays, "tray"),
        f"{metres(best.leg_length_mm - other.leg_length_mm)} m",
    ]
    saved = listed([text for text in less if not text.startswith(("0 ", "0.00", "-"))])
    return f": a plan without {what} has {saved} less" if saved else f", as a plan without {what} shows"


def unsettled_line(found: Prices) -> str:
    """Say in a line what keeping preferences costs at most, where no price was found in time."""
    most = several(found.best.minutes - found.least_minutes, "crew minute")
    names = listed(list(found.open)) if len(found.open) <= FEW else f"{len(found.open)} preferences"
    return f"keeping {names} costs at most {most} in all; the time was too short to find a price"


def rows(found: Prices) -> Iterator[tuple[str, ...]]:
    """Yield the rows of the table, two a preference: with it, and without it."""
    for price in found.priced:
        yield (price.rule, str(price.weight), *figures(found.best), f"with it{_still(price)}")
        yield ("", "", *figures(price.without), "without it" if price.without.proven else "without it, not proven")


def _still(price: PreferencePrice) -> str:
    """Say how often the best plan breaks a preference all the same."""
    return f", broken {price.broken} ×" if price.broken else ""


def figures(worth: Worth) -> tuple[str, str, str, str]:
    """Return legs, trays, metres and minutes as text."""
    return f"{worth.legs:,}", f"{worth.trays:,}", metres(worth.leg_length_mm), f"{worth.minutes:,}"


def head(found: Prices) -> str:
    """Say what the best plan asks of a crew."""
    best = found.best
    proof = "proven" if best.proven else "not proven to be the best"
    return f"The best plan ({proof}): {asked(best)}."


def asked(worth: Worth) -> str:
    """Write what a plan asks of a crew: ``12 legs, 1 tray, 20.5 m, 31 crew minutes``."""
    counts = several(worth.legs, "leg"), several(worth.trays, "tray")
    return f"{', '.join(counts)}, {metres(worth.leg_length_mm)} m, {several(worth.minutes, 'crew minute')}"


def text(found: Prices) -> str:
    """Write prices as plain text: what was priced, the table, and what costs nothing or is open."""
    lines = [head(found)]
    if found.priced:
        lines += ["", "What keeping preferences costs", *_table([HEADS, *rows(found)])]
    if found.together is not None and len(found.together.rules) > 1:
        lines += ["", _together(found.best, found.together)]
    if found.free:
        lines += ["", f"No plan is better without {listed(list(found.free), 'or')}: proven."]
    if found.open:
        lines += ["", f"No better plan was found without {listed(list(found.open), 'or')} in the time given."]
    lines += [
        "",
        f"No plan of this job takes fewer than {several(found.least_minutes, 'crew minute')}, whatever it breaks.",
    ]
    lines += ["Minutes are those of one person, by the paces of the sheets: estimates."]
    return "\n".join(lines)


def _together(best: Worth, together: PriceTogether) -> str:
    """Say what the plan that gives up several preferences asks of a crew."""
    saved = several(best.minutes - together.without.minutes, "crew minute")
    return f"A plan without {listed(list(together.rules))} has {asked(together.without)}: {saved} less."


def _table(lines: Sequence[Sequence[str]]) -> list[str]:
    """Set a table: words to the left, figures to the right."""
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    made = []
    for line in lines:
        cells = [
            cell.ljust(width) if i in {0, len(widths) - 1} else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(line, widths, strict=True))
        ]
        made.append("  ".join(cells).rstrip())
    return made
