"""What can be done with ribbons in a plan that places every splice: choices under which no division fits are ruled out.

Relaxations count of a run of splices the sleeves that it needs at least, whatever is done with ribbons. The division model of
the job in which that is decided counts what it needs then; where there is none, no such plan has the choice, and every model
of these plans may be told so. So the preferences that a choice breaks count in relaxations that know nothing of sleeves.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product
from math import prod

from trayopt.domain.base import RibbonWord
from trayopt.domain.job import Job
from trayopt.solver.bounds.division import Divider
from trayopt.solver.model.ways import Ways

MOST_CHOICES = 32
"""Of more choices of all trunks together only those of single trunks are tried."""

Choice = Mapping[str, RibbonWord]


def hopeless_choices(job: Job) -> tuple[Choice, ...]:
    """Give choices, by trunk, that no plan has which places every splice."""
    open_ = {trunk.id: trunk.ribbons for trunk in job.ribbons_open}
    tried: list[Choice] = [{trunk: word} for trunk, words in open_.items() for word in words]
    found = [choice for choice in tried if _hopeless(job, choice)]
    if len(open_) > 1 and prod(map(len, open_.values())) <= MOST_CHOICES:
        known = [set(choice.items()) for choice in found]
        for words in product(*open_.values()):
            choice = dict(zip(open_, words, strict=True))
            if not any(part <= set(choice.items()) for part in known) and _hopeless(job, choice):
                found.append(choice)
    return tuple(found)


def _hopeless(job: Job, choice: Choice) -> bool:
    divider = Divider(job.with_ribbons(choice))
    return divider.hopeless or divider.settle() is None


def forbid_hopeless(model: Ways) -> None:
    """Leave hopeless choices out of a model of plans that place every splice and keep the physical rules at must."""
    known = model.job.trunk_by_id
    for choice in model.job.once(hopeless_choices):
        model.clause(*(model.no(model.ribboned(known[trunk], word)) for trunk, word in choice.items()))
