"""Reviews as text."""

from __future__ import annotations

from trayopt.checker import bounds_words
from trayopt.review.desk import Review
from trayopt.review.remarks import LEVEL_WORDS, Remarks
from trayopt.rules.words import NONE_BETTER, ribbons_are, several

MOST_REMARKS = 200


def verdict(review: Review) -> str:
    """Write the verdict on a plan in one line."""
    damaged = len(review.made.damage)
    remarks = review.remarks
    failing = remarks.failing if isinstance(remarks, Remarks) else sum(one.fails for one in remarks[damaged:])
    soft = len(review.remarks) - failing - damaged
    if damaged:
        lost = f", {several(len(review.made.lost), 'row')} lost by it" if review.made.lost else ""
        text = f"{review.made.source}: {several(damaged, 'cell')} cannot be read{lost}"
        return f"{text}; of the rest {several(failing, 'finding')} against it, {several(soft, 'note')}"
    state = "passes" if review.passed else "unfinished, and can be completed as it is" if review.unfinished else "fails"
    return f"{review.made.source}: {state}; {several(failing, 'finding')} against it, {several(soft, 'note')}"


def review_text(review: Review) -> str:
    """Write a whole review."""
    lines = [verdict(review), *read_words(review), ""]
    for number, remark in enumerate(review.remarks[:MOST_REMARKS], start=1):
        where = "; ".join(filter(None, (remark.rows, remark.beside)))
        place = f" [{where}]" if where else ""
        lines.append(f"{number:>3}  {remark.rule} {remark.subject} ({LEVEL_WORDS[remark.level]}){place}")
        lines.append(f"     found:   {remark.found}")
        lines += [f"     allowed: {remark.allowed}"] * bool(remark.allowed)
        lines += [f"     to mend: {remark.mend}"] * bool(remark.mend)
    if len(review.remarks) > MOST_REMARKS:
        lines.append(f"     … and {len(review.remarks) - MOST_REMARKS:,} more")
    completed = completion_words(review)
    lines += ["", completed] if completed else []
    if review.report is not None:
        lines += ["", *_goals(review), "", *_figures(review), *built_words(review)]
    return "\n".join(lines).rstrip() + "\n"


def read_words(review: Review) -> list[str]:
    """Return lines on how a table was read: its columns, and notes such as its encoding; empty for a plan document."""
    made = review.made
    lines = [f"read: {made.columns}"] if made.columns else []
    lines += [f"not read: {', '.join(made.passed_over)}"] if made.passed_over else []
    return lines + [f"note: {note}" for note in made.notes]


def completion_words(review: Review) -> str:
    """Write the result of completing a table; empty if nothing was open."""
    done = review.completion
    if done is None:
        return ""
    if done.assignment is not None:
        return "What is open can be completed with the rest as it is, keeping every must."
    if done.impossible:
        return "What is open cannot be completed with the rest as it is (proven)."
    return "Whether what is open can be completed was not settled in the time given."


def built_words(review: Review) -> list[str]:
    """Return lines on where trunks are divided, their ribbon work, and the trays that opened tubes tie to each other."""
    parts = [f"{trunk} at the {at}" for trunk, at in review.divide_at.items()]
    lines = [f"divided: {', '.join(parts)}"] if parts else []
    worked = [f"{trunk} {ribbons_are(word)}" for trunk, word in review.ribbons.items()]
    lines += [f"ribbons: {', '.join(worked)}"] if worked else []
    return lines + [f"tied, so that they come to the bench together: {', '.join(group)}" for group in review.tied]


def _goals(review: Review) -> list[str]:
    best = review.best if review.best is not None and review.best.values else None
    claims = {claim.goal: f"{claim.bound:,}" for claim in review.bounds}
    head = f"{'goal':<16}{'plan':>12}" + (f"{'claimed bound':>15}" if claims else "")
    lines = [head + (f"{'best':>12}{'bound':>12}{'distance':>12}" if best else "")]
    for goal, value in review.goals.items():
        line = f"{goal:<16}{value:>12,}" + (f"{claims.get(goal, '-'):>15}" if claims else "")
        if best is not None:
            bound = best.bounds.get(goal)
            line += f"{best.values[goal]:>12,}{'-' if bound is None else format(bound, ','):>12}"
            line += f"{value - best.values[goal]:>+12,}"
        lines.append(line)
    if best is not None:
        lines.append(
            f"The best is proven: {NONE_BETTER}." if best.proven else "The best is the best found; not proven."
        )
    return [*lines, *filter(None, [bounds_words(review.bounds)])]


def _figures(review: Review) -> list[str]:
    best = {item.name: item.value for item in review.best_figures or ()}
    head = f"{'figure':<44}{'plan':>10}{'allowed':>10}" + (f"{'best':>10}" if best else "")
    lines = [head]
    for item in review.figures:
        allowed = "" if item.allowed is None else f"{item.allowed:g}"
        line = f"{f'{item.name} ({item.unit})':<44}{item.value:>10g}{allowed:>10}"
        lines.append(line + (f"{best[item.name]:>10g}" if item.name in best else ""))
    return lines
