"""What can be done with ribbons in a plan that places every splice: choices for which the box has no room are ruled out.

* All trays together hold the sleeves that all runs of splices take, which hangs on what is done with the ribbons of either side.
* The division model of the job in which one trunk's choice is settled, or that of two trunks that are joined, counts what their
  splices need then; where no division fits, no such plan has the choice.

* Ribbons that may be split are not made anew: a sleeve ends with a new ribbon wherever it ends with a split one, so that a plan
  has no more sleeves if they are split instead, and it breaks no more preferences.

So the preferences that a choice breaks count in relaxations that know nothing else of sleeves.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import product

from trayopt.domain.base import SPLIT, RibbonWord
from trayopt.domain.job import Job
from trayopt.domain.splicing import Done
from trayopt.rules.tray_sleeves import TraySleeves
from trayopt.solver.bounds.division import Divider
from trayopt.solver.model.literals import total
from trayopt.solver.model.ways import Ways

Choice = Mapping[str, RibbonWord]


def hopeless_choices(job: Job) -> tuple[Choice, ...]:
    """Return choices of single trunks and of joined pairs that no plan has which places every splice."""
    found: list[Choice] = []
    for choice in _choices(job):
        known = any(part.items() <= choice.items() for part in found)
        if not known and _hopeless(job, choice):
            found.append(choice)
    return tuple(found)


def _choices(job: Job) -> Iterator[Choice]:
    """Yield every choice of one trunk, then those of two that are joined."""
    open_ = {trunk.id: trunk.ribbons for trunk in job.ribbons_open}
    for trunk, words in open_.items():
        yield from ({trunk: word} for word in words)
    for a, b in job.joined_pairs:
        if a in open_ and b in open_:
            yield from ({a: word, b: other} for word, other in product(open_[a], open_[b]))


def _hopeless(job: Job, choice: Choice) -> bool:
    divider = Divider(job.with_ribbons(choice))
    return divider.hopeless or divider.settle() is None


def leave_room(model: Ways) -> None:
    """Leave hopeless choices out of a model whose plans place every splice and keep the physical rules at must."""
    known, job = model.job.trunk_by_id, model.job
    if not job.ribbons_open:
        return
    pinned = {pin.trunk for pin in job.trunk_pins if pin.ribbons is not None}
    for trunk in job.ribbons_open:
        if SPLIT in trunk.ribbons and trunk.id not in pinned:
            model.require(total(model.ribboned(trunk, word) for word in trunk.ribbons if isinstance(word, int)) <= 0)
    for choice in job.once(hopeless_choices):
        model.clause(*(model.no(model.ribboned(known[trunk], word)) for trunk, word in choice.items()))
    if job.rules[TraySleeves.id].level == "must":
        least, more = job.once(_sleeves)
        room = sum(tray.sleeves for stack in job.enclosure.stacks for tray in stack.by_position)
        model.require(least + total(sleeves * model.done(done) for done, sleeves in more.items()) <= room)


def _sleeves(job: Job) -> tuple[int, Counter[Done]]:
    """Count the sleeves of all splices in trays of the largest sleeves: at least, and more by what is done with ribbons."""
    size = max(tray.sleeve_fibres for tray in job.enclosure.trays)
    more = sum((Counter(run.more(size)) for run in job.sleeve_runs), Counter[Done]())
    return sum(run.sleeves(size) for run in job.sleeve_runs), more
