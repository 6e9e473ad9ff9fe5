"""The whole explanation in one paragraph that a site lead can forward."""

from __future__ import annotations

from trayopt.domain.explanation import ConflictSaid, ExpectedSaid, Explanation, GoalCost, PreferenceSaid, WayOut
from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.explainer.cost_words import cost_said
from trayopt.explainer.cost_words import refuted as refuted_said
from trayopt.explainer.way_words import by_edit, phrase
from trayopt.explainer.words import by_reason, named, together
from trayopt.rules.words import listed, several
from trayopt.solver.model.groups import EXPECTED


def summary(job: Job, made: Explanation, *, unplaced: int = 0, broken: int = 0, refuted: GoalCost | None = None) -> str:
    """Write the whole in one paragraph; ``unplaced`` and ``broken`` are what a plan at hand leaves.

    ``refuted`` is the goal on which another plan is better than the one that was given as the best.
    """
    sentences = [_opening(job, made, unplaced, broken)]
    for i, conflict in enumerate(made.conflicts):
        sentences += _conflict(conflict, first=i == 0)
    sentences += [*_further(made), *_ways(made.ways_out, known=not made.out_of_time)]
    if made.out_of_time:
        sentences.append("The time ran out before everything was looked at; a longer --time-limit may find more.")
    sentences += [] if refuted is None else [refuted_said(refuted)]
    sentences += _preferences(made.preferences or ())
    sentences += _expected(made.expected)
    return " ".join(sentences)


def _opening(job: Job, made: Explanation, unplaced: int, broken: int) -> str:
    of = f"{job.title}: " if job.title else ""
    facts = []
    if unplaced:
        facts.append(f"{unplaced:,} of {several(job.splices, 'splice')} {'has' if unplaced == 1 else 'have'} no tray")
    if broken:
        facts.append(f"{several(broken, 'must')} {'is' if broken == 1 else 'are'} broken")
    if facts:
        return f"{of}{listed(facts)}."
    if made.expected is not None and made.conflicts:
        return f"{of}what is expected cannot be kept as a whole."
    if made.conflicts:
        return f"{of}not every splice can be placed while every must is kept."
    if made.preferences is None:
        return f"{of}whether every splice can be placed with every must kept was not settled in the time given."
    proof = "" if made.optimal else " The best plan that was found is not proven to be the best."
    return f"{of}every splice can be placed and every must kept.{proof}"


def _conflict(conflict: ConflictSaid, *, first: bool) -> list[str]:
    groups = [Group(item.rule, item.subject) for item in conflict.groups]
    if not groups:
        return [
            f"The reason: {conflict.root}."
            if conflict.root
            else "The rules that always hold, the loops that trunks may make and what is built are enough to exclude it."
        ]
    lead = "The reason" if first else "A separate reason"
    if len(groups) == 1:
        head = f"{lead}: {named(groups)} cannot hold{', which is proven' if conflict.minimal else ''}."
    else:
        proof = "proven; without any one of them the others can" if conflict.minimal else "not proven minimal"
        head = f"{lead}: {named(groups)} cannot hold together ({proof})."
    return [head, *(f"{because}." for _, _, because in together(conflict.groups))]


def _further(made: Explanation) -> list[str]:
    """Name rules that have to be given up beside those of the conflicts that are told: each stands in one that is not."""
    told = {item.rule for conflict in made.conflicts for item in conflict.groups}
    rules = dict.fromkeys(item.rule for way in made.ways_out for item in way.give_up if item.rule not in told)
    if not rules or EXPECTED in told:
        return []
    return [
        f"{listed(list(rules))} {'has' if len(rules) == 1 else 'have'} a part in further conflicts (--conflicts N shows them)."
    ]


def _ways(ways: tuple[WayOut, ...], *, known: bool) -> list[str]:
    if not ways:
        return []
    found = "" if known else " that was found"
    said = [f"The cheapest way out{found}, proven by a plan: {phrase(ways[0]) or in_a_line(ways[0].edit)}."]
    others = len(by_edit(ways)) - 1
    if others:
        said.append(f"{several(others, 'other way')} out {'is' if others == 1 else 'are'} proven as well.")
    return said


def _preferences(broken: tuple[PreferenceSaid, ...]) -> list[str]:
    """Say what is broken and why, preferences that the same stands against in one sentence."""
    said = []
    for items in by_reason(broken):
        one = items[0]
        facts = f" ({one.because})" if len(items) == 1 else ""
        which = named([Group(item.rule, item.subject) for item in items])
        verb = "is" if len(items) == 1 else "are"
        if one.never:
            said.append(f"No plan of this job can keep {which}{facts}: {one.reason}.")
            continue
        costs = dict.fromkeys(_cost(item) for item in items)
        cost = next(iter(costs)) if len(costs) == 1 else ""  # prices that differ stand in the list
        said.append(f"{which} {verb} broken{facts}: {one.reason}{cost}.")
    return said


def _cost(item: PreferenceSaid) -> str:
    return "" if item.cost is None else f"; with it kept: {cost_said(item.cost)}"


def _expected(found: ExpectedSaid | None) -> list[str]:
    if found is None or found.possible is False:
        return []
    if found.possible is None:
        return ["Whether what is expected can be kept was not settled in the time given."]
    if found.cost is None:
        return ["What is expected can be kept."]
    if all(cost.kept == cost.value for cost in found.cost):
        return ["What is expected can be kept, and is as good as the best plan."]
    return [f"What is expected can be kept, with {cost_said(found.cost)}.", *(f"{text}." for text in found.differences)]


def in_a_line(edit: str) -> str:
    """Write an edit in one line, without what stands there now."""
    return "; ".join(line.partition("  # ")[0] for line in edit.splitlines())
