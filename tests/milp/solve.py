"""Goals as sums, one made least after the other, and the decision that has them."""

from __future__ import annotations

from itertools import combinations, product

from tests import oracle
from tests.milp.layout import Cut, Unit
from tests.milp.practice import Ruled
from tests.milp.program import Sum, total


class Goals(Ruled):
    """All rows of a job and the sums of its goals."""

    def __init__(self, facts: oracle.Facts) -> None:
        super().__init__(facts)
        splices = total(-n * self.placed[cut] for (one, _, _), n in self.atoms.items() for cut in one)
        self.goals: dict[str, Sum] = {
            "unplaced": splices + len(facts.splices),
            "broken_must": self.must,
            "broken_prefer": self.prefer,
            "legs": total(self.placed.values()),
            "trays": total(self.used.values()),
            "crossings": self._crossings(),
            "leg_length_mm": total(self.cut_mm(*key) * share for key, share in self.goes.items()),
            "irregular": self._irregular(),
        }

    def _crossings(self) -> Sum:
        """Pairs of travellers of a trunk of which legs cross: own tubes count once, legs in tubes of the set one by one."""
        counted = Sum()
        for one, other in combinations(self.spliced, 2):
            if one[0] == other[0]:
                counted.add(self._between(one, other))
        for unit in self.spliced:
            for legs in self.legs[unit].values():
                for g, h in combinations(legs, 2):
                    counted.add(self.both(self._over(g, h), 1 - self.own[unit]))
        return counted

    def _between(self, one: Unit, other: Unit) -> Sum:
        """Crossings between the travellers of two subunits."""
        first, second = list(self.cuts(unit=one)), list(self.cuts(unit=other))
        crosses = {(g, h): self._over(g, h) for g, h in product(first, second)}
        once, by_first = self.number(), {g: self.number() for g in first}
        by_second = {h: self.number() for h in second}
        counted = total([once, *by_first.values(), *by_second.values()])
        a, b = self.own[one], self.own[other]
        for (g, h), crossing in crosses.items():
            self.implies(once, crossing, a, b)
            self.implies(by_first[g], crossing, 1 - a, b)
            self.implies(by_second[h], crossing, a, 1 - b)
            counted.add(self.both(crossing, 1 - a, 1 - b))
        return counted

    def _over(self, g: Cut, h: Cut) -> Sum:
        """Whether the low of a leg is above that of another one."""
        over = self.choice()
        positions = sorted({position for _, position in self.facts.places})
        for i, position in enumerate(positions):
            self.implies(
                over,
                total(self.low[g, p] for p in positions[i + 1 :]),
                total(self.low[h, p] for p in positions[: i + 1]),
            )
            assert position == positions[i]
        return over

    def _irregular(self) -> Sum:
        """Count steps of lead trunks that do not go to the next stack, and how uneven the stacks in use are."""
        facts, stacks = self.facts, list(self.facts.stacks)
        follows = dict(zip(stacks, [*stacks[1:], stacks[0]], strict=True))
        counted = Sum()
        for t in facts.leads:
            walk = [unit for unit in self.spliced if unit[0] == t]
            for i, j in combinations(range(len(walk)), 2):
                between = [1 - self.laid[unit] for unit in walk[i + 1 : j]]
                off = self.number()
                counted.add(off)
                for stack in stacks:
                    away = total(self.first_spliced[walk[j], s] for s in stacks if s != follows[stack])
                    self.implies(off, self.first_spliced[walk[i], stack], away, *between)
        most = len(facts.places)
        highest, lowest = self.number(most), self.number(most)
        self.at_most(lowest, highest)
        for stack in stacks:
            here = [used for place, used in self.used.items() if place[0] == stack]
            in_use = self.choice()
            for used in here:
                self.at_most(used, in_use)
            self.at_most(in_use, total(here))
            self.at_most(total(here), highest)
            self.at_most(lowest, total(here) + most * (1 - in_use))
        return counted + highest - lowest

    def best(self, order: tuple[str, ...] = oracle.GOALS) -> tuple[oracle.Goals, oracle.Decision] | None:
        """Make the goals least, one after the other; None where built pins leave no plan."""
        found: list[float] | None = None
        for goal in order:
            if found is None or round(self.goals[goal].value(found)):
                least = self.least(self.goals[goal])
                if least is None:
                    assert found is None, f"{goal}: no numbers are found where some were"
                    return None
                found = least[1]
            self.at_most(self.goals[goal], round(self.goals[goal].value(found)))
        assert found is not None
        values = [round(self.goals[goal].value(found)) for goal in oracle.GOALS]
        a, b, c, d, e, f, g, h = values
        return (a, b, c, d, e, f, g, h), self._decision(found)

    def _decision(self, numbers: list[float]) -> oracle.Decision:
        facts = self.facts
        yes = {id(part): round(part.value(numbers)) == 1 for part in self.at.values()}
        legs = {cut: place for (cut, place), part in self.at.items() if yes[id(part)]}
        ks = {
            t: tuple(
                next((k for k in self.legs.get((t, s), ()) if round(self.k[(t, s), k].value(numbers))), 1)
                for s in range(1, len(some) + 1)
            )
            for t, some in facts.subunits.items()
        }
        ways = {t: option for (t, option), part in self.way.items() if round(part.value(numbers))}
        used = {stack for stack, _ in legs.values()}
        ends = {s: end for (s, end), part in self.end.items() if s in used and round(part.value(numbers))}
        at = {t: "port" if round(self.at_port[t].value(numbers)) else "tray" for t in ways}
        words = {t: word for (t, word), part in self.word.items() if t in ways and round(part.value(numbers))}
        placed = {(cut.trunk, cut.subunit, cut.group): place for cut, place in legs.items()}
        return oracle.Decision(ways, ks, placed, ends, at, words)
