"""The whole explanation in one paragraph that a site lead can forward."""

from __future__ import annotations

from trayopt.domain.explanation import ConflictSaid, ExpectedSaid, Explanation, GoalCost, PreferenceSaid, WayOut
from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.domain.said import joined, said
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
        sentences.append(said("The time ran out before everything was looked at; a longer --time-limit may find more."))
    sentences += [] if refuted is None else [refuted_said(refuted)]
    sentences += _preferences(made.preferences or ())
    sentences += _expected(made.expected)
    return joined(sentences, " ")


def _opening(job: Job, made: Explanation, unplaced: int, broken: int) -> str:
    says = _outcome(job, made, unplaced, broken)
    return said("{title}: {says}", title=job.title, says=says) if job.title else says


def _outcome(job: Job, made: Explanation, unplaced: int, broken: int) -> str:
    facts = []
    if unplaced:
        of = several(job.splices, "splice")
        facts.append(said("{n:,} of {splices} has no tray|{n:,} of {splices} have no tray", n=unplaced, splices=of))
    if broken:
        facts.append(said("{n:,} must is broken|{n:,} musts are broken", n=broken))
    if facts:
        return _ended(listed(facts))
    if made.expected is not None and made.conflicts:
        return said("what is expected cannot be kept as a whole.")
    if made.conflicts:
        return said("not every splice can be placed while every must is kept.")
    if made.preferences is None:
        return said("whether every splice can be placed with every must kept was not settled in the time given.")
    if not job.splices:
        return said("the job has no joins, so nothing is spliced and no tray is needed.")
    kept = said("every splice can be placed and every must kept.")
    unproven = said("The best plan that was found is not proven to be the best.")
    return kept if made.optimal else joined([kept, unproven], " ")


def _ended(text: str) -> str:
    """Write a text as a sentence."""
    return said("{text}.", text=text)


def _conflict(conflict: ConflictSaid, *, first: bool) -> list[str]:
    groups = [Group(item.rule, item.subject) for item in conflict.groups]
    if not groups and conflict.root:
        return [said("The reason: {root}.", root=conflict.root)]
    if not groups:
        return [
            said(
                "The rules that always hold, the loops that trunks may make and what is built are enough to exclude it."
            )
        ]
    if len(groups) == 1:
        fact = said(
            "{groups} cannot be kept (proven)" if conflict.minimal else "{groups} cannot be kept",
            groups=named(groups),
        )
    else:
        fact = said(
            "{groups} cannot be kept together (proven; without any one of them the others can)"
            if conflict.minimal
            else "{groups} cannot be kept together (not proven minimal)",
            groups=named(groups),
        )
    head = said("The reason: {root}." if first else "Another reason: {root}.", root=fact)
    return [head, *(_ended(because) for _, _, because in together(conflict.groups))]


def _further(made: Explanation) -> list[str]:
    """Name rules that have to be given up beside those of the conflicts that are told: each stands in one that is not."""
    told = {item.rule for conflict in made.conflicts for item in conflict.groups}
    rules = dict.fromkeys(item.rule for way in made.ways_out for item in way.give_up if item.rule not in told)
    if not rules or EXPECTED in told:
        return []
    form = (
        "{rules} takes part in further conflicts (--conflicts N shows them)."
        "|{rules} take part in further conflicts (--conflicts N shows them)."
    )
    return [said(form, n=len(rules), rules=listed(list(rules)))]


def _ways(ways: tuple[WayOut, ...], *, known: bool) -> list[str]:
    if not ways:
        return []
    way = phrase(ways[0]) or in_a_line(ways[0].edit)
    told: list[str] = [
        said(
            "The cheapest way out, proven by a plan: {way}."
            if known
            else "The cheapest way out that was found, proven by a plan: {way}.",
            way=way,
        )
    ]
    others = len(by_edit(ways)) - 1
    if others:
        told.append(said("{n:,} other way out is proven as well.|{n:,} other ways out are proven as well.", n=others))
    return told


def _preferences(broken: tuple[PreferenceSaid, ...]) -> list[str]:
    """Say which preferences are broken and why; preferences with the same reason share a sentence."""
    told: list[str] = []
    for items in by_reason(broken):
        one = items[0]
        which = named([Group(item.rule, item.subject) for item in items])
        because = one.because if len(items) == 1 else ""
        if one.never:
            told.append(
                said(
                    "No plan of this job can keep {which} ({because}): {reason}.",
                    which=which,
                    because=because,
                    reason=one.reason,
                )
                if because
                else said("No plan of this job can keep {which}: {reason}.", which=which, reason=one.reason)
            )
            continue
        costs = list(dict.fromkeys(_cost(item) for item in items))
        reason = one.reason
        if len(costs) == 1 and costs[0]:  # prices that differ stand in the list
            reason = said("{reason}; keeping it: {cost}", reason=reason, cost=costs[0])
        told.append(
            said("{which} is broken ({because}): {reason}.", which=which, because=because, reason=reason)
            if because
            else said(
                "{which} is broken: {reason}.|{which} are broken: {reason}.", n=len(items), which=which, reason=reason
            )
        )
    return told


def _cost(item: PreferenceSaid) -> str:
    return "" if item.cost is None else cost_said(item.cost)


def _expected(found: ExpectedSaid | None) -> list[str]:
    if found is None or found.possible is False:
        return []
    if found.possible is None:
        return [said("Whether what is expected can be kept was not settled in the time given.")]
    if found.cost is None:
        return [said("What is expected can be kept.")]
    if all(cost.kept == cost.value for cost in found.cost):
        return [said("What is expected can be kept, and is as good as the best plan.")]
    cost = cost_said(found.cost)
    return [
        said("What is expected can be kept, with {cost}.", cost=cost),
        *(_ended(text) for text in found.differences),
    ]


def in_a_line(edit: str) -> str:
    """Write an edit in one line, without what stands there now."""
    return "; ".join(line.partition("  # ")[0] for line in edit.splitlines())
