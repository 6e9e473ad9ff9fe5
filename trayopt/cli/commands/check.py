"""``trayopt check``: say whether a plan, made by trayopt or by hand, can be built, and if not, why and where."""

from __future__ import annotations

from dataclasses import replace
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trayopt.cli.common import common
from trayopt.cli.completing import FILE
from trayopt.cli.exitcodes import Exit
from trayopt.cli.output import Output

if TYPE_CHECKING:
    from trayopt.api import Proofs, Verified
    from trayopt.domain.job import Job
    from trayopt.domain.plan import GoalName, Plan
    from trayopt.review.desk import Review


@click.command("check", short_help="Judge a plan, or a hand-made table, against its job.")
@click.argument("job", metavar="JOB", type=click.Path(allow_dash=True))
@click.argument("plan", metavar="PLAN", type=click.Path(allow_dash=True))
@click.option(
    "-o",
    "--output",
    "complete",
    metavar="NEW",
    help="Write the plan of an unfinished table, completed; or the plan that refutes a bound.",
)
@click.option(
    "--html", metavar="FILE", type=FILE, help="Write a printable review with the findings marked in a picture."
)
@click.option("--xlsx", metavar="FILE", type=FILE, help="Write the table back with a column of findings.")
@click.option("--best/--no-best", default=None, help="Compare with the best there can be; default: for tables only.")
@click.option(
    "--prove", "prove_again", is_flag=True, help="Prove every bound of a plan in JSON again, by search alone."
)
@click.option(
    "--certificate",
    metavar="FILE",
    type=FILE,
    help="Check the bounds of a plan in JSON by their certificate, without a solver.",
)
@click.option(
    "--time-limit", "limit_s", type=click.FloatRange(min=0, min_open=True), default=20.0,
    show_default=True, metavar="S",
    help="Time limit in seconds for the best plan, for completing a table, and for --prove.",
)  # fmt: skip
@common
def command(
    output: Output,
    job: str,
    plan: str,
    complete: str | None,
    html: str | None,
    xlsx: str | None,
    best: bool | None,
    prove_again: bool,
    certificate: str | None,
    limit_s: float,
) -> int:
    """Judge PLAN, a plan in JSON or a table in CSV or XLSX, against JOB: every rule and every figure.

    A table has a row for each leg (trunk, fibres, stack, position; port, travel, loops, divide_at, ribbons, end, cut, built) or
    for each run of splices (from and to: trunk, tube, ribbon, fibres; tray, sleeve). What it leaves open is completed, idle legs
    of opened tubes included. Of a plan of a former format only the places of its legs are judged.

    With --prove a plain model looks, goal by goal, for a plan below the bound. The answer is confirmed, refuted (exit 1;
    the better plan is written) or not settled in the time, which fails nothing.

    With --certificate each bound is checked by the argument that solve --certificate wrote for it, in exact numbers. A goal is
    checked, rests on the solver's search, or its argument is refused (exit 1).
    """
    from trayopt.api import judge, load_job
    from trayopt.review.text import review_text, verdict

    loaded = load_job(job, library=output.library, warn=output.unusual)
    by = "--prove" if prove_again else "--certificate" if certificate is not None else ""
    given = _read(output, loaded, plan, by) if by else plan
    review = judge(loaded, given, best=best, time_limit_s=limit_s)
    proofs = _prove(output, loaded, review, given, limit_s) if prove_again else None
    verified = _verify(loaded, review, given, certificate) if certificate is not None else None
    review = _settled(review, proofs, verified)
    written = _write(review, html, xlsx)
    if proofs is not None:
        written += _refuting(proofs, plan, complete)
    if "-" not in {complete, html, xlsx}:
        more: dict[str, Any] = {}
        said = head = ""
        if proofs is not None:
            from trayopt.cli.proof_text import proofs_text, proofs_words

            more["proof"] = proofs.as_dict()
            said, head = f"\n{proofs_text(proofs)}", f"; {proofs_words(proofs)}"
        if verified is not None:
            from trayopt.cli.certificate_text import verified_text, verified_words

            more["certificate"] = verified.as_dict()
            said += f"\n{verified_text(verified)}"
            head += f"; {verified_words(verified)}"
        output.answer(
            lambda: review.as_dict() | more, lambda: review_text(review) + said, lambda: verdict(review) + head
        )
    for name in written:
        output.note(f"{name} written")
    if review.damaged:
        return Exit.INPUT
    if verified is not None and verified.refused:
        return Exit.NO
    if prove_again:
        return Exit.YES if review.passed and not (proofs is not None and proofs.refuted) else Exit.NO
    if complete is not None:
        return _complete(output, loaded, review, complete)
    return Exit.YES if review.passed else Exit.NO


