"""A first plan for joins that are shuffled: who goes in before whom, settled before any tray is chosen.

Where two trunks see a pair of joined subunits in the same order, that order costs no crossing; where they see it in opposite
orders, one crossing is paid unless both have the same low. So an order that keeps what both trunks agree on, and that puts
as many disputed pairs as it can side by side, is a good one. With two stacks that is unit scheduling on two machines under
precedence, which the labels of Coffman and Graham solve (Optimal scheduling for two-processor systems, Acta Informatica 1,
1972). The order is no proof of anything: it is handed to the solver, which works the rest out and bounds it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from trayopt.domain.cablework import Leg, Subunit
from trayopt.rules.variables import Boolean, Literal
from trayopt.solver.model import cp_sat
from trayopt.solver.model.model import Model


class Item(NamedTuple):
    """Two joined subunits that share all their trays: their first leg, how many trays they take, their rank in each trunk."""

    leg: Leg
    trays: int
    ranks: dict[str, int]


def items_of(model: Model) -> list[Item] | None:
    """Return the items of a model; None where subunits do not pair off, or where a tray can take legs of two of them."""
    by_bunches: dict[tuple[int, ...], list[Subunit]] = {}
    for subunit in model.job.subunits:
        open_ = model.divisions(subunit)
        if not open_:
            continue
        if len(open_) > 1:
            return None
        by_bunches.setdefault(tuple(model.bunch(leg) for leg in model.legs(subunit, open_[0])), []).append(subunit)
    room = 2 * max(tray.fibres for tray in model.job.enclosure.trays)
    if any(2 * load <= room for load in model.loads.values()):
        return None
    seen: set[int] = set()
    items = []
    for bunches, subunits in by_bunches.items():
        if len(subunits) < 2 or seen & set(bunches) or len(set(bunches)) != len(bunches):
            return None
        seen |= set(bunches)
        of = model.divisions(subunits[0])[0]
        items.append(Item(model.legs(subunits[0], of)[0], len(bunches), {s.trunk: s.number for s in subunits}))
    return items if len({item.trays for item in items}) == 1 else None


def slots(items: list[Item], width: int) -> list[list[Item]]:
    """Put items into slots of ``width``; an item comes in no earlier slot than the items that all trunks see before it.

    Disputed items come side by side first; what is left of a slot is filled with what follows, for lows that are equal cross
    nothing. Empty where items stand before each other in a ring: among more than two trunks that can be.
    """
    later = {i: {j for j, other in enumerate(items) if j != i and _before(item, other)} for i, item in enumerate(items)}
    label: dict[int, int] = {}
    while len(label) < len(items):
        free = [i for i in later if i not in label and later[i] <= label.keys()]
        if not free:
            return []
        best = min(free, key=lambda i: (sorted((label[j] for j in later[i]), reverse=True), i))
        label[best] = len(label)
    left = set(later)
    made = []
    while left:
        slot: list[int] = []
        while len(slot) < width and left:
            ready = [i for i in left if not any(i in later[j] for j in left)]
            chosen = sorted(ready, key=lambda i: -label[i])[: width - len(slot)]
            slot += chosen
            left -= set(chosen)
        made.append([items[i] for i in slot])
    return made


def _before(one: Item, other: Item) -> bool:
    """Whether every trunk that sees both sees ``one`` first; items without a common trunk are free of each other."""
    common = one.ranks.keys() & other.ranks.keys()
    return bool(common) and all(one.ranks[trunk] < other.ranks[trunk] for trunk in common)


def order_of(model: Model) -> list[tuple[Boolean, bool]]:
    """Return what a good order says of literals of a model; empty where the model is not of that kind."""
    items = items_of(model)
    if not items:
        return []
    stacks = model.job.enclosure.stacks
    said: list[tuple[Literal, bool]] = []
    for number, slot in enumerate(slots(items, len(stacks))):
        low = 1 + number * slot[0].trays
        if low + slot[0].trays - 1 > max(stack.positions for stack in stacks):
            return []
        for item in slot:
            said += [(model.position_up_to(item.leg, low - 1), False), (model.position_up_to(item.leg, low), True)]
    if any(isinstance(literal, int) and bool(literal) != value for literal, value in said):
        return []
    return [(literal, value) for literal, value in said if not isinstance(literal, int)]


def hold_order(order: Sequence[tuple[Boolean, bool]], trial: cp_sat.CpModel) -> cp_sat.CpModel:
    """Hold a copy of a model to an order."""
    for literal, value in order:
        trial.add(trial.get_bool_var_from_proto_index(literal.index) == int(value))
    return trial
