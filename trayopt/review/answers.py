"""Mends and comparisons as text."""

from __future__ import annotations

from trayopt.review.cautions import MOVES
from trayopt.review.compare import Pair
from trayopt.review.mend import Mended
from trayopt.review.moves import Move, splice_words
from trayopt.rules.words import listed, several


def mended_text(mended: Mended) -> str:
    """Write a mend: the changes, whether they are proven to be the fewest, and the move list."""
    lines = [f"note: {note}" for note in mended.notes]
    if mended.plan is None:
        return "\n".join([*lines, no_plan(mended)]) + "\n"
    lines += [changed_words(mended), sure(mended)]
    if mended.moves:
        lines += ["", MOVES, "moves, in order:"]
        for move in mended.moves:
            lines.append(f"{move.step:>4}  {move.text}")
            lines += [f"      {mark}" for mark in marks(move)]
    if mended.figures:
        lines += ["", "to correct in the plan that was given:"]
        lines += [f"      {text}" for text in mended.figures[:MOST_FIGURES]]
        if len(mended.figures) > MOST_FIGURES:
            lines.append(f"      and {len(mended.figures) - MOST_FIGURES:,} more; trayopt check lists them")
    lines += ["", *(f"{item.goal:<16}{item.value:>12,}" for item in mended.plan.goals)]
    return "\n".join(lines) + "\n"


MOST_NAMED = 24
"""Number of conflicting built rows that are named."""
MOST_FIGURES = 50
"""Number of wrong figures that are listed."""


def changed_words(mended: Mended) -> str:
    """Write the changes: the weighed ones, and the others."""
    counts = mended.changes.counts()
    changed = [f"{name} {count}" for name, count in counts.items() if count]
    beside = [*mended.beside.words()]
    if mended.figures:
        beside.append(f"{several(len(mended.figures), 'figure')} of the given plan corrected")
    if mended.strange:
        beside.append(
            f"{several(mended.strange, 'cell')} set aside that {_names(mended.strange)} what the job does not have"
        )
    if not changed and beside:
        return f"no given leg or way changes; {listed(beside)}; total weight {mended.weighed:,}"
    more = f"; beside them: {listed(beside)}" if beside else ""
    return f"changes: {listed(changed) or 'none'}{more}; total weight {mended.weighed:,}"


def _names(count: int) -> str:
    return "names" if count == 1 else "name"


def marks(move: Move) -> list[str]:
    """Return the marks of a step: splices that it breaks or moves, and how often its legs can be spliced again."""
    found = []
    if move.breaks:
        found.append(f"BREAKS splices: {splice_words(move.breaks)}")
    if move.disturbs:
        found.append(f"disturbs: {splice_words(move.disturbs)}")
    if move.tries is not None:
        found.append(f"tries left to splice again: {move.tries}")
    return found


def sure(mended: Mended) -> str:
    """Write whether the changes are proven to be the least."""
    if mended.proven:
        return "proven: no plan that keeps every must and what is built changes less"
    return f"not proven to be the least: every such plan has changes of total weight {mended.bound:,} or more"


def no_plan(mended: Mended) -> str:
    """Write that there is no plan, or that none was found in time."""
    if not mended.impossible:
        return "no plan was found in the time given"
    if mended.clash:
        among = "" if mended.clash_minimal else "some of these (the time was too short to say which): "
        named = listed(mended.clash[:MOST_NAMED])
        if len(mended.clash) > MOST_NAMED:
            named = f"{', '.join(mended.clash[:MOST_NAMED])} and {len(mended.clash) - MOST_NAMED:,} more"
        if len(mended.clash) == 1:
            return f"proven: no plan keeps every must and {named}, which is built"
        return f"proven: no plan keeps every must and what is built, because these exclude each other: {among}{named}"
    return "proven: no plan places every splice and keeps every must; trayopt explain JOB says why, and what would help"


def pair_words(pair: Pair) -> str:
    """Write in one sentence which of two plans is better, and why."""
    data = pair.as_dict()
    passed = " and ".join(
        f"{name} {'passes' if ok else 'fails'}" for name, ok in zip("AB", data["passed"], strict=True)
    )
    if data["better"] == "same":
        return f"{passed}; they are equal on every goal"
    first = next((goal for goal in data["goals"] if goal["difference"]), None)
    if data["passed"][0] != data["passed"][1] or first is None:
        return f"{passed}; {data['better']} is better"
    return f"{passed}; {data['better']} is better: {first['goal']} {first['a']:,} in A, {first['b']:,} in B"


def pair_text(pair: Pair) -> str:
    """Write a comparison."""
    data = pair.as_dict()
    lines = [f"A: {pair.sources[0]}", f"B: {pair.sources[1]}", *(f"note: {note}" for note in data["notes"])]
    lines += [pair_words(pair), ""]
    lines.append(f"{'goal':<16}{'A':>12}{'B':>12}{'B - A':>12}")
    lines += [f"{g['goal']:<16}{g['a']:>12,}{g['b']:>12,}{g['difference']:>+12,}" for g in data["goals"]]
    for title, key, name in (("trunks that differ:", "trunks", "trunk"), ("legs that differ:", "legs", "fibres")):
        rows = data[key]
        lines += ["", title if rows else title.replace(":", ": none")]
        lines += [f"  {row[name]:<18} A: {row['a']:<34} B: {row['b']}" for row in rows]
    if data["findings"]:
        lines += ["", "findings of only one of them:"]
        lines += [
            f"  {row['plan']}  {row['rule']} {row['subject']} ({row['level']}): {row['found']}"
            for row in data["findings"]
        ]
    return "\n".join(lines) + "\n"
