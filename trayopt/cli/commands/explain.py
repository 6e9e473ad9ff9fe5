"""``trayopt explain``: say why not everything can be kept, what helps, and why the best plan is as it is."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from trayopt.cli.common import common, folder_option
from trayopt.cli.completing import FILE
from trayopt.cli.exitcodes import Exit
from trayopt.cli.output import Output
from trayopt.explainer.costs import Costs, cost_names, costs_of

if TYPE_CHECKING:
    from trayopt.domain.explanation import Explanation, WayOut
    from trayopt.domain.job import Job
    from trayopt.domain.plan import Plan
    from trayopt.explainer.why_not import Proven


DEFAULT_COSTS = ", ".join(f"{name}={getattr(Costs(), name)}" for name in cost_names())


AT_ONCE = (
    "the time ended before all ways out were found: raise --time-limit, or use --apply all, which keeps each as soon as it "
    "is proven"
)
ALL = 0
"""The number that ``--apply all`` stands for."""


class _Ways(click.ParamType[int]):
    """The number of a way out, or all of them."""

    name = "way out"

    def convert(self, value: str | int, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Return the number; ``ALL`` for all."""
        if value == "all":
            return ALL
        try:
            number = int(value)
        except ValueError:
            number = ALL
        if number <= ALL:
            self.fail(f"'{value}' is neither the number of a way out nor all", param, ctx)
        return number


