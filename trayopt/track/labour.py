"""The work that a plan asks of a crew, in minutes for one person, by the same paces and counts as the steps of the sheets."""

from __future__ import annotations

from trayopt.domain.handling import handling, separated
from trayopt.domain.labour import Labour
from trayopt.track.laid import Laid
from trayopt.track.lengths import Lengths


def crew_minutes(laid: Laid, lengths: Lengths, pace: Labour) -> float:
    """Return the minutes that all steps of a plan take one person, as if nothing was built yet.

    The window of a trunk that goes through is opened once, and its tubes are identified once.

    Parameters
    ----------
    laid
        The plan as it lies in the box.
    lengths
        The lengths that are added to routes: the parameters of rule ``exposed``.
    pace
        Minutes of each kind of work.
    """
    if not laid.legs:
        return pace.prepare_min
    trunks, trays = laid.trunks(), len(laid.trays)
    legs = sum(map(len, laid.legs.values()))
    travellers = sum(len(laid.strands(trunk.id)) for trunk in trunks)
    second = {window.through.ends[1] for window in laid.windows}
    once = [trunk for trunk in trunks if trunk.id not in second]
    metres = sum(lengths.strip_of(laid, trunk.id) for trunk in once) / 1000
    units = sum(len(trunk.units) for trunk in once)
    cuts = sum(len(laid.job.trunk_by_id[trunk].subunits) for trunk in second)
    turns = sum(1 + item.loops for item in laid.traffic)
    return (
        pace.prepare_min
        + pace.close_min
        + pace.identify_min_per_subunit * (len(trunks) + units)
        + (pace.clamp_min_per_trunk + pace.strip_min_per_trunk) * len(trunks)
        + pace.strip_min_per_metre * metres
        + pace.route_min_per_tube_and_turn * turns
        + pace.cut_back_min_per_tube * sum(map(laid.cut_back, trunks))
        + pace.take_off_min_per_tube * travellers
        + (pace.mark_min_per_leg + pace.divide_min_per_leg) * legs
        + pace.divide_min_per_leg * cuts
        + (pace.fit_min_per_tray + pace.take_out_min_per_tray + pace.lay_min_per_tray) * trays
        + _splicing(laid, pace)
    )


def _splicing(laid: Laid, pace: Labour) -> float:
    """Return the minutes to split and make ribbons, to splice and to test. A sleeve of one fibre takes the single pace."""
    minutes = 0.0
    for place, runs in laid.sleeve_runs.items():
        size = laid.tray(place).sleeve_fibres
        sleeves = [side for run in runs for pair in run.cut(size) for side in pair]
        for side in sleeves[::2]:
            minutes += pace.single_splice_min if side.count == 1 else pace.ribbon_splice_min
            minutes += pace.test_min_per_fibre * side.count
        known = laid.job.trunk_by_id
        done = separated(sleeves, known) if size == 1 else handling(sleeves, known, laid.ribbons)
        minutes += pace.separate_min_per_ribbon * len(done.separated)
        minutes += pace.split_min_per_cut * len(done.cuts) + pace.ribbonise_min_per_ribbon * len(done.made)
    return minutes
