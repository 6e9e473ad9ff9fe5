"""Families of random jobs that came later: trunks opened mid-span, trays of several kinds, ribbons of two widths.

Each is drawn as those of ``mixes`` are, by what it draws from: a ``Draw`` and its random numbers.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from trayopt.domain.hardware import Enclosure, Stack, Tray, TrayRange

if TYPE_CHECKING:
    from benchmarks.boxes import Json
    from benchmarks.mixes import Draw

SIDES = ("west", "east")


def midspan(draw: Draw) -> None:
    """Open a trunk mid-span: drop a few of its tubes to taps, cut one for both sides now and then, and join one back."""
    rng = draw.rng
    taps = rng.randint(1, 3)
    size = draw.unit()
    main = draw.trunk(max(taps * size, min(draw.splices, 1728)))
    cable = draw.cables[main]
    whole = cable.subunits[0].ribbons * cable.subunits[0].ribbon_fibres
    tubes = sum(group.count for group in cable.subunits)
    draw.trunks[-1] |= {"through": True, "toward": list(SIDES)}
    ends = [f"{main}.{side}" for side in SIDES]
    for end in ends:
        draw.cables[end], draw.used[end] = cable, 1
    chosen = sorted(rng.sample(range(tubes), min(tubes, taps + 1)))
    both = rng.random() < 0.3
    for number in chosen[:taps]:
        count = min(size, whole)
        first = 1 + number * whole
        for end in ends if both else [rng.choice(ends)]:
            draw.join(end, draw.trunk(count), count, at=(first, 1))
    if len(chosen) > taps and (rng.random() < 0.5 or not draw.joins):
        first = 1 + chosen[-1] * whole
        draw.join(ends[0], ends[1], whole, at=(first, first))
    if rng.random() < 0.3:
        draw.trunks[0]["cut"] = [rng.randint(1, tubes)]


def mixed_trays(draw: Draw, joined: Any) -> None:
    """Join trunks as another family does, in a box whose outer trays take single fibres."""
    draw.box = with_singles(draw.box, draw.rng.choice((0.25, 0.4, 0.5)))
    joined(draw)


def with_singles(box: Enclosure, part: float) -> Enclosure:
    """Give a box whose stacks carry trays for single fibres, as high as the others, on their outer positions."""
    stacks = []
    for stack in box.stacks:
        own = stack.tray
        single = Tray(
            id=f"{own.id}-single", fibres=own.fibres // 2, sleeves=own.fibres // 2, sleeve_fibres=1,
            entrance_legs=own.entrance_legs, height_mm=own.height_mm, size_mm=own.size_mm, inside_mm=own.inside_mm,
            min_radius_mm=own.min_radius_mm,
        )  # fmt: skip
        outer = max(1, round(part * stack.positions))
        ranges = (TrayRange(positions=(stack.positions - outer + 1, stack.positions), tray=single),)
        fields = {key: getattr(stack, key) for key in Stack.model_fields}
        stacks.append(Stack.model_validate(fields | {"trays": ranges}))
    fields = {key: getattr(box, key) for key in Enclosure.model_fields}
    return Enclosure.model_validate(fields | {"id": f"{box.id}-mixed", "stacks": tuple(stacks)})


def widths(draw: Draw) -> None:
    """Join trunks whose ribbons are of two widths, and say of one of them, or leave open, what is done with its ribbons."""
    rng = draw.rng
    number = rng.choice((1, 1, 2))
    count = max(48, draw.splices // number // 48 * 48)
    for _ in range(number):
        a = draw.trunk(count, of=lambda cable: width_of(cable) not in {1, 12})
        b = draw.trunk(count, of=lambda cable: width_of(cable) == 12)
        draw.join(a, b, count)
        other = width_of(draw.cables[a])
        said: Any = rng.choice(
            ["as_they_are", "split", 12, ["as_they_are", "split"], ["as_they_are", 12], ["as_they_are", "split", 12]]
        )
        draw.trunks[-2]["ribbons"] = said
        if rng.random() < 0.2:
            draw.trunks[-1]["ribbons"] = rng.choice(["split", ["as_they_are", other]])


def width_of(cable: Any) -> int:
    """Give the width of a cable's ribbons, 1 for loose fibres; 0 where it has several."""
    if cable.construction == "loose_tube":
        return 1
    found = {group.ribbon_fibres for group in cable.subunits}
    return int(found.pop()) if len(found) == 1 else 0


def as_said(draw: Draw, job: Json) -> Json:
    """Say of a trunk that goes through what is said of other trunks in another way."""
    for trunk in draw.trunks:
        if "through" not in trunk:
            continue
        trunk.pop("idle", None)
        if "exposed_mm" in trunk:
            trunk["slack_mm"] = 2 * trunk.pop("exposed_mm")
        if "ports" in trunk:
            ports = trunk["ports"]
            trunk["ports"] = [ports, ports] if len(ports) > 1 else "any"
        for pin in job.get("pins", ()):
            if pin.get("trunk") == trunk["id"]:
                pin["trunk"] = f"{trunk['id']}.{SIDES[0]}"
            elif str(pin.get("leg", "")).startswith(f"{trunk['id']}:"):
                pin["leg"] = pin["leg"].replace(":", f".{SIDES[0]}:", 1)
    return job
