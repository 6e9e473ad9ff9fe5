"""``trayopt record``: judge readings, and write the as-built plan and its sheets."""

from __future__ import annotations

from typing import TYPE_CHECKING, Unpack

import click

from trayopt.cli.common import common, folder_option
from trayopt.cli.completing import FILE
from trayopt.cli.exitcodes import Exit
from trayopt.cli.output import Output
from trayopt.cli.sheet_options import SheetOptions, sheet_options

if TYPE_CHECKING:
    from trayopt.crewsheets.record import Record


@click.command("record", short_help="Judge readings, and write the as-built plan and sheets.")
@click.argument("job", metavar="JOB", type=click.Path(allow_dash=True))
@click.argument("plan", metavar="PLAN", type=click.Path(allow_dash=True))
@click.argument("readings", metavar="READINGS", type=click.Path(allow_dash=True))
@folder_option("Write the as-built plan and the filled-in sheets here.")
@click.option(
    "--next", "next_", metavar="FILE", type=FILE,
    help="Write the job of the next extension: what passed is built, with its measured marks and the tries that are left.",
)  # fmt: skip
@sheet_options
@common
def command(
    output: Output,
    job: str,
    plan: str,
    readings: str,
    folder: str | None,
    next_: str | None,
    **options: Unpack[SheetOptions],
) -> int:
    """Judge READINGS (CSV or XLSX) of PLAN against the limits, batch by batch, and list what is over them.

    READINGS is the test record filled in, what the page saved, or a table with the columns fibre, wavelength_nm,
    a_to_b_db, b_to_a_db and, if wanted, resplices. The mean of both directions decides. Exit code 1: a batch failed or
    is not complete.
    """
    from trayopt.api import load_job
    from trayopt.api import record as judge
    from trayopt.api.changing import changed_file
    from trayopt.crewsheets.next_job import HEAD, not_passed
    from trayopt.formats.json_out import write_whole

    loaded = load_job(job, library=output.library, warn=output.unusual)
    record = judge(loaded, plan, readings, warn=output.unusual, **options)
    if folder is not None:
        record.write(folder)
        output.note(f"as-built plan and sheets written to {folder}")
        for line in record.sheets.left_out():
            output.warn(line)
    if next_ is not None:
        following = record.next_job()
        left = not_passed(record.book, record.readings)
        head = "\n\n".join([HEAD, *left])
        text = changed_file(loaded, following, head, source=job, target=next_, library=output.library)
        write_whole(next_, text)
        output.note(f"the job of the next extension written to {next_}")
        for line in left:
            output.warn(line)
    for batch in record.batches():
        if batch["over_untested"]:
            output.warn(f"batch {batch['batch']} was read before every batch under it had passed")
    output.answer(
        lambda: {key: value for key, value in record.as_built().items() if key not in {"plan", "readings", "pins"}},
        lambda: _text(record),
        lambda: _head(record),
    )
    return Exit.YES if record.passed else Exit.NO


def _head(record: Record) -> str:
    counts = record.counts()
    return f"{counts['pass']} passed, {counts['fail']} failed, {counts['open']} open"


def _text(record: Record) -> str:
    from trayopt.cli.output import columns, table

    lines = [_head(record), ""]
    rows = [
        [
            str(b["batch"]),
            str(b["splices"]),
            {"pass": "passed", "fail": "failed", "open": "open"}[b["result"]],
            ", ".join(f"{mean['db']:.3f} at {mean['wavelength_nm']} nm" for mean in b["mean_db"]),
            ", ".join(b["trays"]),
        ]
        for b in record.batches()
    ]
    lines.append(table(["batch", "splices", "result", "mean dB", "trays"], rows, right=(0, 1), width=columns()))
    again = record.again()
    if again:
        lines += [record.sheets.tell("safety.reopen"), "over the limit:"]
        rows = [
            [
                str(item["fibre_a"]),
                str(item["fibre_b"]),
                str(item["tray"]),
                str(item["sleeve"]),
                f"{item['wavelength']} nm",
                f"{item['mean']} dB",
                str(item["tries_left"]),
                str(item["lift"]),
                str(item["together"]),
                str(item["look"]),
            ]
            for item in again
        ]
        heads = [
            "fibre A",
            "fibre B",
            "tray",
            "sleeve",
            "at",
            "mean",
            "tries left",
            "lift first",
            "comes with",
            "look at",
        ]
        lines.append(table(heads, rows, right=(3, 4, 5, 6), width=columns()))
    return "\n".join(lines)
