"""Reviews, mends and comparisons as text."""

from __future__ import annotations

from trayopt.review.compare import Pair
from trayopt.review.desk import Review
from trayopt.review.mend import Mended
from trayopt.review.remarks import LEVEL_WORDS
from trayopt.rules.words import listed, several

MOST_REMARKS = 200


def verdict(review: Review) -> str:
    """Say in one line what becomes of a plan."""
    failing = sum(remark.fails for remark in review.remarks)
    soft = len(review.remarks) - failing
    if review.damaged:
        return f"{review.made.source}: {several(len(review.remarks), 'cell')} cannot be read; nothing else was judged"
    state = "passes" if review.passed else "fails"
    return f"{review.made.source}: {state}; {several(failing, 'finding')} against it, {soft} beside"


def review_text(review: Review) -> str:
    """Write a whole review."""
    lines = [verdict(review), ""]
    for number, remark in enumerate(review.remarks[:MOST_REMARKS], start=1):
        where = f" [{remark.rows}{'; ' if remark.rows and remark.cells else ''}{', '.join(remark.cells[:8])}]"
        place = where if remark.rows or remark.cells else ""
        lines.append(f"{number:>3}  {remark.rule} {remark.subject} ({LEVEL_WORDS[remark.level]}){place}")
        lines.append(f"     found:   {remark.found}")
        lines += [f"     allowed: {remark.allowed}"] * bool(remark.allowed)
        lines += [f"     to mend: {remark.mend}"] * bool(remark.mend)
    if len(review.remarks) > MOST_REMARKS:
        lines.append(f"     … and {len(review.remarks) - MOST_REMARKS:,} more")
    completed = completion_words(review)
    lines += ["", completed] if completed else []
    if review.laid is not None:
        lines += ["", *_goals(review), "", *_figures(review)]
    return "\n".join(lines).rstrip() + "\n"


def completion_words(review: Review) -> str:
    """Say what became of the parts that a table leaves open; empty where there are none."""
    done = review.completion
    if done is None:
        return ""
    if done.assignment is not None:
        return "What is open can be completed with the rest as it is, keeping every must."
    if done.impossible:
        return "What is open cannot be completed with the rest as it is (proven)."
    return "Whether what is open can be completed was not settled in the time given."


def _goals(review: Review) -> list[str]:
    best = review.best if review.best is not None and review.best.values else None
    lines = [f"{'goal':<16}{'plan':>12}" + (f"{'best':>12}{'bound':>12}{'distance':>12}" if best else "")]
    for goal, value in review.goals.items():
        line = f"{goal:<16}{value:>12,}"
        if best is not None:
            bound = best.bounds.get(goal)
            line += f"{best.values[goal]:>12,}{'-' if bound is None else format(bound, ','):>12}"
            line += f"{value - best.values[goal]:>+12,}"
        lines.append(line)
    if best is not None:
        lines.append(
            "The best is proven: no plan is better." if best.proven else "The best is the best found; not proven."
        )
    return lines


def _figures(review: Review) -> list[str]:
    best = {item.name: item.value for item in review.best_figures or ()}
    head = f"{'figure':<44}{'plan':>10}{'allowed':>10}" + (f"{'best':>10}" if best else "")
    lines = [head]
    for item in review.figures:
        allowed = "" if item.allowed is None else f"{item.allowed:g}"
        line = f"{f'{item.name} ({item.unit})':<44}{item.value:>10g}{allowed:>10}"
        lines.append(line + (f"{best[item.name]:>10g}" if item.name in best else ""))
    return lines


def mended_text(mended: Mended) -> str:
    """Write a mend: what changes, that it is the least, and the move list."""
    lines = [f"note: {note}" for note in mended.notes]
    if mended.plan is None:
        return "\n".join([*lines, no_plan(mended)]) + "\n"
    counts = mended.changes.counts()
    changed = [f"{name} {count}" for name, count in counts.items() if count]
    lines.append(f"changes: {listed(changed) or 'none'}; weighed {mended.weighed}")
    lines.append(sure(mended))
    if mended.moves:
        lines += ["", "moves, in order:"]
        lines += [f"{move.step:>4}  {move.text}" for move in mended.moves]
    lines += ["", *(f"{item.goal:<16}{item.value:>12,}" for item in mended.plan.goals)]
    return "\n".join(lines) + "\n"


def sure(mended: Mended) -> str:
    """Say whether it is proven that nothing less will do."""
    if mended.proven:
        return "proven: no plan that keeps every must and what is built changes less"
    return f"not proven to be the least: every such plan changes at least {mended.bound} (weighed)"


def no_plan(mended: Mended) -> str:
    """Say that there is no plan to mend to, or that none was found in time."""
    if not mended.impossible:
        return "no plan was found in the time given"
    if mended.clash:
        return f"proven: no plan keeps every must and what is built; in each other's way: {listed(mended.clash)}"
    return "proven: no plan places every splice and keeps every must; trayopt explain JOB says why, and what would help"


def pair_words(pair: Pair) -> str:
    """Say in one sentence which of two plans is better, and why."""
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
    lines = [f"A: {pair.sources[0]}", f"B: {pair.sources[1]}", pair_words(pair), ""]
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
