"""The whole explanation in one paragraph that a site lead can forward."""

from __future__ import annotations

from trayopt.domain.explanation import ConflictSaid, ExpectedSaid, Explanation, PreferenceSaid, WayOut
from trayopt.domain.finding import Group
from trayopt.domain.job import Job
from trayopt.explain.words import named
from trayopt.rules.words import listed, several


def summary(job: Job, made: Explanation, *, unplaced: int = 0, broken: int = 0) -> str:
    """Write the whole in one paragraph; ``unplaced`` and ``broken`` are what a plan at hand leaves."""
    sentences = [_opening(job, made, unplaced, broken)]
    for i, conflict in enumerate(made.conflicts):
        sentences += _conflict(conflict, first=i == 0)
    sentences += _ways(made.ways_out)
    sentences += _preferences(made.preferences or ())
    sentences += _expected(made.expected)
    return " ".join(sentences)


def _opening(job: Job, made: Explanation, unplaced: int, broken: int) -> str:
    of = f"{job.title}: " if job.title else ""
    facts = []
    if unplaced:
        facts.append(f"{unplaced:,} of {several(job.splices, 'splice')} have no tray")
    if broken:
        facts.append(f"{several(broken, 'must')} {'is' if broken == 1 else 'are'} broken")
    if facts:
        return f"{of}{listed(facts)}."
    if made.expected is not None and made.conflicts:
        return f"{of}what is expected cannot be kept as a whole."
    if made.conflicts:
        return f"{of}not every splice can be placed while every must is kept."
    if made.preferences is None:
        return f"{of}no reason was found in the time given why not every must can be kept."
    return f"{of}every splice can be placed and every must kept."


def _conflict(conflict: ConflictSaid, *, first: bool) -> list[str]:
    groups = [Group(item.rule, item.subject) for item in conflict.groups]
    if not groups:
        return ["What always holds, the loops that trunks may make and what is built exclude it by themselves."]
    lead = "The reason" if first else "A reason of its own"
    if len(groups) == 1:
        head = f"{lead}: {named(groups)} cannot hold{', which is proven' if conflict.minimal else ''}."
    else:
        proof = "proven: any of them less, and the others can" if conflict.minimal else "not proven minimal"
        head = f"{lead}: {named(groups)} cannot hold together ({proof})."
    return [head, *(f"{text}." for text in dict.fromkeys(item.because for item in conflict.groups))]


def _ways(ways: tuple[WayOut, ...]) -> list[str]:
    if not ways:
        return []
    said = [f"The cheapest way out, proven by a plan: {in_a_line(ways[0].edit)}."]
    if len(ways) > 1:
        count = len(ways) - 1
        said.append(f"{count} other way{'s' if count > 1 else ''} out {'are' if count > 1 else 'is'} proven beside it.")
    return said


def _preferences(broken: tuple[PreferenceSaid, ...]) -> list[str]:
    return [f"{item.rule} of {item.subject} is broken: {item.because}{_cost(item)}." for item in broken]


def _cost(item: PreferenceSaid) -> str:
    if item.cost is None:
        return ""
    dearer = [f"{cost.goal} {cost.value:,} to {cost.kept:,}" for cost in item.cost if cost.kept != cost.value]
    at_most = "" if all(cost.proven for cost in item.cost) else " at most"
    return f"; to keep it costs{at_most} {listed(dearer)}" if dearer else "; to keep it costs nothing"


def _expected(found: ExpectedSaid | None) -> list[str]:
    if found is None or found.possible is False:
        return []
    if found.possible is None:
        return ["Whether what is expected can be kept was not settled in the time given."]
    if found.cost is None:
        return ["What is expected can be kept."]
    dearer = [f"{cost.goal} {cost.kept:,} instead of {cost.value:,}" for cost in found.cost if cost.kept != cost.value]
    if not dearer:
        return ["What is expected can be kept, and is as good as the best plan."]
    return [f"What is expected can be kept; it costs {listed(dearer)}.", *(f"{text}." for text in found.differences)]


def in_a_line(edit: str) -> str:
    """Write an edit in one line, without what stands there now."""
    return "; ".join(line.partition("  # ")[0] for line in edit.splitlines())