@click.command("explain", short_help="Say why a rule cannot be met, and what to do about it.")
@click.argument("job", metavar="JOB", type=click.Path(allow_dash=True))
@click.argument("plan", metavar="[PLAN]", required=False, type=click.Path(allow_dash=True))
@click.option(
    "--conflicts", type=click.IntRange(1, 100), default=1, show_default=True, metavar="N",
    help="Show up to N conflicts; no two of them share a group.",
)  # fmt: skip
@click.option(
    "--ways-out", type=click.IntRange(0, 100), default=5, show_default=True, metavar="N",
    help="Show up to N ways out that give something up, besides those that add something. 0 looks for none.",
)  # fmt: skip
@click.option(
    "--cost", "costs", multiple=True, metavar="NAME=N",
    help="What a change costs, to order the ways out; may repeat. Defaults: " + DEFAULT_COSTS + ".",
)  # fmt: skip
@click.option("--best", metavar="PLAN", type=FILE, help="The best plan in JSON, if you have it; this saves the search.")
@click.option(
    "--prices", is_flag=True,
    help="Price the preferences: legs, trays, metres and crew minutes of the best plan with each, and without it.",
)  # fmt: skip
@click.option("--picture", metavar="FILE", type=FILE, help="With --prices: draw them as well, in SVG.")
@click.option(
    "--settings", metavar="FILE", type=FILE, help="With --prices: paces of the crew, as the sheets take them (YAML)."
)
@click.option(
    "--time-limit", "time_limit_s", type=click.FloatRange(min=0, min_open=True), default=60.0, show_default=True,
    metavar="S", help="Time limit in seconds; whatever is not proven by then is marked as not proven.",
)  # fmt: skip
@click.option(
    "--apply", "apply_", type=_Ways(), metavar="N|all",
    help="Carry out way out N, as it is numbered in the text: write the changed job, its hardware and the plan that proved it. "
    "all writes each way out that this run proves into a folder of its own, DIR/1, DIR/2 …, and prints the explanation.",
)  # fmt: skip
@folder_option("The folder for --apply; the job itself stays as it is.")
@click.option("--reproducible", is_flag=True, help="No clock: the same explanation, byte for byte.")
@common
def command(
    output: Output,
    job: str,
    plan: str | None,
    conflicts: int,
    ways_out: int,
    costs: tuple[str, ...],
    best: str | None,
    prices: bool,
    picture: str | None,
    settings: str | None,
    time_limit_s: float,
    apply_: int | None,
    folder: str | None,
    reproducible: bool,
) -> int:
    """Say why no plan can keep every must of JOB and place every splice, and prove ways out.

    If every must can be kept, say why the best plan breaks the preferences that it breaks, and why no goal can be lower.
    With PLAN, a plan in JSON or a hand-made table, say which of its decisions conflict, or what it costs.
    The exit code is 1 if there is a conflict, 3 if the time ended before that was settled, and 0 if --apply has written
    files.
    """
    from trayopt.api import explain, load_job
    from trayopt.domain.former import names_job
    from trayopt.library.job import box_file_of
    from trayopt.review.opening import open_readable

    if [job, plan, best].count("-") > 1:
        raise click.UsageError("only one of JOB, PLAN and --best can be stdin")
    if prices and plan is not None:
        raise click.UsageError("--prices is about the best plan: leave PLAN out, or give it as --best")
    if not prices and (picture or settings):
        raise click.UsageError("--picture and --settings are about --prices")
    if (apply_ is None) != (folder is None):
        raise click.UsageError("--apply N and -o DIR go together")
    if apply_ is not None and job == "-":
        raise click.UsageError("--apply needs a job file, not stdin")
    chosen = costs_of(costs)
    loaded = load_job(job, library=output.library, warn=output.unusual)
    given = None
    if plan is not None:
        table, document = open_readable(loaded, plan)
        given = table.given()
        for note in table.notes:
            output.note(f"{plan}: {note}")
        if document is not None and not names_job(document.job, loaded):
            output.warn(
                f"{plan} was made for another job, or before the job was changed; what it decides is asked of this job"
            )
    known = None if best is None else _best(output, loaded, best)
    if not reproducible:
        time_limit_s = output.left(time_limit_s)
    if prices:
        return _priced(output, loaded, known, settings, picture, time_limit_s, reproducible=reproducible)
    proven: list[Proven] = []
    made = explain(
        loaded,
        given,
        best=known,
        conflicts=conflicts,
        ways_out=ways_out,
        time_limit_s=time_limit_s,
        reproducible=reproducible,
        costs=chosen,
        library=output.library,
        box_file=box_file_of(job),
        job_file=None if job == "-" else Path(job).name,
        proven=proven.append,
    )
    if apply_ is not None and folder is not None and apply_ != ALL:
        return _apply(output, made, proven, apply_, job, folder)
    written = [] if folder is None else _apply_all(output, made, proven, job, folder)
    output.answer(made.plain, lambda: _text(output, made), lambda: made.summary)
    _tell_sources(output, made)
    for path in written:
        output.note(f"written: {path}")
    if apply_ is not None and not written:
        output.warn(f"nothing is written: {_none(made)}")
    return Exit.YES if written else _code(made)


def _code(made: Explanation) -> Exit:
    """Return the exit code of an explanation: yes, no, or not settled."""
    settled = made.preferences is not None if made.expected is None else made.expected.possible
    if made.conflicts or (made.expected is not None and settled is False):
        return Exit.NO
    return Exit.YES if settled else Exit.NOTHING


def _apply(output: Output, made: Explanation, proven: list[Proven], number: int, job: str, folder: str) -> int:
    """Write the files of a way out, and say how to look at them."""
    from trayopt.api import carry_out
    from trayopt.errors import InputError
    from trayopt.explainer.way_words import by_edit, phrases

    ways = by_edit(made.ways_out)
    if number > len(ways):
        found = _none(made)
        allowed = f"1 to {len(ways)}" if ways else ""
        raise InputError.one(
            f"there is no way out {number}",
            source=job,
            found="" if ways else found,
            allowed=allowed,
            hint=AT_ONCE if made.out_of_time else "",
        )
    chosen = _chosen(proven, ways[number - 1])
    if chosen is None:
        raise InputError.one(f"way out {number} changes no file: it gives up what was expected", source=job)
    written = carry_out(job, chosen, folder, library=output.library)
    output.answer(
        lambda: {"written": [{"job": file, "plan": plan} for file, plan in written], "edit": chosen.way.edit},
        lambda: "\n".join([
            f"{phrases(ways[number - 1])}: written to {folder}",
            *(f"next: trayopt check {Path(folder) / file} {Path(folder) / plan}" for file, plan in written),
        ]),
        lambda: folder,
    )  # fmt: skip
    return Exit.YES


