"""Physical rules as rows; each is broken at a subject where its statement in the specification says so."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations, product

from tests import oracle
from tests.milp.layout import Cut, Layout, Unit
from tests.milp.program import Sum, total
from tests.oracle import EPS, Place

STEP_MM = 50
MOST_STEPS = 2_000
"""No leg of a tiny job is longer than so many steps."""


class Physical(Layout):
    """Rows of a layout and of physical rules, and what broken rules cost."""

    def __init__(self, facts: oracle.Facts) -> None:
        super().__init__(facts)
        self.must, self.prefer = Sum(), Sum()
        self._known: dict[tuple[str, str], Sum] = {}
        for part in (
            self._fill_trays, self._use_sleeves, self._enter_trays, self._bend, self._go_far_enough, self._open_windows,
            self._fill_guides, self._seal_ports,
        ):  # fmt: skip
            part()

    def broken(self, rule: str, subject: object) -> Sum:
        """Whether a rule is broken at a subject: a number that costs what the job says, 0 where no plan breaks the rule."""
        key = rule, str(subject)
        if key not in self._known:
            self._known[key] = Sum() if self.facts.hard(rule) else self.choice()
            must, prefer = self.facts.cost(rule)
            self.must.add(must * self._known[key])
            self.prefer.add(prefer * self._known[key])
        return self._known[key]

    def asks(self, rule: str) -> bool:
        """Whether a rule is not off."""
        return self.facts.rules[rule].level != "off"

    # -- trays -------------------------------------------------------------------------------------------------------

    def _fill_trays(self) -> None:
        for place in self.facts.places:
            ends = total(len(self.fibres(cut)) * self.at[cut, place] for cut in self.cuts())
            most = sum(subunit.last for some in self.facts.subunits.values() for subunit in some)
            over = most * self.broken("tray_fibres", place)
            self.at_most(ends, over + 2 * self.facts.tray(place)["fibres"])

    def _use_sleeves(self) -> None:
        """Sleeves hang on what is done with ribbons; the splices of a run lie in one tray whatever the divisions are."""
        facts = self.facts
        self.word = {(t, word): self.choice() for t in facts.trunks for word in facts.ribbon_words(t)}
        for t in facts.trunks:
            self.equal(total(self.word[t, word] for word in facts.ribbon_words(t)), 1)
        for place in facts.places:
            size = facts.tray(place)["sleeve_fibres"]
            used = []
            for a, b in sorted({facts.pair(x.a, x.b) for x in facts.splices}):
                for one, other in product(facts.ribbon_words(a), facts.ribbon_words(b)):
                    some = []
                    for first, length in self._runs(a, b, one, other):
                        there = total(self.at[cut, place] for cut in self.holders(a, first))
                        some.append(math.ceil(length / size) * there)
                    alone = len(facts.ribbon_words(a)) == len(facts.ribbon_words(b)) == 1
                    if not alone:
                        most = sum(math.ceil(length / size) for _, length in self._runs(a, b, one, other))
                        here = self.number(most)
                        self.at_most(total(some) - most * (2 - self.word[a, one] - self.word[b, other]), here)
                        some = [here]
                    used += some
            over = len(facts.splices) * self.broken("tray_sleeves", place)
            self.at_most(total(used), over + facts.tray(place)["sleeves"])

    def _runs(self, a: str, b: str, one: str | int, other: str | int) -> list[tuple[int, int]]:
        """First fibre of a, and length, of the longest runs that may share sleeves."""
        pairs = sorted(
            (x.a_fibre, x.b_fibre) if x.a == a else (x.b_fibre, x.a_fibre)
            for x in self.facts.splices
            if {x.a, x.b} == {a, b}
        )
        runs: list[tuple[int, int]] = []
        for i, (f, g) in enumerate(pairs):
            follows = i > 0 and pairs[i - 1] == (f - 1, g - 1)
            edges = [self._edge(t, x) for t, x in ((a, f), (b, g))] if follows else []
            made = self._made_edge(a, one, f) or self._made_edge(b, other, g)
            if edges and not made and not any(new for new, _ in edges) and not all(old for _, old in edges):
                runs[-1] = (runs[-1][0], runs[-1][1] + 1)
            else:
                runs.append((f, 1))
        return runs

    def _edge(self, t: str, fibre: int) -> tuple[bool, bool]:
        """Whether a subunit begins at a fibre, and whether a ribbon of the cable does."""
        subunit = self.facts.subunits[t][self.facts.subunit_of[t, fibre] - 1]
        at = fibre - subunit.first
        return at == 0, at % subunit.ribbon_fibres == 0

    def _made_edge(self, t: str, word: str | int, fibre: int) -> bool:
        """Whether a ribbon begins at a fibre as ribbons are when they are spliced."""
        subunit = self.facts.subunits[t][self.facts.subunit_of[t, fibre] - 1]
        if word == "split":
            return False
        width = subunit.ribbon_fibres if word == "as_they_are" else int(word)
        return (fibre - subunit.first) % width == 0

    def _enter_trays(self) -> None:
        for place, travel in product(self.facts.places, oracle.TRAVELS):
            entering = []
            for t in self.facts.trunks:
                legs = [self.at[cut, place] for cut in self.cuts(trunk=t)]
                here = self.number(len(legs))
                self.at_most(total(legs) - len(legs) * (1 - self.by(t, travel=travel)), here)
                entering.append(here)
            over = sum(1 for _ in self.cuts()) * self.broken("entrance_legs", place)
            self.at_most(total(entering), over + self.facts.tray(place)["entrance_legs"])

    def _bend(self) -> None:
        """Tubes round the track, fibres in trays; a leg that no tube holds is in no plan."""
        facts = self.facts
        for unit, k in self.divided:
            for at in oracle.DIVISIONS:
                here = [self.divided[unit, k], self.at_port[unit[0]] if at == "port" else 1 - self.at_port[unit[0]]]
                goes = facts.traveller(*unit, k, at)
                if goes is None:
                    self.implies(0, *here)
                elif goes[1] > facts.track_radius_mm + EPS:
                    self.implies(self.broken("bend_radius", unit), *here)
        for item in facts.through:
            for s in facts.uncut[item.ends[0]]:
                if facts.subunits[item.ends[0]][s - 1].least_radius_mm > facts.track_radius_mm + EPS:
                    self.implies(self.broken("bend_radius", (item.ends[0], s)), self.inside[item.ends[0]])
        for (cut, place), there in self.at.items():
            least = oracle.FIBRE_RADIUS_MM[facts.trunks[cut.trunk]["cable"].get("fibre") or "G.652.D"]
            if facts.tray(place)["min_radius_mm"] < least - EPS:
                self.at_most(there, self.broken("fibre_bend", cut.unit))

    # -- lengths and guides ------------------------------------------------------------------------------------------

    def cut_mm(self, cut: Cut, place: Place, option: oracle.Option, end: str) -> int:
        """Length to which a leg is cut."""
        return self.facts.cut_mm(cut.trunk, option[2], self._route(place, option, end))

    def _route(self, place: Place, option: oracle.Option, end: str) -> int:
        rise = self.facts.rise_mm(place) + self.facts.more_inside_mm(place)
        return self.facts.base_mm(option, place[0], end) + rise

    def _go_far_enough(self) -> None:
        """Reach the bench, strip no more than may be."""
        facts = self.facts
        bench = facts.rules["reach"].params["bench_mm"]
        for (cut, place, option, end), share in self.goes.items():
            if self._route(place, option, end) - facts.tray(place)["inside_mm"] < bench:
                self.at_most(share, self.broken("reach", cut.trunk))
            most = facts.trunks[cut.trunk].get("exposed_mm")
            if most is not None and cut.trunk not in facts.other_end and self.cut_mm(cut, place, option, end) > most:
                self.at_most(share, self.broken("exposed", cut.trunk))
        for (t, option), way in self.way.items():
            most = facts.trunks[t].get("exposed_mm")
            if most is not None and t not in facts.other_end and facts.strip_mm(option[2], [0]) > most:
                self.at_most(way, self.broken("exposed", t))

    def _open_windows(self) -> None:
        """Make the window of a trunk that goes through as long as both ends of a cut tube, and as what is uncut needs for that.

        Everything here is counted in steps of 50 mm, in which lengths are cut.
        """
        facts = self.facts
        self.passing: list[tuple[str, list[int], int, Sum]] = []
        """Trunk, direct way and loops of what passes uncut, and whether that is so."""
        for item in facts.through:
            one, other = item.ends
            far = {(t, s): self.number(MOST_STEPS) for t in item.ends for s in range(1, len(facts.subunits[t]) + 1)}
            for (cut, place, option, end), share in self.goes.items():
                if cut.unit in far:
                    self.at_most(self.cut_mm(cut, place, option, end) // STEP_MM * share, far[cut.unit])
            for unit, longest in far.items():
                for option in self.options(unit[0]):
                    capped = facts.capped_mm(unit[0], option) // STEP_MM
                    laid = self.laid.get(unit, Sum())
                    self.at_most(capped * (self.way[unit[0], option] - laid), longest)
            need = self.number(2 * MOST_STEPS)
            for s in range(1, len(facts.subunits[one]) + 1):
                if s not in facts.uncut[one]:
                    self.at_most(far[one, s] + far[other, s], need)
            length = self._uncut(item, need) if facts.uncut[one] else need
            for rule, subject, most in (
                ("sheath_window", item.trunk, item.slack_mm),
                *(("exposed", t, facts.trunks[t].get("exposed_mm")) for t in item.ends),
            ):
                if most is not None:
                    self.at_most(length, most // STEP_MM + 2 * MOST_STEPS * self.broken(rule, subject))

    def _uncut(self, item: oracle.Through, need: Sum) -> Sum:
        """Loops of what passes uncut, and the window that it fills."""
        facts = self.facts
        one, other = item.ends
        length, chosen = Sum(), []
        for way, back in product(self.options(one), self.options(other)):
            direct, straight = facts.passage(item, way, back)
            for loops in range(9):
                allowance = facts.rules["exposed"].params["allowance_mm"] * (1 + loops)
                here = self.choice()
                self.at_most(here, self.way[one, way])
                self.at_most(here, self.way[other, back])
                chosen.append(here)
                self.passing.append((one, direct, loops, here))
                length.add(math.ceil((straight + loops * facts.ring_mm + allowance) / STEP_MM) * here)
        self.equal(total(chosen), self.inside[one])
        self.at_most(need - 2 * MOST_STEPS * (1 - self.inside[one]), length)
        return length

    def _fill_guides(self) -> None:
        facts = self.facts
        fill = facts.rules["guide_fill"].params["fill"]
        for i, guide in enumerate(facts.guides):
            area = total(self._passes(i))
            most = fill * guide["opening_mm2"] + EPS
            self.at_most(area, most + 10**5 * self.broken("guide_fill", guide["id"]))

    def _passes(self, guide: int) -> Iterator[Sum]:
        """Give the area of what passes a guide."""
        facts = self.facts
        for t, direct, loops, here in self.passing:
            for s in facts.uncut[t]:
                yield _area(facts.subunits[t][s - 1].diameter_mm) * (loops + (guide in direct)) * here
        for t, s in self.units:
            if s in facts.uncut[t]:
                continue
            tube = _area(facts.subunits[t][s - 1].diameter_mm)
            laid = self.laid.get((t, s), Sum())
            for loops in {option[2] for option in self.options(t)} if facts.coiled(t) else ():
                yield tube * loops * self.both(self.by(t, loops=loops), 1 - laid)
            if (t, s) in self.laid:
                yield from self._own_passes((t, s), guide, tube)
                yield from self._leg_passes((t, s), guide)

    def _direct(self, cut: Cut, guide: int) -> Sum:
        """Whether a guide is on the direct way of a leg."""
        return total(
            share
            for (c, place, option, end), share in self.goes.items()
            if c == cut and guide in self.facts.direct_way(option, place[0], end)[0]
        )

    def _own_passes(self, unit: Unit, guide: int, tube: float) -> Iterator[Sum]:
        """Give the passes of a subunit's own tube, once for all its legs, along the way of the first."""
        for loops in {option[2] for option in self.options(unit[0])}:
            yield tube * loops * self.both(self.by(unit[0], loops=loops), self.laid[unit], self.own[unit])
        first = total(self._direct(legs[0], guide) for legs in self.legs[unit].values())
        yield tube * self.both(first, self.own[unit])

    def _leg_passes(self, unit: Unit, guide: int) -> Iterator[Sum]:
        """Give the passes of legs in tubes of the set; those that are not placed are coiled where the trunk coils."""
        facts = self.facts
        for k, legs in self.legs[unit].items():
            tube = facts.leg_tube(*unit, k)
            if tube is None:
                continue
            area = _area(tube["diameter_mm"])
            for cut in legs:
                there = self.divided[unit, k] if facts.coiled(unit[0]) else self.placed[cut]
                for loops in {option[2] for option in self.options(unit[0])}:
                    yield area * loops * self.both(self.by(unit[0], loops=loops), there, 1 - self.own[unit])
                yield area * self.both(self._direct(cut, guide), 1 - self.own[unit])

    def _seal_ports(self) -> None:
        facts = self.facts
        size = {t: trunk["cable"]["diameter_mm"] for t, trunk in facts.trunks.items()}
        for p, port in facts.ports.items():
            over = self.broken("port_seal", p)
            enters = {t: self.by(t, port=p) for t in facts.trunks}
            seals = [(seal, self.choice()) for seal in port.get("seals") or []]
            self.at_most(total(n for _, n in seals), 1)
            self.at_most(total(enters.values()), total(s["holes"] * n for s, n in seals) + len(size) * over)
            for t, enter in enters.items():
                fits = [n for s, n in seals if s["least_mm"] - EPS <= size[t] <= s["most_mm"] + EPS]
                self.at_most(enter, total(fits) + over)
                if size[t] > port["bore_mm"] + EPS:
                    self.at_most(enter, over)
            for a, b in combinations(size, 2):
                if size[a] + size[b] > port["bore_mm"] + EPS:
                    self.at_most(enters[a] + enters[b], 1 + over)
            for n in range(1, len(size) + 1):
                for some in combinations(size, n):
                    if sum(size[t] ** 2 for t in some) > port["bore_mm"] ** 2 + EPS:
                        self.implies(over, *(enters[t] for t in some))
                    if self.asks("port_fill") and facts.port_full(p, some):
                        rest = [1 - enters[t] for t in size if t not in some]
                        self.implies(self.broken("port_fill", p), *(enters[t] for t in some), *rest)


def _area(diameter_mm: float) -> float:
    return math.pi * diameter_mm**2 / 4
