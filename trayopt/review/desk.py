"""Reviewing a plan: it is read, completed, judged, and compared with the best plan."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from functools import cache, partial
from typing import TYPE_CHECKING, Any, TypeVar

from trayopt.checker import (
    Bound,
    assignment_of_claims,
    check_laid,
    claimed_bounds,
    judge_bounds,
    lay,
)
from trayopt.checker.report import Report, figure_text
from trayopt.domain.assignment import Assignment
from trayopt.domain.base import RibbonWord
from trayopt.domain.job import Job
from trayopt.domain.plan import GoalName, Plan
from trayopt.goals.registry import GOALS
from trayopt.review.handmade import Handmade, Line
from trayopt.review.remarks import Later, Remark, Remarks, of_finding, unread, where
from trayopt.rules.base import Rule
from trayopt.rules.judge import judge
from trayopt.rules.opened_tube import OpenedTube
from trayopt.rules.registry import BY_ID
from trayopt.rules.words import ribbons_are, several
from trayopt.track.laid import Laid

if TYPE_CHECKING:
    from trayopt.review.best import Best
    from trayopt.review.figures import Figure

SCHEMA = "trayopt/review/1"
MOST_NAMED = 12
"""Number of conflicting decisions that are named."""


@dataclass(frozen=True)
class Completion:
    """The result of completing a table: the complete assignment, or remarks on the rows that conflict."""

    assignment: Assignment | None
    impossible: bool
    remarks: tuple[Remark, ...] = ()
    bounds: Mapping[GoalName, int | None] = field(default_factory=dict)


@dataclass(frozen=True)
class Review:
    """The review of a plan: remarks in the order of reading, figures, and the best plan for comparison.

    ``report`` is None if cells are damaged: the readable rows are judged, but their figures are not the figures of the plan.
    ``bounds`` lists the bounds that a plan document claims, and what is known about them.
    """

    job: Job
    made: Handmade
    remarks: Sequence[Remark]
    laid: Laid | None = None
    report: Report | None = None
    completion: Completion | None = None
    best: Best | None = None
    bounds: tuple[Bound, ...] = ()
    unnamed: int = 0
    """Number of splices that lie in a tray with their legs but are in no row of a list of splices."""

    @property
    def unplaced(self) -> int | None:
        """Number of splices without a tray or without a row; None if cells are damaged."""
        return None if self.report is None else self.report.unplaced + self.unnamed

    @property
    def damaged(self) -> bool:
        """Whether there are cells that cannot be read."""
        return bool(self.made.damage)

    @property
    def passed(self) -> bool:
        """Whether every splice has a tray, no must is broken and every figure is right."""
        return not any(remark.fails for remark in self.remarks)

    @property
    def unfinished(self) -> bool:
        """Whether splices without a tray are all that fails, and what is open can be completed with the rest as it is."""
        done = self.completion is not None and self.completion.assignment is not None
        return done and not self.passed and all(r.level == "unplaced" for r in self.remarks if r.fails)

    @property
    def goals(self) -> dict[str, int]:
        """Values of the goals in their usual order; empty if nothing was judged."""
        if self.report is None:
            return {}
        values: dict[str, int] = {goal.id: self.report.plan.value(goal.id) for goal in GOALS}
        return {**values, "unplaced": values["unplaced"] + self.unnamed}

    @property
    def figures(self) -> list[Figure]:
        """The figures of the plan apart from its goals."""
        from trayopt.review.figures import figures

        return [] if self.laid is None or self.report is None else figures(self.job, self.laid)

    @property
    def divide_at(self) -> dict[str, str]:
        """The place of division of each trunk in the box; empty if nothing was judged."""
        return {} if self.report is None else {
            row.trunk: row.divide_at for row in self.report.plan.trunks if row.divide_at is not None
        }  # fmt: skip

    @property
    def ribbons(self) -> dict[str, RibbonWord]:
        """The ribbon work of each trunk for which the job allows some; empty if nothing was judged."""
        return {} if self.report is None else {
            row.trunk: row.ribbons for row in self.report.plan.trunks if row.ribbons is not None
        }  # fmt: skip

    @property
    def tied(self) -> list[list[str]]:
        """Groups of trays that opened tubes tie to each other."""
        return [] if self.report is None else [list(group) for group in self.report.plan.tied]

    @property
    def best_figures(self) -> list[Figure] | None:
        """The same figures of the best plan; None if no best plan was asked for or found."""
        if self.best is None or self.best.assignment is None:
            return None
        from trayopt.review.figures import figures

        return figures(self.job, Laid(self.job, self.best.assignment))

    def as_dict(self) -> dict[str, Any]:
        """Return the review as plain data."""
        from trayopt.review.figures import as_dicts

        best = self.best if self.best is not None and self.best.values else None
        goals = [
            {
                "goal": goal,
                "value": value,
                "best": best.values.get(goal) if best else None,
                "bound": best.bounds.get(goal) if best else None,
                "distance": value - best.values[goal] if best else None,
            }
            for goal, value in self.goals.items()
        ]
        completion = None
        if self.completion is not None:
            completion = {
                "possible": self.completion.assignment is not None,
                "proven": self.completion.assignment is not None or self.completion.impossible,
            }
        return {
            "schema": SCHEMA,
            "job": {"title": self.job.title, "digest": self.job.digest},
            "source": self.made.source,
            "passed": self.passed,
            "unplaced": self.unplaced,
            "columns": self.made.columns,
            "columns_not_read": list(self.made.passed_over),
            "notes": list(self.made.notes),
            "rows_lost": list(self.made.lost),
            "findings": [remark.as_dict() for remark in self.remarks],
            "goals": goals,
            "figures": [] if self.report is None else [asdict(item) for item in self.report.figures],
            "measured": as_dicts(self.figures, self.best_figures),
            "divide_at": self.divide_at,
            "ribbons": self.ribbons,
            "tied": self.tied,
            "best_proven": best.proven if best else None,
            "claimed_bounds": [asdict(claim) for claim in self.bounds],
            "completion": completion,
        }


def review_table(job: Job, made: Handmade, *, complete_s: float = 30.0, best_s: float | None = None) -> Review:
    """Review a hand-made table.

    Parameters
    ----------
    job, made
        The job, and the table as it was read.
    complete_s
        Most seconds to complete the table.
    best_s
        Most seconds for the best plan; None for no comparison.
    """
    from trayopt.review.gaps import Waiting, open_remarks, parked_remarks, unnamed, unplaced_remarks
    from trayopt.review.parked import bare_legs, with_parked
    from trayopt.review.rows import figure_remarks, row_remarks
    from trayopt.review.splices import entries_by
    from trayopt.review.swapped import folded

    told = [unread(item) for item in made.unread]
    as_told = cache(partial(_as_told, job, made))
    openings = [*open_remarks(job, made), *parked_remarks(job, made, as_told())]
    completion = _complete(job, made, as_told, complete_s) if (openings or made.runs) and not made.damage else None
    if completion is not None and completion.assignment is not None:
        done = completion.assignment
        if made.runs:
            made = replace(made, entries=entries_by(made, done))
        made = with_parked(made, done)
        found = assignment_of_claims(job, done.ways, made.claims, done.divide_at, done.ribbons)
        laid = Laid(job, replace(found, ends={**done.ends, **found.ends}), made.claims)
    else:
        laid = as_told()
    report = check_laid(laid)
    waiting = Waiting(job, made)
    findings = [found for found in report.findings if not (openings and waiting.is_all(found))]
    if completion is not None and completion.assignment is not None:
        stays = {found.group for found in judge(job, Laid(job, completion.assignment))}
        findings = [found for found in findings if found.group in stays]
    if made.lost:
        findings = [found for found in findings if not _unsure(BY_ID[found.rule], runs=bool(made.runs))]
    # A list of splices has no rows for parked legs, and legs without a place are reported as unplaced splices.
    bare = set() if made.runs else {job.subunit(leg).name for leg in bare_legs(laid)}
    findings = [found for found in findings if found.rule != OpenedTube.id or found.subject in bare]
    parts: list[Remark | Later] = [
        *row_remarks(job, made, laid),
        *(Later(finding.level, partial(of_finding, job, made, laid, finding)) for finding in findings),
        *figure_remarks(job, made, laid, report.plan),
        *(() if made.lost else unplaced_remarks(job, made, laid)),
        *(completion.remarks if completion is not None else ()),
        *(item for item in openings if not _is_told(made, item)),
        *told,
    ]
    if made.damage:
        return Review(job, made, Remarks(made.damage, _ordered(parts)), laid)
    remarks = folded(job, made, laid, [part.make() if isinstance(part, Later) else part for part in parts])
    missing = sum(a.count for a, _ in unnamed(job, made, laid))
    return Review(job, made, _ordered(remarks), laid, report, completion, _best(job, best_s), unnamed=missing)


def _unsure(rule: Rule[Any], *, runs: bool) -> bool:
    """Whether unread rows might keep a rule that seems broken; in a table of splice runs, divisions are unsure, too."""
    return rule.kept_by_more or (runs and rule.of_divisions)


def _is_told(made: Handmade, remark: Remark) -> bool:
    """Whether an open part of a table is reported already, or may be given in rows that could not be read."""
    return bool(made.lost) or remark.subject in made.lost_ways or (bool(made.runs) and ":" in remark.subject)


def review_plan(job: Job, plan: Plan, source: str, *, best_s: float | None = None, notes: Sequence[str] = ()) -> Review:
    """Review a plan document; ``notes`` are remarks on its file as a whole.

    Raises
    ------
    InputError
        If the plan names something that the job does not have.
    """
    from trayopt.review.gaps import unplaced_remarks
    from trayopt.review.plans import handmade_of

    laid = lay(job, plan, source)
    report = check_laid(laid, plan)
    made = handmade_of(job, plan, source)
    made.notes += notes
    order = [item.goal for item in report.plan.goals]
    values = {str(goal): report.plan.value(goal) for goal in order}
    best = _best(job, best_s, order)
    claims = claimed_bounds(plan, values)
    if best is not None and best.values:
        claims = judge_bounds(claims, values, best.values, best.bounds)
    remarks = [
        *(of_finding(job, made, laid, finding) for finding in report.findings),
        *(
            Remark(
                "figure", "figure", item.path, (), (item.path,),
                f"the plan says {figure_text(item.claimed)}", figure_text(item.right),
                "take the figure that is right, or have the plan written again",
            )
            for item in report.figures
        ),
        *(bound_remark(claim, "the best plan found") for claim in claims if claim.standing == "refuted"),
        *(unplaced_remarks(job, made, laid) if report.unplaced else ()),
    ]  # fmt: skip
    return Review(job, made, _ordered(remarks), laid, report, None, best, claims)


def bound_remark(claim: Bound, other: str) -> Remark:
    """Make a remark on a claimed bound that another plan refutes."""
    return Remark(
        "bound", "figure", claim.goal, (), (f"goals[{claim.goal}].bound",),
        f"the plan claims that no plan has less than {claim.bound:,} of {claim.goal}; {other} has {claim.better:,}",
        f"{claim.better:,} or less", "take the better plan, or have this job solved again",
    )  # fmt: skip


_ORDER = ("always", "unplaced", "clash", "must", "figure", "open", "unread", "prefer")


_R = TypeVar("_R", bound=Remark | Later)


def _ordered(remarks: Sequence[_R]) -> tuple[_R, ...]:
    return tuple(sorted(remarks, key=lambda remark: _ORDER.index(remark.level)))


def _best(job: Job, best_s: float | None, order: Sequence[str] | None = None) -> Best | None:
    if best_s is None:
        return None
    from trayopt.review.best import best_of

    return best_of(job, best_s, order=order)


def _as_told(job: Job, made: Handmade) -> Laid:
    """Return the plan of a table as it lies, with assumed ways and divisions where the table gives none."""
    from trayopt.review.assume import assumed

    return Laid(job, assumed(job, made), made.claims)


def _complete(job: Job, made: Handmade, as_told: Callable[[], Laid], limit_s: float) -> Completion:
    """Complete a table by solving with its decisions fixed, or find the rows that conflict."""
    from trayopt.solver.model.clock import Clock
    from trayopt.solver.model.run import Tuning
    from trayopt.solver.repair.clash import Facts, clash
    from trayopt.solver.repair.completing import Found, complete

    clock, tuning = Clock(limit_s), Tuning(workers=2)
    decided = made.facts()
    groups = [facts for _, facts in decided]
    facts = Facts(job, groups, clock)
    found = Found(impossible=True)
    if facts.counted is None:
        told = [fact for group in groups for fact in group]
        found = complete(job, told, clash=lambda: facts.clashing is not None, clock=clock, tuning=tuning)
    if found.assignment is not None or not found.impossible:
        return Completion(found.assignment, False, bounds=found.bounds)
    lines_of = [lines for lines, _ in decided]
    suspects = _suspects(job, made, as_told(), lines_of)
    culprits = clash(facts, suspects)
    if not culprits.groups:
        text = "no plan of this job places every splice and keeps every must, whatever the rows say"
        remark = Remark("complete", "clash", "job", (), (), text, "", "trayopt explain says why, and what would help")
        return Completion(None, True, (remark,))
    if len(culprits.groups) == len(groups) > MOST_NAMED and not culprits.minimal:
        text = f"no plan can keep every must and all {len(groups)} decisions of this table (proven)"
        mend = "mend what the other findings say, or let trayopt mend find the nearest plan"
        return Completion(None, True, (Remark("complete", "clash", "all rows", (), (), text, "", mend),))
    lines = tuple(dict.fromkeys(line for i in culprits.groups for line in decided[i][0]))
    said = "; ".join(f"{_rows(decided[i][0])}: {_words(decided[i][1])}" for i in culprits.groups[:MOST_NAMED])
    if len(culprits.groups) > MOST_NAMED:
        said += f"; and {len(culprits.groups) - MOST_NAMED:,} more"
    sure = "proven; without any one of them there is a plan" if culprits.minimal else "not proven to be the fewest"
    text = f"no plan can keep every must and these {len(culprits.groups)} decisions ({sure}): {said}"
    if len(culprits.groups) == 1:
        text = f"no plan can keep every must and this decision, whatever the other rows say (proven): {said}"
    cells = tuple(dict.fromkeys(line.cell("position", "tray", "stack", "port", "travel") for line in lines))
    remark = Remark(
        "complete", "clash", " / ".join(_words(decided[i][1]) for i in culprits.groups[:4]), lines, cells, text,
        "a table that can be completed", "change one of these rows, or leave it open",
    )  # fmt: skip
    return Completion(None, True, (remark,))


def _suspects(job: Job, made: Handmade, laid: Laid, decided: Sequence[tuple[Line, ...]]) -> list[list[int]]:
    """Return the decisions in the rows of each failing finding: first of rules that always hold, and few before many."""
    at: dict[Line, list[int]] = {}
    for i, lines in enumerate(decided):
        for line in lines:
            at.setdefault(line, []).append(i)
    found = [
        (finding.level, [i for line in where(job, made, laid, finding)[0] for i in at.get(line, ())])
        for finding in judge(job, laid)
        if finding.level != "prefer"
    ]
    return [some for _, some in sorted(found, key=lambda pair: (pair[0] != "always", len(pair[1])))]


def _rows(lines: Sequence[Any]) -> str:
    from trayopt.review.remarks import rows_text

    return rows_text(line.number for line in lines)


def _words(facts: Sequence[Any]) -> str:
    """Write decisions in words."""
    from trayopt.domain.decision import EntersAt, GoesBy, RunAt

    texts = []
    for fact in facts:
        if isinstance(fact, RunAt):
            texts.append(f"{fact.run} in {fact.place}")
        elif isinstance(fact, GoesBy):
            parts = [fact.port, fact.travel, None if fact.loops is None else several(fact.loops, "loop")]
            said = [f"by {' '.join(str(part) for part in parts if part is not None)}"] * any(parts)
            said += [f"divided at the {fact.divide_at}"] * (fact.divide_at is not None)
            said += [] if fact.ribbons is None else [f"with its ribbons {ribbons_are(fact.ribbons)}"]
            texts.append(f"{fact.trunk} {' and '.join(said)}")
        elif isinstance(fact, EntersAt):
            texts.append(f"{fact.stack} from {fact.end}")
    return ", ".join(texts)
