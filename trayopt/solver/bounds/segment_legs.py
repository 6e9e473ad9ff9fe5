"""Legs of stretches of fibres: what is known of divisions, and where legs lie that are followed to their places.

Stretches are counted at places (``segment_counts.py``), and most legs are no more than some fibres of such a count. A leg that
holds fibres of several stretches brings all of them to one place, and a leg that a pin asks for lies at its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property

from trayopt.domain.cablework import Leg, Subunit
from trayopt.domain.hardware import Place, Stack
from trayopt.rules.subunit_together import SubunitTogether
from trayopt.rules.variables import Expression, Literal
from trayopt.solver.bounds.stretches import Stretch, Stretches
from trayopt.solver.model import cp_sat
from trayopt.solver.model.base import Base, Key
from trayopt.solver.model.literals import is_false, total
from trayopt.solver.model.posting import Policy


class SegmentLegs(Base):
    """The legs of stretches; whoever counts the stretches makes what is declared here."""

    policy: Policy
    stacks: tuple[Stack, ...]
    stretches: Stretches
    blocks: Sequence[Stretch]
    units: list[int]
    _of_key: Mapping[Key, tuple[int, ...]]
    _divided: Mapping[Key, Mapping[int, cp_sat.IntVar]]
    _together: Mapping[Key, Literal]
    _out_of_box: Mapping[Key, Literal]
    _number: list[dict[Place, Expression]]
    _out: list[Expression]

    def divisions(self, subunit: Subunit) -> tuple[int, ...]:
        """Every k that is open for a subunit."""
        return self._of_key.get((subunit.trunk, subunit.number), ())

    def divided(self, subunit: Subunit, of: int) -> Literal:
        """Whether a subunit is divided by this k."""
        options = self._divided.get((subunit.trunk, subunit.number), {})
        return 1 if len(options) == 1 and of in options else options.get(of, 0)

    def legs(self, subunit: Subunit, of: int) -> tuple[Leg, ...]:
        """Every leg of a division that can be placed."""
        return self.job.legs_in(subunit, of, self.divide_options(self.job.trunk_by_id[subunit.trunk])[0])

    def _at_port(self, key: Key) -> Literal:
        """Whether the trunk of a subunit is divided at the port."""
        return self.divided_at(self.job.trunk_by_id[key[0]], "port")

    def _only_at_tray(self, key: Key) -> bool:
        return is_false(self._at_port(key))

    def _never_parted(self, subunit: Subunit) -> bool:
        """Whether a subunit keeps together in every plan."""
        hard = self.policy.mode(self.job, SubunitTogether()) == "hard"
        return hard or self._only_at_tray((subunit.trunk, subunit.number))

    @cached_property
    def _deepest(self) -> int:
        return max(stack.positions for stack in self.stacks)

    def _up_to(self, i: int) -> list[Expression]:
        """Units of a stretch up to each position on all stacks."""

        def make() -> list[Expression]:
            found: list[Expression] = []
            for p in range(1, self._deepest + 1):
                here = total(number for place, number in self._number[i].items() if place.position == p)
                number = self.number(self.blocks[i].fibres // self.units[i], f"{self.blocks[i]} up to {p}")
                self.require(number == here + (found[-1] if found else 0))
                found.append(number)
            return found

        return self._make(("up to", i), make)

    def _all_or_none(self, i: int) -> bool:
        """Whether a stretch is placed whole or not at all."""
        out = self._out[i]
        return (isinstance(out, int) and not out) or any(key in self._out_of_box for key in self.blocks[i].keys)

    # -- legs at places ----------------------------------------------------------------------------------------------

    def _followed(self, leg: Leg) -> bool:
        """Whether a leg with a splice is followed to its place: what else says that its parts of stretches lie together."""
        parts = self.stretches.parts_of(leg)
        together = self._never_parted(self.job.subunit(leg))
        return len(parts) > 1 and (not together or sum(self.blocks[i].spliced for i in parts) > 1)

    def at(self, leg: Leg, place: Place) -> Literal:
        """Whether a leg is placed at a place: known of legs over several blocks, and of those that are asked for."""
        return self._at_places(leg)[place]

    def _at_places(self, leg: Leg) -> dict[Place, Literal]:
        """Let a leg bring its part of each stretch to one place; one without a splice only where its trunk is divided there."""

        def make() -> dict[Place, Literal]:
            subunit = self.job.subunit(leg)
            found: dict[Place, Literal] = {
                place: self.literal(f"{leg} at {place}", (leg, place)) for place in self.places
            }
            here, divided = total(found.values()), self.divided(subunit, leg.of)
            inside = divided
            if not self.job.spliced_fibres(leg):
                inside = self.both(divided, self.no(self._at_port((leg.trunk, leg.subunit))))
            self.require(here == inside if self.all_placed else here <= inside)
            for i, part in self.stretches.parts_of(leg).items():
                for place, literal in found.items():
                    self.require(self.units[i] * self._number[i][place] >= part * literal)
                if not self.all_placed:
                    self.require(self.units[i] * self._out[i] >= part * (divided - here))
                self._in_turn(leg, i, found)
            return found

        return self._make(("at", leg), make)

    def _in_turn(self, leg: Leg, i: int, at: Mapping[Place, Literal]) -> None:
        """Let a leg lie no nearer to the base than what comes before it in a stretch of a subunit that keeps together."""
        key, unit = (leg.trunk, leg.subunit), self.units[i]
        together = self._together[key]
        if is_false(together) or not self._all_or_none(i):
            return
        before = max(0, self.job.subunit(leg).leg_run(leg)[0] - self.stretches.first_fibre(key, i))
        ends = before + self.stretches.parts_of(leg)[i]
        up_to = self._up_to(i)
        for place, here in at.items():
            if place.position > 1:
                self.require(up_to[place.position - 2] <= before // unit, here, together)
            self.require(up_to[place.position - 1] >= -(-ends // unit), here, together)
