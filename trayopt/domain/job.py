"""A job with its references resolved and its defaults filled in, and everything that follows from it by counting alone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, field_validator

from trayopt.domain.base import (
    DivideAt,
    Frozen,
    RibbonWord,
    remade,
)
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.digest import first_keys, sha256_of, without_later_defaults
from trayopt.domain.finding import Level
from trayopt.domain.hardware import Enclosure, Place, Reference, TubeSet
from trayopt.domain.pins import LegPin, TrunkPin
from trayopt.domain.ranges import Run, joined
from trayopt.domain.run_text import RunText, read_run
from trayopt.domain.said import said
from trayopt.domain.splicing import Piece, SleeveRun, cut_pieces, least_runs
from trayopt.domain.through import Through
from trayopt.domain.trunk import Trunk


class Join(Frozen):
    """A run of fibres of one trunk, spliced in order to a run of another trunk."""

    model_config = ConfigDict(arbitrary_types_allowed=True)

    a: Annotated[Run, RunText()]
    b: Annotated[Run, RunText()]
    name: Annotated[str, Field(min_length=1, max_length=64)]

    _read = field_validator("a", "b", mode="before")(read_run)


class Apart(Frozen):
    """Joins that must not share a tray (or a stack), because they are diverse routes."""

    joins: Annotated[tuple[str, ...], Field(min_length=2)]
    scope: Literal["tray", "stack"] = "tray"

    @property
    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Every pair of these joins, in the order of the list."""
        return tuple((a, b) for i, a in enumerate(self.joins) for b in self.joins[i + 1 :])


class Setting(Frozen):
    """The setting of one rule in a job: level, weight and parameters, with the rule's defaults filled in.

    ``usual`` holds the default parameters. ``speaks_of`` names the key of the job that the rule is about, if both were added
    together: the rule says nothing of a job without that key.
    """

    level: Level
    weight: Annotated[int, Field(ge=1, le=1_000_000)] = 1
    parameters: Mapping[str, int | float] = {}
    usual: Annotated[Mapping[str, int | float], Field(exclude=True, repr=False)] = {}
    speaks_of: Annotated[str | None, Field(exclude=True, repr=False)] = None

    def lasting(self, at: str) -> dict[str, Any]:
        """Return the setting as plain data, without defaults that version 0.1.0 did not know (see ``digest``)."""
        data = without_later_defaults(self, self.model_dump(mode="json"), at)
        if "parameters" in data:
            data["parameters"] = {
                name: value
                for name, value in data["parameters"].items()
                if f"{at}.parameters.{name}" in first_keys() or self.usual.get(name) != value
            }
        return data