def _none(made: Explanation) -> str:
    """Say why an explanation has no way out."""
    return "none was proven in the time" if made.conflicts else "there is no conflict, and so no way out"


def _chosen(proven: list[Proven], ways: list[WayOut]) -> Proven | None:
    """Return what proved ways out that come to one edit; None if they change no file."""
    return next((item for item in proven if item.way in ways), None)


def _apply_all(output: Output, made: Explanation, proven: list[Proven], job: str, folder: str) -> list[Path]:
    """Write each way out into a folder that has its number, with the plan that proved it here; return the folders."""
    from trayopt.api import carry_out
    from trayopt.explainer.way_words import by_edit

    written = []
    for number, ways in enumerate(by_edit(made.ways_out), start=1):
        chosen = _chosen(proven, ways)
        if chosen is not None:
            written.append(Path(folder) / str(number))
            carry_out(job, chosen, written[-1], library=output.library)
    return written


def _best(output: Output, job: Job, path: str) -> Plan | None:
    """Read the plan that is given as the best; if it cannot be, say why, and that the best plan is searched for."""
    from trayopt.checker import lay
    from trayopt.domain.former import names_job
    from trayopt.review.opening import open_readable

    read, plan = open_readable(job, path)
    for note in read.notes:
        output.note(f"{path}: {note}")
    if plan is None:
        why = f"{path} is a table, not a plan with figures (trayopt check JOB {path} -o plan.json makes one)"
    elif not names_job(plan.job, job):
        why = f"{path} was made for another job, or before the job was changed"
    elif any(place is None for _, place in lay(job, plan, path).piece_places):
        why = f"{path} leaves splices without a tray"
    else:
        return plan
    output.warn(f"{why}: the best plan is searched for in its place")
    return None


def _text(output: Output, made: Explanation) -> str:
    from trayopt.explainer.text import text

    return text(made, output.console().width)


def _tell_sources(output: Output, made: Explanation) -> None:
    """Print, for every rule that the explanation names, why the rule exists and where its figures come from."""
    from trayopt.rules.registry import RULES

    named = {group.rule for conflict in made.conflicts for group in conflict.groups}
    named |= {group.rule for way in made.ways_out for group in way.give_up}
    for item in made.preferences or ():
        named |= {item.rule, *(group.rule for group in item.against)}
    for rule in RULES:
        if rule.name in named:
            output.detail(f"{rule.name}: {rule.why} Source: {rule.source}.")


def _priced(
    output: Output,
    job: Job,
    best: Plan | None,
    settings: str | None,
    file: str | None,
    time_limit_s: float,
    *,
    reproducible: bool,
) -> int:
    """Price the preferences, print the prices, and draw them if a picture is asked for."""
    from trayopt.api import prices
    from trayopt.cli.keeping import find_out
    from trayopt.crewsheets.settings import read_settings
    from trayopt.explainer.price_picture import picture
    from trayopt.explainer.price_words import head, text
    from trayopt.formats.json_out import write_whole
    from trayopt.pictures.svg import svg_file

    find_out(file)
    pace = None if settings is None else read_settings(settings).labour
    found = prices(job, best, time_limit_s=time_limit_s, reproducible=reproducible, pace=pace)
    if found is None:
        output.answer(lambda: None, lambda: "No plan is known that is whole; trayopt explain JOB says why.")
        return Exit.NO
    if file is not None:
        write_whole(file, svg_file(picture(found)))
    output.answer(found.plain, lambda: text(found), lambda: head(found))
    return Exit.YES
