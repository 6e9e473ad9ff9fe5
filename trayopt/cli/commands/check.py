"""``trayopt check``: whether a plan, written by trayopt or by hand, can be built; and if not, why and where."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from trayopt.cli.common import common
from trayopt.cli.exitcodes import Exit
from trayopt.cli.output import Output

if TYPE_CHECKING:
    from trayopt.domain.job import Job
    from trayopt.review.desk import Review


@click.command("check", short_help="Judge a plan, or a hand-made table, against its job.")
@click.argument("job", metavar="JOB", type=click.Path(allow_dash=True))
@click.argument("plan", metavar="PLAN", type=click.Path(allow_dash=True))
@click.option("-o", "--output", "complete", metavar="NEW", help="Write the plan of an unfinished table, completed.")
@click.option("--html", metavar="FILE", help="Write a printable review with the findings marked in a picture.")
@click.option("--xlsx", metavar="FILE", help="Write the table back with a column of findings.")
@click.option("--best/--no-best", default=None, help="Compare with the best there can be; default: for tables only.")
@click.option(
    "--time-limit", "limit_s", type=click.FloatRange(min=0, min_open=True), default=20.0,
    show_default=True, metavar="S",
    help="Most seconds for the best plan, and for completing a table.",
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
    limit_s: float,
) -> int:
    """Judge PLAN, a plan in JSON or a table in CSV or XLSX, against JOB: every rule and every figure.

    A table has a row a leg (trunk, fibres, stack, position; port, travel, loops, end, cut, built) or a row a run of
    splices (from and to: trunk, tube, ribbon, fibres; tray, sleeve). What it leaves open is completed.
    """
    from trayopt.api import judge, load_job
    from trayopt.review.text import review_text, verdict

    loaded = load_job(job, library=output.library, warn=output.unusual)
    review = judge(loaded, plan, best=best, time_limit_s=limit_s)
    written = _write(review, html, xlsx)
    if "-" not in {complete, html, xlsx}:
        output.answer(review.as_dict, lambda: review_text(review), lambda: verdict(review))
    for name in written:
        output.note(f"{name} written")
    if review.damaged:
        return Exit.INPUT
    if complete is not None:
        return _complete(output, loaded, review, complete)
    return Exit.YES if review.passed else Exit.NO


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
    """Write the completed plan; the answer is then about that plan, unless the table is wrong in what it does say."""
    from trayopt.review.complete import completed_plan
    from trayopt.review.sheet_out import write_plan

    plan = completed_plan(review)
    if plan is None:
        output.warn(f"{path} is not written: there is no completed plan")
        return Exit.NO
    write_plan(path, job, plan)
    if path != "-":
        output.note(f"{path} written")
    wrong = [remark for remark in review.remarks if remark.fails and remark.level != "unplaced"]
    if not wrong:
        return Exit.YES
    output.warn(f"{path} is a plan that can be built, but not what the table says: {wrong[0].found}")
    return Exit.NO