class Job(Frozen):
    """A whole job.

    ``rules`` holds the setting of every rule that has a level; the registry of rules fills it in. ``through`` lists the
    trunks that go through the box; each of them is two of the ``trunks``.
    """

    only_resolved = ("through",)

    schema_: Annotated[Literal["trayopt/job/2"], Field(alias="schema")] = "trayopt/job/2"
    title: Annotated[str, Field(max_length=500)] = ""
    enclosure: Annotated[Enclosure, Reference("enclosure")]
    tubes: Annotated[TubeSet, Reference("tubes")]
    trunks: Annotated[tuple[Trunk, ...], Field(min_length=1, max_length=1000)]
    joins: tuple[Join, ...] = ()
    apart: tuple[Apart, ...] = ()
    rules: Mapping[str, Setting] = {}
    pins: tuple[LegPin | TrunkPin, ...] = ()
    through: tuple[Through, ...] = ()

    @cached_property
    def digest(self) -> str:
        """The digest by which plans name this job: 64 hexadecimal digits; see ``trayopt.domain.digest``."""
        rules = {
            name: setting.lasting(f"rules.{name}")
            for name, setting in self.rules.items()
            if setting.level != "off" and (setting.speaks_of is None or getattr(self, setting.speaks_of))
        }
        data = without_later_defaults(self, self.plain()) | {"rules": rules}
        del data["title"]
        return sha256_of(data)

    def plain(self) -> dict[str, Any]:
        """Return the job as plain data in canonical form, with runs as text.

        Keys that only trunks going through the box have are left out if there are no such trunks.
        """
        data = self.model_dump(mode="json", by_alias=True)
        if not self.through:
            del data["through"]
        for trunk in data["trunks"]:
            if not trunk["uncut"]:
                del trunk["uncut"]
        for join in data["joins"]:
            join["a"], join["b"] = str(Run(*join["a"])), str(Run(*join["b"]))
        for pin in data["pins"]:
            if "leg" in pin:
                pin["leg"] = str(Run(*pin["leg"]))
                for key in ("measured_mm", "tries_left"):
                    if pin[key] is None:
                        del pin[key]
        return data

    @cached_property
    def trunk_by_id(self) -> dict[str, Trunk]:
        """Trunks by id, in the order of the list."""
        return {trunk.id: trunk for trunk in self.trunks}

    @cached_property
    def trunk_rank(self) -> dict[str, int]:
        """Index of each trunk in the list of trunks."""
        return {trunk.id: i for i, trunk in enumerate(self.trunks)}

    @cached_property
    def other_end(self) -> dict[str, str]:
        """For each cable end of a trunk that goes through, the other end."""
        return {end: other for item in self.through for end, other in (item.ends, item.ends[::-1])}

    def ends_of(self, trunk: Trunk) -> tuple[Trunk, ...]:
        """Return both ends of the trunk that goes through, if the trunk is an end of one; otherwise the trunk alone."""
        ends = next((item.ends for item in self.through if trunk.id in item.ends), (trunk.id,))
        return tuple(self.trunk_by_id[end] for end in ends)

    def inside(self, legs: Iterable[Leg]) -> set[str]:
        """Return the trunks that are in the box if these legs are placed: the trunks of the legs, and their other ends."""
        found = {leg.trunk for leg in legs}
        return found | {self.other_end[trunk] for trunk in found if trunk in self.other_end}

    @cached_property
    def subunits(self) -> tuple[Subunit, ...]:
        """Every subunit of every trunk, in order, without the subunits that pass uncut."""
        return tuple(subunit for trunk in self.trunks for subunit in trunk.subunits)

    @cached_property
    def subunit_of_leg(self) -> dict[tuple[str, int], Subunit]:
        """Subunits by (trunk, number), including the subunits that pass uncut."""
        return {(unit.trunk, unit.number): unit for trunk in self.trunks for unit in trunk.units}

    def subunit(self, leg: Leg) -> Subunit:
        """Return the subunit of a leg."""
        return self.subunit_of_leg[leg.trunk, leg.subunit]

    @cached_property
    def pieces(self) -> tuple[Piece, ...]:
        """The joins cut at every ribbon edge of both sides, in the order of the joins, each from the lowest fibre of side a."""
        return cut_pieces(self.joins, self.trunk_by_id)

    @property
    def mixed(self) -> bool:
        """Whether a stack of the box carries trays of several kinds."""
        return any(stack.trays for stack in self.enclosure.stacks)

    @cached_property
    def single_places(self) -> tuple[Place, ...]:
        """Tray places whose sleeves take one fibre each."""
        box = self.enclosure
        return tuple(place for place in box.places if box.tray_at(place).sleeve_fibres == 1)

    @cached_property
    def ribbon_places(self) -> tuple[Place, ...]:
        """Tray places whose sleeves take several fibres each."""
        return tuple(place for place in self.enclosure.places if place not in self.single_places)

    @cached_property
    def ribbons_open(self) -> tuple[Trunk, ...]:
        """Trunks for which the plan decides about the ribbons."""
        return tuple(trunk for trunk in self.trunks if len(trunk.ribbons) > 1)

    @cached_property
    def sleeve_runs(self) -> tuple[SleeveRun, ...]:
        """Longest runs of splices that share sleeves, and so lie in one tray in every plan; the earlier trunk is side a.

        If the ribbon work is open, a run counts the fewest sleeves that it can need.
        """
        return least_runs(self.pieces, self.trunk_by_id, {trunk.id: trunk.ribbons for trunk in self.trunks})

    def with_ribbons(self, work: Mapping[str, RibbonWord]) -> Job:
        """Return this job with the ribbon work of these trunks settled."""
        trunks = (remade(t, ribbons=(work[t.id],)) if t.id in work else t for t in self.trunks)
        return remade(self, trunks=tuple(trunks))

    @cached_property
    def spliced(self) -> dict[tuple[str, int], tuple[tuple[int, int], ...]]:
        """Spliced fibres of each subunit as sorted runs (first, last) that do not touch; none for an idle subunit."""
        runs: dict[tuple[str, int], list[tuple[int, int]]] = {key: [] for key in self.subunit_of_leg}
        for piece in self.pieces:
            for side in (piece.a, piece.b):
                subunit = self.trunk_by_id[side.trunk].subunit_of(side.first)
                runs[side.trunk, subunit.number].append((side.first, side.last))
        return {key: tuple(joined(found)) for key, found in runs.items()}

    def spliced_fibres(self, leg: Leg) -> int:
        """Count the spliced fibres of a leg."""
        first, last = self.subunit(leg).leg_run(leg)
        return sum(
            max(0, min(last, end) - max(first, start) + 1) for start, end in self.spliced[leg.trunk, leg.subunit]
        )

    def spliced_legs(self, subunit: Subunit, of: int) -> tuple[Leg, ...]:
        """Return the legs of a subunit that have splices when it is divided into ``of`` legs, in order."""
        key = (subunit.trunk, subunit.number, of)
        known = self._spliced_legs
        if key not in known:
            known[key] = tuple(leg for leg in subunit.legs(of) if self.spliced_fibres(leg))
        return known[key]

    @cached_property
    def _spliced_legs(self) -> dict[tuple[str, int, int], tuple[Leg, ...]]:
        """Legs with splices of the divisions that were asked for: advice asks for them with every change that it tries."""
        return {}

    def legs_in(self, subunit: Subunit, of: int, at: DivideAt) -> tuple[Leg, ...]:
        """Return the legs of a subunit that lie in trays when it is placed, in order.

        If the trunk is divided at the tray, the opened tube brings all its legs into trays, and idle legs are parked there. If it
        is divided at the port, idle legs stay out of the trays.
        """
        if not self.spliced[subunit.trunk, subunit.number]:
            return ()
        return subunit.legs(of) if at == "tray" else self.spliced_legs(subunit, of)

    def ends(self, leg: Leg) -> int:
        """Return the number of fibre ends that a leg brings into a tray: one for each fibre, spliced or parked."""
        return self.subunit(leg).fibres // leg.of

    def spliced_in(self, trunk: Trunk) -> int:
        """Count the spliced fibres of a trunk."""
        return sum(self.spliced_fibres(subunit.leg(1, 1)) for subunit in trunk.subunits)

    @cached_property
    def joined_pairs(self) -> tuple[tuple[str, str], ...]:
        """Pairs of trunks with a join between them; each pair, and the list of pairs, is in the order of the trunk list."""
        rank = self.trunk_rank
        pairs = {tuple(sorted((join.a.trunk, join.b.trunk), key=rank.__getitem__)) for join in self.joins}
        return tuple((a, b) for a, b in sorted(pairs, key=lambda pair: (rank[pair[0]], rank[pair[1]])))

    @cached_property
    def lead_trunks(self) -> frozenset[str]:
        """Trunks that stand on side a of the first listed join that names them."""
        lead: dict[str, bool] = {}
        for join in self.joins:
            lead.setdefault(join.a.trunk, True)
            lead.setdefault(join.b.trunk, False)
        return frozenset(trunk for trunk, leads in lead.items() if leads)

    @cached_property
    def splices(self) -> int:
        """Number of splices in all joins together."""
        return sum(join.a.count for join in self.joins)

    @property
    def leg_pins(self) -> tuple[LegPin, ...]:
        """Pins of legs."""
        return tuple(pin for pin in self.pins if isinstance(pin, LegPin))

    @property
    def trunk_pins(self) -> tuple[TrunkPin, ...]:
        """Pins of trunks."""
        return tuple(pin for pin in self.pins if isinstance(pin, TrunkPin))

    @property
    def as_built(self) -> Job:
        """The job in which a built trunk has no other way than its pin says; the job itself if no trunk is built."""
        built = {pin.trunk: pin for pin in self.trunk_pins if pin.built}
        if not built:
            return self
        trunks = []
        for trunk in self.trunks:
            pin = built.get(trunk.id, TrunkPin(trunk=trunk.id))
            trunks.append(
                remade(
                    trunk,
                    ports=trunk.ports if pin.port is None else (pin.port,),
                    travel=pin.travel or trunk.travel,
                    loops=trunk.loops if pin.loops is None else (pin.loops,),
                )
            )
        return remade(self, trunks=tuple(trunks))

    def pinned_leg(self, pin: LegPin) -> Leg:
        """Return the leg that a pin names.

        Raises
        ------
        ValueError
            If no division makes a leg of exactly these fibres.
        """
        leg = self.trunk_by_id[pin.leg.trunk].subunit_of(pin.leg.first).leg_of_run(pin.leg.first, pin.leg.last)
        if leg is None:
            raise ValueError(said("{leg} cannot be a leg", leg=pin.leg))
        return leg

    def places_of(self, pin: LegPin) -> tuple[Place, ...]:
        """Tray places that a leg pin allows."""
        return tuple(place for place in self.enclosure.places if pin.admits(place))