def _read(output: Output, job: Job, plan: str, by: str) -> str | Plan:
    """Read a plan on standard input, since it is used twice: it is judged, and its bounds are checked. Tables are refused."""
    if plan.lower().endswith((".csv", ".xlsx")):
        raise click.UsageError(f"{by} needs a plan in JSON: a table states no bounds")
    from trayopt.checker import read_document

    return read_document(job, plan, output.unusual) if plan == "-" else plan


def _verify(job: Job, review: Review, plan: str | Plan, certificate: str) -> Verified | None:
    """Check the certificate of a plan; None if the plan is damaged."""
    from trayopt.api import verify

    return None if review.damaged else verify(job, plan, certificate)


def _prove(output: Output, job: Job, review: Review, plan: str | Plan, limit_s: float) -> Proofs | None:
    """Prove the bounds of a plan again, if the plan could be built; each question is shown on stderr."""
    from trayopt.api import prove
    from trayopt.cli.progress import Progress
    from trayopt.rules.judge import no_plan_breaks

    if review.report is not None and any(no_plan_breaks(found) for found in review.report.findings):
        output.warn("nobody could build this plan: its bounds are not proven again")
        return None
    asked: list[str] = []
    with Progress(output) as progress:

        def tell(seconds: float, goal: GoalName, value: int | None, bound: int | None) -> None:
            if goal not in asked:
                asked.append(goal)
                progress.say(f"searching for a plan below the bound of {goal}")
            progress(seconds, goal, value, bound)

        return prove(job, plan, time_limit_s=limit_s, progress=tell)


def _settled(review: Review, proofs: Proofs | None, verified: Verified | None) -> Review:
    """Return the review with the bounds that were just proven or refuted."""
    if proofs is None and verified is None:
        return review
    from trayopt.checker import settled_bounds
    from trayopt.review.desk import bound_remark

    proven = (
        {} if verified is None else {goal.goal: goal.least for goal in verified.goals if goal.standing == "checked"}
    )
    refuted: dict[str, int] = {}
    for proof in () if proofs is None else proofs.answers:
        if proof.answer == "confirmed" and proof.claim.bound is not None:
            proven[proof.claim.goal] = proof.claim.bound
        elif proof.answer == "refuted" and proofs is not None and proofs.plan is not None:
            refuted[proof.claim.goal] = proofs.plan.value(proof.claim.goal)
    bounds = settled_bounds(review.bounds, proven, refuted)
    anew = [claim for claim in bounds if claim.goal in refuted and claim.standing == "refuted"]
    told = {remark.subject for remark in review.remarks if remark.rule == "bound"}
    more = [bound_remark(claim, "a plan found by the proof") for claim in anew if claim.goal not in told]
    return replace(review, bounds=bounds, remarks=(*review.remarks, *more))


def _refuting(proofs: Proofs, plan: str, path: str | None) -> list[str]:
    """Write the plan that refutes a bound, under a free name if no file is named; return the names of written files."""
    from trayopt.formats.json_out import dump_rows, write_whole

    if proofs.plan is None:
        return []
    if path is None:
        stem = "plan" if plan == "-" else Path(plan).stem
        names = (f"{stem}.refuting{f'-{number}' if number > 1 else ''}.json" for number in count(1))
        path = next(name for name in names if not Path(name).exists())
    write_whole(path, dump_rows(proofs.plan.plain()))
    return [path] if path != "-" else []


def _write(review: Review, html: str | None, xlsx: str | None) -> list[str]:
    written = []
    if html is not None:
        from trayopt.formats.json_out import write_whole
        from trayopt.review.html import review_html

        write_whole(html, review_html(review))
        written.append(html)
    if xlsx is not None:
        from trayopt.formats.json_out import write_whole
        from trayopt.review.marked import marked_workbook

        write_whole(xlsx, marked_workbook(review))
        written.append(xlsx)
    return [name for name in written if name != "-"]


def _complete(output: Output, job: Job, review: Review, path: str) -> int:
    """Write the completed plan; the exit code is then about that plan, unless the table itself has faults."""
    from trayopt.review.complete import completed_plan
    from trayopt.review.sheet_out import write_plan

    plan = completed_plan(review)
    if plan is None:
        output.warn(f"{path} is not written: there is no completed plan")
        return Exit.NO
    write_plan(path, job, plan)
    if path != "-":
        output.note(f"{path} written")
    if review.passed or review.unfinished:
        return Exit.YES
    wrong = next(remark for remark in review.remarks if remark.fails and remark.level != "unplaced")
    output.warn(f"{path} is a plan that can be built, but not what the table says: {wrong.found}")
    return Exit.NO
