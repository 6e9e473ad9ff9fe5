"""The search as a list of tactics, in the order in which they are tried: each applies or not, and can be left out by its name.

The first half looks for complete plans, which place every splice and keep every must. Two bounds are met at once by most jobs:
least preferences by ways and stacks, least legs by divisions. Where they are not met, blocks at places bound both anew and lay
out plans; then divisions of a few legs more join in, until the bounds are met or all divisions are in. The second half is for
jobs that have no complete plan: blocks prove how much stays out, or musts are let go in the whole model, and at last splices.
"""

from __future__ import annotations

from trayopt.solver.bounds.trunks_outside import COUNTS
from trayopt.solver.search import broken_musts, complete, incomplete, lost_pins, outside
from trayopt.solver.search.work import Tactic, Work


def _always(work: Work) -> bool:
    return work.open


def _left(work: Work) -> bool:
    """Whether no complete plan was found, and time is left."""
    return not work.done and not work.session.clock.over


def may_count_sets(work: Work) -> bool:
    """Whether no complete plan was found, and ways and stacks may be counted."""
    return _left(work) and work.session.on(COUNTS) and not work.session.job.through


TACTICS: tuple[Tactic, ...] = (
    Tactic(lost_pins.BY_WAYS, lost_pins.lost_by_ways, lost_pins.has_pins, "every goal"),
    Tactic("first_bounds", complete.first_bounds, _always, "least preferences, least legs; that no plan is complete"),
    Tactic(
        "least_legs",
        complete.least_legs_first,
        lambda work: work.open and work.legs_first and bool(work.divisions),
        "with the bounds met: the first four goals",
    ),
    Tactic(
        "least_by_patterns",
        complete.least_by_patterns,
        lambda work: work.open and work.legs_first and work.session.on("set_partition"),
        "least preferences, least legs; with both met: the first four goals",
    ),
    Tactic("some_plan", complete.some_plan, _always),
    Tactic("legs_of_one_size", complete.legs_of_one_size, _always),
    Tactic("second_bounds", complete.second_bounds, _always, "least preferences, least legs; that no plan is complete"),
    Tactic(
        "fewest_broken",
        complete.fewest_broken,
        lambda work: work.open and complete.may_ask_all(work),
        "least preferences; that no plan is complete",
    ),
    Tactic("deepening", complete.deepening, lambda work: work.open and work.legs_first, "least legs"),
    Tactic("all_divisions", complete.all_divisions, _always),
    Tactic("descent", complete.descend, lambda work: work.found is not None, "every goal that is left"),
    Tactic("any_plan", incomplete.any_plan, lambda work: not work.done),
    Tactic(outside.NAME, outside.trunks_outside, may_count_sets, "every goal"),
    Tactic("least_unplaced", incomplete.least_unplaced, lambda work: not work.done, "least splices without a tray"),
    Tactic(
        lost_pins.BY_PLACES,
        lost_pins.lost_by_places,
        lambda work: _left(work) and lost_pins.has_pins(work) and may_place_all(work),
        "every goal",
    ),
    Tactic(
        broken_musts.NAME,
        broken_musts.musts_by_patterns,
        lambda work: _left(work) and work.legs_first and may_place_all(work) and work.session.on("set_partition"),
        "the first four goals",
    ),
    Tactic(
        "in_order_by_segments",
        incomplete.in_order_by_segments,
        lambda work: _left(work) and work.legs_first,
        "the first four goals",
    ),
    Tactic("without_musts", incomplete.without_musts, lambda work: _left(work) and may_place_all(work), "every goal"),
    Tactic("without_splices", incomplete.without_splices, _left, "every goal"),
)


def may_place_all(work: Work) -> bool:
    """Whether it is not known that some splice has to stay out."""
    return not work.session.divider.hopeless and not work.session.state.least("unplaced")
