"""The explanation as plain text, for a terminal or a mail."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import fill

from trayopt.domain.explanation import (
    BoundSaid,
    ConflictSaid,
    ExpectedSaid,
    Explanation,
    PreferenceSaid,
    WayOut,
)
from trayopt.explainer.cost_words import cost_said
from trayopt.explainer.way_words import by_edit, outcome, phrases
from trayopt.explainer.words import by_reason, together
from trayopt.rules.words import listed
from trayopt.solver.model.groups import EXPECTED

MOST_COLUMNS = 100
LEAST_COLUMNS = 40


def text(made: Explanation, width: int = MOST_COLUMNS) -> str:
    """Write an explanation: its summary, then each part with a heading of its own; edits are never wrapped."""
    write = _Writer(max(LEAST_COLUMNS, min(width, MOST_COLUMNS)))
    parts = [write.item("", made.summary)]
    for i, conflict in enumerate(made.conflicts, start=1):
        parts.append("\n".join(write.conflict(i, conflict)))
    if made.ways_out:
        parts.append("\n".join(write.ways(made.ways_out)))
    if made.unseen:
        ways = listed(list(made.unseen))
        parts.append(
            write.item("", f"Not searched to the end for ways out (a longer --time-limit allows more): {ways}")
        )
    never = [item for item in made.preferences or () if item.never]
    broken = [item for item in made.preferences or () if not item.never]
    if never:
        parts.append("\n".join(write.never(never)))
    if broken:
        parts.append("\n".join(write.preferences(broken, optimal=made.optimal is True)))
    if made.expected is not None and made.expected.possible is not False:
        parts.append("\n".join(write.expected(made.expected)))
    if made.bounds:
        parts.append("\n".join(write.bounds(made.bounds)))
    return "\n\n".join(parts)


class _Writer:
    """Writes the parts of an explanation in lines of one width."""

    def __init__(self, width: int) -> None:
        self.width = width

    def item(self, lead: str, body: str) -> str:
        """Write a text behind a lead; further lines are indented a little more than the first."""
        inset = len(lead) - len(lead.lstrip())
        further = " " * (inset + 4 if lead else 0)
        return fill(lead.lstrip() + body, self.width, initial_indent=" " * inset, subsequent_indent=further)

    def conflict(self, i: int, conflict: ConflictSaid) -> Iterator[str]:
        """Write what cannot hold together."""
        proof = "minimal, proven" if conflict.minimal else "not proven minimal"
        alone = len(conflict.groups) == 1
        yield f"Conflict {i} ({proof}): {'this cannot be kept' if alone else 'these cannot be kept together'}"
        if not conflict.groups:
            always = "the rules that always hold, the loops that trunks may make, and what is built"
            yield self.item("  ", conflict.root or always)
        for rule, _, because in together(conflict.groups):
            yield self.item(f"  {rule}: ", because)

    def ways(self, ways: Sequence[WayOut]) -> Iterator[str]:
        """Write the ways out; ways out with the same edit are written once."""
        yield self.item("", "Ways out, the cheapest first; each proven by a plan of the changed job")
        for i, alike in enumerate(by_edit(ways), start=1):
            yield self.item(f"  {i}. ", f"{phrases(alike)} (cost {listed(sorted({way.cost for way in alike}), 'or')})")
            if not any(item.rule == EXPECTED for way in alike for item in way.give_up):
                yield from (f"       {line}" for line in alike[0].edit.splitlines())
            yield self.item("     ", f"then: {outcome(alike[0].goals)}")

    def preferences(self, broken: Sequence[PreferenceSaid], *, optimal: bool) -> Iterator[str]:
        """Write the broken preferences; what stands against several stands there once."""
        yield f"Preferences that the best plan {'' if optimal else 'that was found '}breaks"
        for items in by_reason(broken):
            for item in items:
                yield self.item("  ", _named(item.rule, item.subject, item.because))
            yield self.item("    ", f"why: {items[0].reason}")
            for rule, _, because in together(items[0].against):
                yield self.item("      ", f"{rule}: {because}")
            alike: dict[str, list[PreferenceSaid]] = {}
            for item in items:
                alike.setdefault(_keeping(item), []).append(item)
            for price, same in alike.items():
                which = "it" if len(items) == 1 else "any of them" if len(same) == len(items) else _listed(same)
                yield self.item("    ", f"to keep {which}: {price}")

    def never(self, broken: Sequence[PreferenceSaid]) -> Iterator[str]:
        """Write the preferences that no plan keeps, with their roots."""
        yield "Preferences that no plan of this job can keep"
        for items in by_reason(broken):
            yield from (self.item("  ", _named(item.rule, item.subject, item.because)) for item in items)
            yield self.item("    ", f"why: {items[0].reason}")

    def bounds(self, bounds: Sequence[BoundSaid]) -> Iterator[str]:
        """Write why each goal cannot be lower."""
        yield "Why no goal can be lower"
        for item in bounds:
            proof = "proven" if item.at_least == item.value else f"proven at least {item.at_least:,}"
            yield f"  {item.goal} {item.value:,}, {proof}"
            yield from (self.item("    ", because) for because in item.because)

    def expected(self, found: ExpectedSaid) -> Iterator[str]:
        """Write what became of what is expected."""
        yield f"What is expected {'can be kept' if found.possible else 'was not settled in the time given'}"
        if found.cost is not None:
            yield self.item("  ", f"against the best plan: {cost_said(found.cost)}")
        yield from (self.item("  ", line) for line in found.differences)


def _named(rule: str, subject: str, because: str) -> str:
    """Write a rule and a sentence, with the subject where the sentence does not begin with it."""
    return f"{rule}: {because}" if because.startswith(subject) else f"{rule} {subject}: {because}"


def _listed(items: Sequence[PreferenceSaid]) -> str:
    return listed([f"{item.rule} {item.subject}" for item in items], "or")


def _keeping(item: PreferenceSaid) -> str:
    if item.possible is None:
        return "not settled in the time given"
    if item.cost is None:
        return "no plan does"
    same = all(cost.kept == cost.value for cost in item.cost)
    return cost_said(item.cost) + (", as others of the same weight give way" if same else "")
