"""Crowded boxes: where every splice is placed, a tray place holds at least what all others together cannot.

The rules say only how much a place may hold. The sum of what all places leave empty is known, and no place leaves more: in a
box with no room to spare every tray is full. No plan is lost by saying so, and the solver, which does not add up all places by
itself, then sees at once where a tray cannot be filled any more (6,912 to 2 x 3,456 fibres: last goal proven in 11 s against
160 s).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import NamedTuple, Protocol

from trayopt.domain.hardware import Place
from trayopt.domain.job import Job
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.tray_sleeves import TraySleeves
from trayopt.rules.variables import Constraint, Expression, LeastLoads, Literal
from trayopt.solver.model.model import Model


class Burden(NamedTuple):
    """Weights of bunches, which lie in a tray as a whole, and the least sum of all weights; every number is doubled."""

    weights: Collection[int]
    brought: int


class Filled(LeastLoads, Protocol):
    """A model that says what its places hold at least."""

    job: Job
    places: tuple[Place, ...]
    all_placed: bool

    def require(self, constraint: Constraint, *when: Literal) -> None:
        """Add a constraint."""


def cut_capacity(x: Filled, kept: Collection[str], fibres: Burden, sleeves: Burden) -> None:
    """Say how much the places of a model hold at least, by fibres and by sleeves, as far as rules that are kept bound them."""
    if not x.all_placed:
        return
    trays = {place: x.job.enclosure.tray_at(place) for place in x.places}
    if TrayFibres.id in kept:
        _fill(x, {place: 2 * tray.fibres for place, tray in trays.items()}, fibres, x.ends_at_least)
    if TraySleeves.id in kept:
        _fill(x, {place: 2 * tray.sleeves for place, tray in trays.items()}, sleeves, x.sleeves2_at_least)


def _fill(x: Filled, room: Mapping[Place, int], burden: Burden, held: Callable[[Place], Expression]) -> None:
    """Let each place hold what the others cannot; room that no weights come to is none."""
    most = {number: max(sums(burden.weights, number)) for number in set(room.values())}
    spare = sum(most[number] for number in room.values()) - burden.brought
    for place, number in room.items():
        if most[number] > spare:
            x.require(held(place) >= most[number] - spare)


def sums(weights: Collection[int], most: int) -> set[int]:
    """Return every number up to ``most`` that weights add up to, each taken any number of times."""
    steps = {weight for weight in weights if weight > 0}
    found = {0}
    for number in range(1, most + 1):
        if any(number - step in found for step in steps):
            found.add(number)
    return found


def burdens(x: Model) -> tuple[Burden, Burden]:
    """Return the fibres and sleeves of the bunches of a whole model; sleeves count only if all trays have one size."""
    job = x.job
    sizes = {tray.sleeve_fibres for tray in job.enclosure.trays}
    sleeves = Burden((), 0)
    if len(sizes) == 1:
        (size,) = sizes
        sleeves = Burden(x.sleeve_weights(size).values(), 2 * sum(run.sleeves(size) for run in job.sleeve_runs))
    return Burden(x.loads.values(), 2 * job.splices), sleeves
