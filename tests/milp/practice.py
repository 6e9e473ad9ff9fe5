"""Practice rules as rows; each is broken at a subject where its statement in the specification says so."""

from __future__ import annotations

from itertools import combinations, pairwise, product

from tests import oracle
from tests.milp.layout import Cut
from tests.milp.physical import Physical
from tests.milp.program import Sum, total


class Ruled(Physical):
    """All rows of a job: its layout and its rules."""

    def __init__(self, facts: oracle.Facts) -> None:
        super().__init__(facts)
        for part in (
            self._keep_order, self._keep_apart, self._pin, self._travel, self._divide, self._use_stacks, self._tie_trays,
            self._work_ribbons,
        ):  # fmt: skip
            part()

    def _keep_order(self) -> None:
        facts = self.facts
        for stack, position in facts.places:
            under = (stack, position - 1)
            if under in self.used and facts.tray((stack, position)) == facts.tray(under):
                gap = self.used[stack, position] - self.used[under]
                self.at_most(gap, self.broken("no_empty_below", (stack, position)))
        least = facts.rules["reserve"].params["trays"]
        for (stack, position), used in self.used.items():
            if self.asks("reserve") and facts.stacks[stack]["positions"] - position < least:
                self.at_most(used, self.broken("reserve", stack))
        for s, stack_ in facts.stacks.items():
            if self.asks("reserve") and stack_["positions"] < least:
                self.at_most(1, self.broken("reserve", s))

    def _keep_apart(self) -> None:
        facts = self.facts
        holds = (
            {(name, place): self.choice() for name in facts.join_names for place in facts.places} if facts.apart else {}
        )
        for (one, _, join), place in product(self.atoms, facts.places):
            name = facts.join_names[join]
            if (name, place) in holds:
                self.at_most(total(self.at[cut, place] for cut in one), holds[name, place])
        for a, b, scope in facts.apart:
            for here, there in product(facts.places, repeat=2):
                if here == there or (scope == "stack" and here[0] == there[0]):
                    self.implies(self.broken("apart", f"{a}+{b}"), holds[a, here], holds[b, there])

    def _pin(self) -> None:
        for i, pin in enumerate(self.facts.pins):
            kept = [1 - self.broken("pin", i)] if not pin.built else [Sum(constant=1)]
            want = dict(pin.want)
            if pin.subunit:
                cut = Cut(pin.trunk, pin.subunit, pin.group, pin.k)
                stack, position = want.get("stack"), want.get("position")
                there = [
                    here
                    for (c, place), here in self.at.items()
                    if c == cut and stack in (None, place[0]) and position in (None, place[1])
                ]
                self.at_most(kept[0], total(there))
                continue
            at, word = want.pop("divide_at", None), want.pop("ribbons", None)
            self.at_most(kept[0], self.by(pin.trunk, **want))
            if at is not None:
                port = self.at_port[pin.trunk]
                self.at_most(kept[0], port if at == "port" else 1 - port)
            if word is not None:
                self.at_most(kept[0], self.word.get((pin.trunk, word), Sum()))

    def _travel(self) -> None:
        facts = self.facts
        loops = facts.rules["slack_loops"].params
        for (t, option), way in self.way.items():
            if not loops["least"] <= option[2] <= loops["most"]:
                self.at_most(way, self.broken("slack_loops", t))
            if (facts.ports[option[0]].get("turns") or "both") not in ("both", option[1]):
                self.at_most(way, self.broken("natural_travel", t))
        for (a, b), travel in product(facts.joined, oracle.TRAVELS):
            self.implies(
                self.broken("opposite_travel", f"{a}+{b}"), self.by(a, travel=travel), self.by(b, travel=travel)
            )

    def _divide(self) -> None:
        facts = self.facts
        for unit, torn in self.torn.items():
            for part in torn:
                self.at_most(part, self.broken("subunit_together", unit))
        for (unit, k), (other, n) in combinations(self.divided, 2):
            one, two = (facts.subunits[t][s - 1] for t, s in (unit, other))
            alike = (one.ribbons, one.ribbon_fibres) == (two.ribbons, two.ribbon_fibres)
            if unit[0] == other[0] and unit != other and k != n and alike:
                self.implies(self.broken("same_division", unit[0]), self.divided[unit, k], self.divided[other, n])
        for unit, k in self.divided:
            if k > 1 and "tray" in facts.divisions(unit[0]):
                self.implies(self.broken("breakout", unit[0]), self.divided[unit, k], self.at_port[unit[0]])

    def _use_stacks(self) -> None:
        facts = self.facts
        for t in facts.leads:
            walk = [unit for unit in self.spliced if unit[0] == t]
            for i, unit in enumerate(walk):
                for one, other in combinations(facts.stacks, 2):
                    ahead = total(self.first[u, one] - self.first[u, other] for u in walk[: i + 1])
                    over = self.broken("alternate_stacks", unit) + (1 - self.laid[unit])
                    self.at_most(ahead, 1 + i * over)
                    self.at_most(-1 * ahead, 1 + i * over)
        pairs = sorted({facts.pair(x.a, x.b) for x in facts.splices})
        for place in facts.places:
            held = {pair: self.choice() for pair in pairs}
            for cuts, others, _ in self.atoms:
                pair = facts.pair(cuts[0].trunk, others[0].trunk)
                self.at_most(total(self.at[cut, place] for cut in cuts), held[pair])
            self.at_most(total(held.values()), 1 + len(pairs) * self.broken("tray_pair", place))

    def _tie_trays(self) -> None:
        """Trays that opened tubes tie are runs on a stack, for the legs of an opened tube lie one on another."""
        facts = self.facts
        most = facts.rules["tied_trays"].params["trays"]
        tied = {place: self.number() for place in facts.places}
        for unit, by_k in self.legs.items():
            for k, legs in by_k.items():
                for one, other in pairwise(legs):
                    for place in facts.places:
                        up = (place[0], place[1] + 1)
                        if up in self.used:
                            self.implies(tied[place], self.opened[unit, k], self.at[one, place], self.at[other, up])
        for stack, position in facts.places:
            run = [(stack, position + i) for i in range(most + 1)]
            if run[-1] in self.used:
                for place in run:
                    self.implies(self.broken("tied_trays", place), *(tied[p] for p in run[:-1]))

    def _work_ribbons(self) -> None:
        facts = self.facts
        for (t, word), said in self.word.items():
            words = facts.ribbon_words(t)
            if word != "as_they_are" and "as_they_are" in words:
                self.implies(self.broken("ribbon_work", t), self.inside[t], said)
            if isinstance(word, int) and any(isinstance(w, str) for w in words):
                self.implies(self.broken("re_ribbonised", t), self.inside[t], said)
        for (cut, place), here in self.at.items():
            if facts.mixed and not facts.loose(cut.trunk) and facts.tray(place)["sleeve_fibres"] == 1:
                self.at_most(here, self.broken("separated_ribbons", place))
        for cuts, others, _ in self.atoms:
            if facts.mixed and facts.loose(cuts[0].trunk) and facts.loose(others[0].trunk):
                for place in facts.places:
                    if facts.tray(place)["sleeve_fibres"] > 1:
                        here = total(self.at[cut, place] for cut in cuts)
                        self.at_most(here, self.broken("ribbonised_fibres", place))
