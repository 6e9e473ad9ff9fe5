"""A job with its references resolved and its defaults filled in, and what follows from it by counting alone."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from functools import cached_property
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import ConfigDict, Field, GetJsonSchemaHandler, field_validator, model_validator
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from trayopt.domain.base import (
    AS_THEY_ARE,
    DIVIDE_AT,
    SPLIT,
    TRAVELS,
    DivideAt,
    Frozen,
    Id,
    Millimetres,
    RibbonWord,
    Travel,
    remade,
)
from trayopt.domain.cable import WITHOUT_TUBES, Cable
from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.decision import GoesBy
from trayopt.domain.digest import first_keys, sha256_of, without_later_defaults
from trayopt.domain.finding import Level
from trayopt.domain.hardware import Enclosure, Place, Reference, TubeSet
from trayopt.domain.ranges import Run, parse_run
from trayopt.domain.splicing import Piece, SleeveRun, cut_pieces, least_runs
from trayopt.domain.through import Through, ThroughKeys


def ribbon_rank(word: RibbonWord) -> int:
    """Give the rank of what is done with ribbons, the least work first; wider ribbons come after narrower ones."""
    return word if isinstance(word, int) else int(word == SPLIT)


class RunText:
    """Marks a run that a file writes as text, ``N1:1-432``."""

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        """Describe the text in the JSON Schema."""
        del schema, handler
        return {"type": "string", "pattern": "^[^:]+:[0-9]+(-[0-9]+)?$", "description": "trunk:first-last"}


def _read_run(value: object) -> object:
    return value if isinstance(value, Run) else parse_run(value if isinstance(value, str) else "")


class Trunk(Frozen):
    """A cable end that enters the box, and the limits that its owner set for it.

    ``uncut`` are the numbers of the subunits that are not cut, where it is an end of a trunk that goes through the box: they
    are none of its ``subunits``, which are what may be divided and spliced.
    """

    only_written = tuple(ThroughKeys.model_fields)
    only_resolved = ("uncut",)

    id: Id
    cable: Annotated[Cable, Reference("cable")]
    ports: tuple[Id, ...] | Literal["any"] = "any"
    travel: Literal["clockwise", "counterclockwise", "either"] = "either"
    loops: Annotated[tuple[Annotated[int, Field(ge=0, le=9)], ...], Field(min_length=1)] = (1, 2)
    exposed_mm: Annotated[int, Field(ge=0, le=1_000_000)] | None = None
    transition_mm: Millimetres = 0
    divide_at: Annotated[tuple[DivideAt, ...], Field(min_length=1)] = ("tray",)
    idle: Literal["coiled", "cut_back"] = "coiled"
    uncut: tuple[Annotated[int, Field(ge=1)], ...] = ()
    ribbons: Annotated[tuple[RibbonWord, ...], Field(min_length=1)] = (AS_THEY_ARE,)

    @model_validator(mode="before")
    @classmethod
    def _fill_divide_at(cls, data: Any) -> Any:
        """Read one word as a list of it, and fill in both places where the cable has tubes, the port where it has none."""
        if not isinstance(data, dict):
            return data
        given = data.get("divide_at")
        if given is None and "divide_at" not in data:
            cable = data.get("cable")
            if isinstance(cable, dict):
                tubes = cable.get("tubes", cable.get("construction") not in WITHOUT_TUBES)
            else:
                tubes = not isinstance(cable, Cable) or cable.tubes
            return {**data, "divide_at": DIVIDE_AT if tubes else ("port",)}
        if isinstance(given, str):
            given = (given,)
        if isinstance(given, tuple | list) and all(word in DIVIDE_AT for word in given):
            given = tuple(sorted(given, key=DIVIDE_AT.index))
        return {**data, "divide_at": given}

    @model_validator(mode="before")
    @classmethod
    def _list_ribbons(cls, data: Any) -> Any:
        """Read one word as a list of it, and put a list into the order in which the work grows."""
        if not isinstance(data, dict) or "ribbons" not in data:
            return data
        given = data["ribbons"]
        if isinstance(given, str | int):
            given = (given,)
        if isinstance(given, tuple | list) and all(word in (AS_THEY_ARE, SPLIT) or type(word) is int for word in given):
            given = tuple(sorted(given, key=ribbon_rank))
        return {**data, "ribbons": given}

    @cached_property
    def units(self) -> tuple[Subunit, ...]:
        """Every subunit of its cable, 1, 2, 3 … with its fibres, cut or not."""
        made: list[Subunit] = []
        first = 1
        for group in self.cable.subunits:
            for _ in range(group.count):
                made.append(
                    Subunit(
                        self.id,
                        len(made) + 1,
                        first,
                        group.ribbons,
                        group.ribbon_fibres,
                        group.diameter_mm,
                        group.radius_mm,
                    )
                )
                first += made[-1].fibres
        return tuple(made)

    @cached_property
    def subunits(self) -> tuple[Subunit, ...]:
        """Its subunits 1, 2, 3 … with their fibres; of a trunk that goes through, those that are cut."""
        return tuple(unit for unit in self.units if unit.number not in self.uncut)

    @cached_property
    def passing(self) -> tuple[Subunit, ...]:
        """Subunits that pass uncut."""
        return tuple(unit for unit in self.units if unit.number in self.uncut)

    @cached_property
    def _firsts(self) -> tuple[int, ...]:
        return tuple(unit.first for unit in self.units)

    def subunit_of(self, fibre: int) -> Subunit:
        """Give the subunit that holds a fibre of the trunk."""
        return self.units[bisect_right(self._firsts, fibre) - 1]

    @property
    def divided_only_at(self) -> DivideAt | None:
        """The one place at which it may be divided; None where that is the plan's to decide."""
        return self.divide_at[0] if len(self.divide_at) == 1 else None

    def place_of_division(self, divisions: Iterable[int], said: DivideAt | None) -> DivideAt:
        """Give where a plan divides it that has these k of it and says this; where it says nothing, the first place of its list.

        Where it may be divided at the tray, and no subunit makes more than one leg, it counts as divided there.
        """
        if "tray" in self.divide_at and all(of == 1 for of in divisions):
            return "tray"
        return said or self.divide_at[0]

    def own_tube_travels(self, of: int, at: DivideAt) -> bool:
        """Whether a subunit's own tube makes the way for its legs: where it has one and is whole, or opened at a tray only."""
        return self.cable.tubes and (of == 1 or at == "tray")

    @property
    def may_work_ribbons(self) -> bool:
        """Whether its ribbons may be anything but spliced as they are; a plan says of such a trunk what is done with them."""
        return self.ribbons != (AS_THEY_ARE,)

    @property
    def in_ribbons(self) -> bool:
        """Whether its fibres come in ribbons, of which single ones are separated; loose fibres need not be."""
        cable = self.cable
        return cable.construction != "loose_tube" and any(group.ribbon_fibres > 1 for group in cable.subunits)

    @property
    def keeps_or_splits(self) -> tuple[RibbonWord, ...]:
        """What its list has beside ribbons that are made anew."""
        return tuple(word for word in self.ribbons if not isinstance(word, int))

    @property
    def travels(self) -> tuple[Travel, ...]:
        """Directions that its owner allows."""
        return TRAVELS if self.travel == "either" else (self.travel,)

    def allowed_ports(self, enclosure: Enclosure) -> tuple[str, ...]:
        """Ports that its owner allows, in the order of the enclosure."""
        return tuple(port.id for port in enclosure.ports if self.ports == "any" or port.id in self.ports)


