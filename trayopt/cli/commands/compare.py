"""``trayopt compare``: show two plans of one job side by side."""

from __future__ import annotations

import click

from trayopt.cli.common import common
from trayopt.cli.completing import FILE
from trayopt.cli.output import Output


@click.command("compare", short_help="Compare two plans of a job.")
@click.argument("job", metavar="JOB", type=click.Path(allow_dash=True))
@click.argument("plans", metavar="PLAN PLAN", nargs=2, type=click.Path(allow_dash=True))
@click.option(
    "-o", "--output", "html", metavar="FILE", type=FILE, help="Write a printable page with both pictures side by side."
)
@click.option(
    "--time-limit", "limit_s", type=click.FloatRange(min=0, min_open=True), default=20.0,
    show_default=True, metavar="S",
    help="Time limit in seconds to complete a table.",
)  # fmt: skip
@common
def command(output: Output, job: str, plans: tuple[str, str], html: str | None, limit_s: float) -> None:
    """Compare two plans of JOB, each in JSON or as a table: goals, trunks and legs that differ, findings."""
    from trayopt.api import compare, load_job
    from trayopt.formats.json_out import write_whole
    from trayopt.review.answers import pair_text, pair_words

    pair = compare(load_job(job, library=output.library, warn=output.unusual), *plans, time_limit_s=limit_s)
    if html is not None:
        from trayopt.review.html import compare_html

        write_whole(html, compare_html(pair))
    if html != "-":
        output.answer(pair.as_dict, lambda: pair_text(pair), lambda: pair_words(pair))
        if html is not None:
            output.note(f"{html} written")
