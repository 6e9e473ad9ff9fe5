"""Ways out that add hardware or change practice, each the least that is enough, proven by solving the changed job."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

from trayopt.explainer import add_lengths, add_openings, add_to_trunks, add_trays, other_boxes, slack
from trayopt.explainer.changes import Change
from trayopt.explainer.trying import Trying
from trayopt.rules.base import Help
from trayopt.rules.registry import RULES

KINDS: Mapping[Help, Callable[[Trying], Iterator[Change]]] = {
    "bench": add_lengths.bench,
    "loops": add_lengths.loops,
    "exposed": add_lengths.exposed,
    "slack": slack.slack,
    "seals": add_openings.seals,
    "trays": add_trays.trays,
    "tubes": add_to_trunks.tubes,
    "divide_at": add_to_trunks.divide_at,
    "ribbons": add_to_trunks.ribbons,
    "tray_types": add_trays.tray_types,
    "guides": add_openings.guides,
    "box": other_boxes.other_box,
}
"""Kinds of ways out by the word with which rules name them (``Rule.helped_by``), those that cost least first."""
TWO_BOXES = "enclosure"
"""The kind that is always looked at, and last."""


def additions(on: Trying, rules: frozenset[str]) -> Iterator[Change]:
    """Yield every addition that is proven to be enough, where conflicts name these rules; the kinds that cost least first.

    If effort is limited, each kind gets an equal share of what the kinds before it left.
    """
    helped = {helped for rule in RULES if rule.id in rules for helped in rule.helped_by}
    wanted: list[tuple[str, Callable[[Trying], Iterator[Change]]]] = [
        (name, kind) for name, kind in KINDS.items() if name in helped or not rules
    ]
    wanted.append((TWO_BOXES, other_boxes.two_boxes))
    clock = on.prover.clock
    for i, (name, kind) in enumerate(wanted):
        with clock.turn(clock.share(1 / (len(wanted) - i))):
            if not clock.over:
                yield from _marked(on, kind(on))
            if clock.over:
                on.unseen.append(name)


def _marked(on: Trying, changes: Iterator[Change]) -> Iterator[Change]:
    """Mark changes where it was not settled on the way whether less would be enough."""
    before = on.prover.unsettled
    for change in changes:
        yield replace(change, least=on.prover.unsettled == before)
        before = on.prover.unsettled