class Join(Frozen):
    """A run of one trunk spliced to a run of another, in order."""

    model_config = ConfigDict(arbitrary_types_allowed=True)

    a: Annotated[Run, RunText()]
    b: Annotated[Run, RunText()]
    name: Annotated[str, Field(min_length=1, max_length=64)]

    _read = field_validator("a", "b", mode="before")(_read_run)


class Apart(Frozen):
    """Joins that never share a tray (or a stack): diverse routes."""

    joins: Annotated[tuple[str, ...], Field(min_length=2)]
    scope: Literal["tray", "stack"] = "tray"

    @property
    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Every pair of its joins, as written."""
        return tuple((a, b) for i, a in enumerate(self.joins) for b in self.joins[i + 1 :])


class LegPin(Frozen):
    """A leg whose tray place (or stack, or position) is decided, or built.

    Of a built one may be known at which mark it was measured to reach its entrance, and how often its splices can be made again.
    """

    leg: Annotated[Run, RunText()]
    stack: Id | None = None
    position: Annotated[int, Field(ge=1)] | None = None
    built: bool = False
    measured_mm: Annotated[int, Field(ge=1, le=200_000)] | None = None
    tries_left: Annotated[int, Field(ge=0, le=1_000)] | None = None

    _read = field_validator("leg", mode="before")(_read_run)

    @property
    def subject(self) -> str:
        """Write as in findings: ``N1:1-72``."""
        return str(self.leg)

    def admits(self, place: Place) -> bool:
        """Whether a tray place is as decided, or open."""
        return self.stack in {None, place.stack} and self.position in {None, place.position}


class TrunkPin(Frozen):
    """A trunk of which port, travel, loops, where it is divided or what is done with its ribbons are decided, or built."""

    trunk: Id
    port: Id | None = None
    travel: Travel | None = None
    loops: Annotated[int, Field(ge=0, le=9)] | None = None
    divide_at: DivideAt | None = None
    ribbons: RibbonWord | None = None
    built: bool = False

    @property
    def subject(self) -> str:
        """Write as in findings: the trunk's id."""
        return self.trunk

    @property
    def decision(self) -> GoesBy:
        """What is decided of the trunk."""
        return GoesBy(self.trunk, self.port, self.travel, self.loops, self.divide_at)


class Setting(Frozen):
    """What a job says of one rule, with the rule's own defaults filled in; ``usual`` are those defaults.

    ``speaks_of`` is the key of the job without which the rule says nothing, where it came with that key.
    """

    level: Level
    weight: Annotated[int, Field(ge=1, le=1_000_000)] = 1
    parameters: Mapping[str, int | float] = {}
    usual: Annotated[Mapping[str, int | float], Field(exclude=True, repr=False)] = {}
    speaks_of: Annotated[str | None, Field(exclude=True, repr=False)] = None

    def lasting(self, at: str) -> dict[str, Any]:
        """Give it as plain data without what version 0.1.0 did not know and what holds its default (see ``digest``)."""
        data = without_later_defaults(self, self.model_dump(mode="json"), at)
        if "parameters" in data:
            data["parameters"] = {
                name: value
                for name, value in data["parameters"].items()
                if f"{at}.parameters.{name}" in first_keys() or self.usual.get(name) != value
            }
        return data


class Neighbour(NamedTuple):
    """The other side of a splice."""

    trunk: str
    fibre: int


class Job(Frozen):
    """The whole job; ``rules`` holds every rule that has a level, filled in by the registry of rules.

    ``through`` are the trunks that go through the box; each of them is two of the ``trunks``.
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
        """The name of what a plan for this job is made for: 64 hexadecimal digits; see ``trayopt.domain.digest``."""
        rules = {
            name: setting.lasting(f"rules.{name}")
            for name, setting in self.rules.items()
            if setting.level != "off" and (setting.speaks_of is None or getattr(self, setting.speaks_of))
        }
        data = without_later_defaults(self, self.plain()) | {"rules": rules}
        del data["title"]
        return sha256_of(data)

    def plain(self) -> dict[str, Any]:
        """Give the job as plain data: the canonical form, in which runs are text again.

        What only trunks that go through have is left out where there are none.
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
        """Index of each trunk in the list."""
        return {trunk.id: i for i, trunk in enumerate(self.trunks)}

    @cached_property
    def other_end(self) -> dict[str, str]:
        """The other cable end of each end of a trunk that goes through."""
        return {end: other for item in self.through for end, other in (item.ends, item.ends[::-1])}

    def ends_of(self, trunk: Trunk) -> tuple[Trunk, ...]:
        """Give both ends of a trunk that goes through, as the job has them, for either of them; another trunk alone."""
        ends = next((item.ends for item in self.through if trunk.id in item.ends), (trunk.id,))
        return tuple(self.trunk_by_id[end] for end in ends)

    def inside(self, legs: Iterable[Leg]) -> set[str]:
        """Give the trunks that are in the box where these legs are placed: theirs, and what goes through with them."""
        found = {leg.trunk for leg in legs}
        return found | {self.other_end[trunk] for trunk in found if trunk in self.other_end}

    @cached_property
    def subunits(self) -> tuple[Subunit, ...]:
        """Every subunit of every trunk, in order; those that pass uncut are none."""
        return tuple(subunit for trunk in self.trunks for subunit in trunk.subunits)

    @cached_property
    def subunit_of_leg(self) -> dict[tuple[str, int], Subunit]:
        """Subunits by (trunk, number), those that pass uncut among them."""
        return {(unit.trunk, unit.number): unit for trunk in self.trunks for unit in trunk.units}

    def subunit(self, leg: Leg) -> Subunit:
        """Give the subunit of a leg."""
        return self.subunit_of_leg[leg.trunk, leg.subunit]

    @cached_property
    def pieces(self) -> tuple[Piece, ...]:
        """The joins cut at every ribbon edge of both sides, in the order of the joins, each from its lowest a-fibre up."""
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
    def ribbons_open(self) -> tuple[Trunk, ...]:
        """Trunks of which it is the plan's to decide what is done with their ribbons."""
        return tuple(trunk for trunk in self.trunks if len(trunk.ribbons) > 1)

    @cached_property
    def sleeve_runs(self) -> tuple[SleeveRun, ...]:
        """Longest runs of splices that lie in one tray in every plan and share sleeves; the earlier trunk is side a.

        Where it is open what is done with ribbons, a run counts the sleeves that it needs at least.
        """
        return least_runs(self.pieces, self.trunk_by_id, {trunk.id: trunk.ribbons for trunk in self.trunks})

    def with_ribbons(self, work: Mapping[str, RibbonWord]) -> Job:
        """Give the job in which this is done with the ribbons of these trunks, and nothing else."""
        trunks = (remade(t, ribbons=(work[t.id],)) if t.id in work else t for t in self.trunks)
        return remade(self, trunks=tuple(trunks))

    @cached_property
    def spliced(self) -> dict[tuple[str, int], tuple[tuple[int, int], ...]]:
        """Spliced fibres of each subunit as sorted runs (first, last) that do not touch; none for an idle subunit."""
        runs: dict[tuple[str, int], list[list[int]]] = {key: [] for key in self.subunit_of_leg}
        for piece in self.pieces:
            for side in (piece.a, piece.b):
                subunit = self.trunk_by_id[side.trunk].subunit_of(side.first)
                runs[side.trunk, subunit.number].append([side.first, side.last])
        for found in runs.values():
            found.sort()
            merged: list[list[int]] = []
            for first, last in found:
                if merged and merged[-1][1] + 1 == first:
                    merged[-1][1] = last
                else:
                    merged.append([first, last])
            found[:] = merged
        return {key: tuple((first, last) for first, last in found) for key, found in runs.items()}

    def spliced_fibres(self, leg: Leg) -> int:
        """Count the spliced fibres of a leg."""
        first, last = self.subunit(leg).leg_run(leg)
        return sum(
            max(0, min(last, end) - max(first, start) + 1) for start, end in self.spliced[leg.trunk, leg.subunit]
        )

    def spliced_legs(self, subunit: Subunit, of: int) -> tuple[Leg, ...]:
        """Give the legs of a division that are not idle, in order."""
        return tuple(leg for leg in subunit.legs(of) if self.spliced_fibres(leg))

    def legs_in(self, subunit: Subunit, of: int, at: DivideAt) -> tuple[Leg, ...]:
        """Give the legs of a division that lie in trays where the subunit is in the box, in order.

        A tube that is opened at a tray leaves no leg of it outside, so that its idle legs are parked there; where the trunk is
        divided at the port idle legs stay out.
        """
        if not self.spliced[subunit.trunk, subunit.number]:
            return ()
        return subunit.legs(of) if at == "tray" else self.spliced_legs(subunit, of)

    def ends(self, leg: Leg) -> int:
        """Fibre ends that a leg brings into a tray: each of its fibres is one, spliced or parked."""
        return self.subunit(leg).fibres // leg.of

    def spliced_in(self, trunk: Trunk) -> int:
        """Count the spliced fibres of a trunk."""
        return sum(self.spliced_fibres(subunit.leg(1, 1)) for subunit in trunk.subunits)

    @cached_property
    def joined_pairs(self) -> tuple[tuple[str, str], ...]:
        """Pairs of trunks with a join between them, each in the order of the trunk list, sorted by it."""
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
        """Number of splices of all joins."""
        return sum(join.a.count for join in self.joins)

    @property
    def leg_pins(self) -> tuple[LegPin, ...]:
        """Pins of legs."""
        return tuple(pin for pin in self.pins if isinstance(pin, LegPin))

    @property
    def trunk_pins(self) -> tuple[TrunkPin, ...]:
        """Pins of trunks."""
        return tuple(pin for pin in self.pins if isinstance(pin, TrunkPin))

    def pinned_leg(self, pin: LegPin) -> Leg:
        """Give the leg that a pin names."""
        leg = self.trunk_by_id[pin.leg.trunk].subunit_of(pin.leg.first).leg_of_run(pin.leg.first, pin.leg.last)
        if leg is None:
            raise ValueError(f"{pin.leg} can be no leg")
        return leg

    def places_of(self, pin: LegPin) -> tuple[Place, ...]:
        """Tray places that a leg pin allows."""
        return tuple(place for place in self.enclosure.places if pin.admits(place))
