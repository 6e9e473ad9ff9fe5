"""Ways out that add hardware or change practice, each the least that is enough, proven by solving the changed job."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import ceil, floor, pi, sqrt
from typing import Any

from trayopt.domain.base import EPSILON, SPLIT, DivideAt, RibbonWord, ceil_to, remade
from trayopt.domain.hardware import Enclosure, Port, Seal, Tray, TubeSet
from trayopt.domain.job import Job
from trayopt.domain.trunk import Trunk, ribbon_rank
from trayopt.explainer.amounts import growing, least
from trayopt.explainer.changes import Added, Change, cost_of
from trayopt.explainer.costs import Costs
from trayopt.explainer.other_boxes import has_all_named, joined_sets, only
from trayopt.explainer.proof import Prover
from trayopt.explainer.slack import more_slack
from trayopt.library.soundness import remarks
from trayopt.rules.base import Help
from trayopt.rules.exposed import Exposed
from trayopt.rules.guide_fill import GuideFill
from trayopt.rules.reach import Reach
from trayopt.rules.registry import RULES, in_box
from trayopt.rules.slack_loops import SlackLoops
from trayopt.solver.conflict.feasibility import Trials
from trayopt.solver.conflict.minimal import corrections
from trayopt.track.laid import Laid
from trayopt.track.lengths import CUT_STEP_MM

BENCH_STEP_MM = 50
GUIDE_STEP_MM2 = 100
SEAL_SLACK_MM = 2
"""A seal takes cables that are thinner by so much than the thinnest it is for."""
MORE_TRAYS = 4
"""A stack is made at most so many times as deep."""


@dataclass(frozen=True)
class Shelf:
    """What is at hand in the library."""

    trays: Sequence[Tray] = ()
    tubes: Sequence[TubeSet] = ()
    boxes: Sequence[Enclosure] = ()
    box_file: str | None = None
    """The file of the job's own box, as the job names it; None where the box has none or is one of the library."""
    job_file: str | None = None
    """The file of the job; None where it has none."""


class Adding:
    """Everything that can be added to a job whose conflicts name these rules."""

    def __init__(self, trials: Trials, rules: frozenset[str], shelf: Shelf, prover: Prover, costs: Costs) -> None:
        self.trials, self.job = trials, trials.question.job
        self.rules, self.shelf, self.prover, self.costs = rules, shelf, prover, costs

    def changes(self) -> Iterator[Change]:
        """Give every change that is proven to be enough, the kinds that cost least first."""
        kinds: dict[Help, Callable[[], Iterator[Change]]] = {
            "bench": self._bench,
            "loops": self._loops,
            "exposed": self._exposed,
            "slack": lambda: more_slack(self.job, self.prover, self.costs, self._enough),
            "seals": self._seals,
            "trays": self._trays,
            "tubes": self._tubes,
            "divide_at": self._divide_at,
            "ribbons": self._ribbons,
            "tray_types": self._tray_types,
            "guides": self._guides,
            "box": self._other_box,
        }
        helped = {helped for rule in RULES if rule.id in self.rules for helped in rule.helped_by}
        for name, kind in kinds.items():
            if self.prover.clock.over:
                return
            if name in helped or not self.rules:
                yield from self._marked(kind())
        if not self.prover.clock.over:
            yield from self._boxes()

    def _marked(self, changes: Iterator[Change]) -> Iterator[Change]:
        """Mark changes of which it was not settled on the way whether less would be enough."""
        before = self.prover.unsettled
        for change in changes:
            yield replace(change, least=self.prover.unsettled == before)
            before = self.prover.unsettled

    def _enough(self, make: Callable[[int], Job]) -> Callable[[int], bool]:
        return lambda amount: self.prover.possible(make(amount)) is True

    # -- lengths -----------------------------------------------------------------------------------------------------

    def _bench(self) -> Iterator[Change]:
        """Bring the bench nearer."""
        now = Reach().parameters(self.job).bench_mm

        def make(nearer: int) -> Job:
            setting = self.job.rules[Reach.id]
            parameters = {**setting.parameters, "bench_mm": max(0, now - nearer * BENCH_STEP_MM)}
            return remade(self.job, rules={**self.job.rules, Reach.id: remade(setting, parameters=parameters)})

        steps = least(0, ceil(now / BENCH_STEP_MM), self._enough(make))
        if steps is not None:
            bench = max(0, now - steps * BENCH_STEP_MM)
            yield Change(make(steps), self.costs.bench, add=(Added("bench_mm", Reach.id, bench),))

    def _loops(self) -> Iterator[Change]:
        """Let trunks make one loop more than their owners allow, one by one, then all of them."""
        most = SlackLoops().parameters(self.job).most
        able = [trunk for trunk in self._spliced() if max(trunk.loops) < most]

        def loops(trunk: Trunk) -> dict[str, Any]:
            return {"loops": (*trunk.loops, max(trunk.loops) + 1)}

        yield from self._trunks(
            able, loops, lambda trunk: Added("loops", trunk.id, max(trunk.loops) + 1), self.costs.loops
        )

    def _exposed(self) -> Iterator[Change]:
        """Expose more of a trunk."""
        short = [trunk for trunk in self._spliced() if trunk.exposed_mm is not None]
        freed = self._with(short, lambda _: {"exposed_mm": None})
        plan = self.prover.assignment(freed) if short else None
        if plan is None:
            return
        lengths = Exposed().parameters(freed)
        laid = Laid(freed, plan)
        needed = {trunk.id: lengths.strip_of(laid, trunk.id) for trunk in short if trunk.id in laid.ways}
        over = [trunk for trunk in short if needed.get(trunk.id, 0) > (trunk.exposed_mm or 0)]
        chosen = {trunk.id: max(needed[trunk.id], trunk.exposed_mm or 0) for trunk in over}
        for trunk in over:
            now = trunk.exposed_mm or 0

            def make(steps: int, trunk: Trunk = trunk, now: int = now) -> Job:
                wanted = {**chosen, trunk.id: now + steps * CUT_STEP_MM}
                return self._with(over, lambda one: {"exposed_mm": wanted[one.id]})

            steps = least(0, ceil((chosen[trunk.id] - now) / CUT_STEP_MM), self._enough(make))
            if steps is not None:
                chosen[trunk.id] = ceil_to(now + steps * CUT_STEP_MM, CUT_STEP_MM)
        job = self._with(over, lambda one: {"exposed_mm": chosen[one.id]})
        if over and self.prover.possible(job):
            added = tuple(Added("exposed_mm", trunk.id, chosen[trunk.id]) for trunk in over)
            yield Change(job, self.costs.exposed * len(over), add=added)

    # -- ports and track ---------------------------------------------------------------------------------------------

    def _seals(self) -> Iterator[Change]:
        """Give a port one more seal, for as few cables as are enough; where its bore does not take them, make it larger."""
        for i in range(len(self.job.enclosure.ports)):
            found = self._another_seal(i) or self._larger_port(i)
            if found is not None:
                yield found

    def _another_seal(self, i: int) -> Change | None:
        port = self.job.enclosure.ports[i]
        thin = [d for d in self._diameters() if d <= port.bore_mm]
        if not thin:
            return None
        all_thin = Seal(holes=1, least_mm=float(floor(min(thin))), most_mm=float(max(thin)))

        def make(holes: int) -> Job:
            return self._port(i, remade(all_thin, holes=holes))

        holes = growing(self._enough(make), len(thin))
        if holes is None:
            return None
        seal = self._seal_for(self._entering(make(holes), port) or thin, holes)
        job = self._port(i, seal) if seal.most_mm <= port.bore_mm else make(holes)
        if self._unsound(job) or not self.prover.possible(job):
            return None
        return Change(job, self.costs.seal, add=(Added("seal_holes", port.id, holes),))

    def _larger_port(self, i: int) -> Change | None:
        port, thick = self.job.enclosure.ports[i], sorted(self._diameters(), reverse=True)

        def make(holes: int) -> Job:
            return self._port(i, self._seal_for(thick, holes), _bore_for(thick[:holes]))

        holes = growing(self._enough(make), len(thick))
        entering = [] if holes is None else self._entering(make(holes), port)
        bore_mm = _bore_for(entering)
        if bore_mm <= port.bore_mm:
            return None
        for seal in (None, self._seal_for(entering, len(entering))):
            job = self._port(i, seal, bore_mm)
            if not self._unsound(job) and self.prover.possible(job):
                return Change(job, self.costs.port, add=(Added("bore_mm", port.id, bore_mm),))
        return None

    def _diameters(self) -> list[float]:
        return [trunk.cable.diameter_mm for trunk in self._spliced()]

    def _entering(self, job: Job, port: Port) -> list[float]:
        """Give the diameters of the trunks that enter at a port in the plan of a changed job."""
        plan = self.prover.assignment(job)
        ways = {} if plan is None else plan.ways
        return [t.cable.diameter_mm for t in self._spliced() if t.id in ways and ways[t.id].port == port.id]

    def _seal_for(self, diameters_mm: Sequence[float], holes: int) -> Seal:
        """Give a seal that takes cables of these diameters, and some that are a little thinner."""
        least_mm = max(0.0, float(floor(min(diameters_mm))) - SEAL_SLACK_MM)
        return Seal(holes=holes, least_mm=least_mm, most_mm=float(ceil(max(diameters_mm))))

    def _port(self, i: int, seal: Seal | None, bore_mm: float = 0) -> Job:
        """Give the job with a seal more at a port, and a bore of so much at least."""
        port = self.job.enclosure.ports[i]
        seals = port.seals if seal is None else (*port.seals, seal)
        changed = remade(port, seals=seals, bore_mm=max(port.bore_mm, bore_mm))
        return self._box(ports=_put(self.job.enclosure.ports, i, changed))

    def _guides(self) -> Iterator[Change]:
        """Widen the fewest guides that are enough, each by as little as is."""
        groups = self.trials.question.by_rule.get(GuideFill.id, frozenset())
        dropped = corrections(self.trials, [], 1, lambda group: cost_of(group, self.costs), groups)
        plan = self.trials.plan(frozenset(self.trials.question.groups) - dropped[0]) if dropped else None
        if plan is None:
            return
        fill = GuideFill().parameters(self.job).fill
        laid, guides = Laid(self.job, plan.assignment), self.job.enclosure.track.guides
        wide: dict[int, int] = {}
        for i, guide in enumerate(guides):
            area = sum(times * pi * item.diameter_mm**2 / 4 for item, times in laid.passes(guide.id))
            if area > fill * guide.opening_mm2:
                wide[i] = ceil_to(ceil(area / fill), GUIDE_STEP_MM2)
        for i in list(wide):
            now = guides[i].opening_mm2

            def make(steps: int, i: int = i, now: float = now) -> Job:
                return self._opened({**wide, i: floor(now) + steps * GUIDE_STEP_MM2})

            steps = least(-1, ceil((wide[i] - now) / GUIDE_STEP_MM2), self._enough(make), steps=6)
            if steps == 0:
                del wide[i]
            elif steps is not None:
                wide[i] = floor(now) + steps * GUIDE_STEP_MM2
        job = self._opened(wide)
        if wide and self.prover.possible(job):
            added = tuple(Added("opening_mm2", guides[i].id, size) for i, size in wide.items())
            yield Change(job, self.costs.guide * len(wide), add=added)

    def _opened(self, wide: dict[int, int]) -> Job:
        track = self.job.enclosure.track
        guides = tuple(
            remade(guide, opening_mm2=float(wide[i])) if i in wide else guide for i, guide in enumerate(track.guides)
        )
        return self._box(track=remade(track, guides=guides))

    # -- trays -------------------------------------------------------------------------------------------------------

    def _trays(self) -> Iterator[Change]:
        """Make a stack deeper, or where that is not enough all stacks."""
        stacks = self.job.enclosure.stacks
        choices: list[tuple[int, ...]] = [(i,) for i in range(len(stacks))]
        if len(stacks) > 1:
            choices.append(tuple(range(len(stacks))))
        found = False
        for chosen in choices:
            if len(chosen) > 1 and found and len(chosen) != len(stacks):
                continue

            def make(more: int, chosen: tuple[int, ...] = chosen) -> Job:
                deeper = list(stacks)
                for i in chosen:
                    deeper[i] = remade(stacks[i], positions=stacks[i].positions + more)
                return self._box(stacks=tuple(deeper))

            deepest = (MORE_TRAYS - 1) * max(stacks[i].positions for i in chosen)
            room = next((more - 1 for more in range(1, deepest + 1) if self._unsound(make(more))), deepest)
            more = growing(self._enough(make), room) if room else None
            if more is None:
                continue
            found = True
            added = tuple(Added("trays", stacks[i].id, more) for i in chosen)
            yield Change(make(more), self.costs.trays * more * len(chosen), add=added)

    def _unsound(self, job: Job) -> bool:
        """Whether a changed box cannot be built as drawn, though the box that the job has can."""
        before = {remark.message for remark in remarks(self.job.enclosure) if remark.level == "error"}
        return any(remark.level == "error" and remark.message not in before for remark in remarks(job.enclosure))

    def _tray_types(self) -> Iterator[Change]:
        """Put trays of the next larger types of the library into one stack, or into all."""
        stacks = self.job.enclosure.stacks
        choices: list[tuple[int, ...]] = [(i,) for i in range(len(stacks))]
        if len(stacks) > 1:
            choices.append(tuple(range(len(stacks))))
        for chosen in choices:
            for tray in self._larger(stacks[chosen[0]].tray):
                changed = list(stacks)
                for i in chosen:
                    changed[i] = remade(stacks[i], tray=tray)
                job = self._box(stacks=tuple(changed))
                if self._unsound(job) or not self.prover.possible(job):
                    continue
                added = tuple(Added("tray", stacks[i].id, tray.id) for i in chosen)
                yield Change(job, self.costs.tray_type * len(chosen), add=added)
                break

    def _larger(self, now: Tray) -> list[Tray]:
        """Give the trays of the library that hold more, the smallest first."""
        found = [
            tray
            for tray in self.shelf.trays
            if (tray.fibres, tray.sleeves) != (now.fibres, now.sleeves)
            and tray.fibres >= now.fibres
            and tray.sleeves >= now.sleeves
        ]
        return sorted(found, key=lambda tray: (tray.fibres, tray.sleeves, tray.id))

    # -- trunks ------------------------------------------------------------------------------------------------------

    def _tubes(self) -> Iterator[Change]:
        """Take another set of tubes of the library."""
        for tubes in self.shelf.tubes:
            job = remade(self.job, tubes=tubes)
            if tubes != self.job.tubes and self.prover.possible(job):
                yield Change(job, self.costs.tubes, add=(Added("tubes", "job", tubes.id),))

    def _divide_at(self) -> Iterator[Change]:
        """Let trunks be divided at the other place as well, one by one, then all that are divided alike; or only at the port.

        A trunk that is divided at the port alone breaks out there by the job's own word, so that no rule counts it.
        """
        able = [trunk for trunk in self._spliced() if trunk.cable.tubes]
        changed: tuple[tuple[DivideAt, ...], ...] = (("tray", "port"), ("port",))
        for now in (("port",), ("tray",), ("tray", "port")):
            mine = [trunk for trunk in able if trunk.divide_at == now]
            for there in (other for other in changed if other != now):
                found = False
                for change in self._trunks(
                    mine,
                    lambda _, there=there: {"divide_at": there},  # type: ignore[misc]
                    lambda trunk, there=there: Added("divide_at", trunk.id, " or ".join(there)),  # type: ignore[misc]
                    self.costs.divide_at,
                ):
                    found = True
                    yield change
                if found:
                    break

    def _ribbons(self) -> Iterator[Change]:
        """Let ribbons be split, or made as wide as those of the other side, trunk by trunk, then all of them."""
        able = {trunk: self._other_words(trunk) for trunk in self._spliced() if trunk.id not in self.job.other_end}
        for word in sorted({word for words in able.values() for word in words}, key=ribbon_rank):
            yield from self._trunks(
                [trunk for trunk, words in able.items() if word in words],
                lambda trunk, word=word: {"ribbons": tuple(sorted((*trunk.ribbons, word), key=ribbon_rank))},  # type: ignore[misc]
                lambda trunk, word=word: Added("ribbons", trunk.id, word),  # type: ignore[misc]
                self.costs.ribbons,
            )

    def _other_words(self, trunk: Trunk) -> list[RibbonWord]:
        """Give what may be done with ribbons beside a trunk's own list: split them, or make them as wide as those they meet."""
        pairs = [pair for pair in self.job.joined_pairs if trunk.id in pair]
        met = {
            group.ribbon_fibres
            for pair in pairs
            for other in pair
            if other != trunk.id
            for group in self.job.trunk_by_id[other].cable.subunits
        }
        own = {group.ribbon_fibres for group in trunk.cable.subunits}
        words: list[RibbonWord] = [SPLIT, *sorted(width for width in met if {width} != own and width > 1)]
        return [word for word in words if word not in trunk.ribbons] if met != own or len(own) > 1 else []

    def _trunks(
        self,
        able: Sequence[Trunk],
        change: Callable[[Trunk], dict[str, Any]],
        added: Callable[[Trunk], Added],
        cost: int,
    ) -> Iterator[Change]:
        """Change one trunk where that is enough, else all of them."""
        found = False
        for trunk in able:
            job = self._with([trunk], change)
            if self.prover.possible(job):
                found = True
                yield Change(job, cost, add=(added(trunk),))
        if not found and len(able) > 1:
            job = self._with(able, change)
            if self.prover.possible(job):
                yield Change(job, cost * len(able), add=tuple(added(trunk) for trunk in able))

    # -- other boxes -------------------------------------------------------------------------------------------------

    def _other_box(self) -> Iterator[Change]:
        """Take the box of the library with the fewest trays that is enough."""
        able = [box for box in self.shelf.boxes if box.id != self.job.enclosure.id and has_all_named(self.job, box)]
        for box in sorted(able, key=lambda box: (len(box.places), box.id)):
            job = in_box(self.job, box)
            if self.prover.possible(job):
                yield Change(job, self.costs.box, add=(Added("box", self.job.enclosure.id, box.id),))
                return

    def _boxes(self) -> Iterator[Change]:
        """Share the trunks out to two boxes of the same kind; trunks that are joined stay together."""
        parts = joined_sets(self.job)
        for size in range(1, len(parts) // 2 + 1):
            for moved in combinations(range(len(parts) - 1, -1, -1), size):
                there = frozenset(trunk for i in moved for trunk in parts[i])
                here = frozenset(self.job.trunk_by_id) - there
                one, other = (only(self.job, trunks) for trunks in (here, there))
                if self.prover.possible(one) and self.prover.possible(other):
                    added = (Added("enclosure", self.job.enclosure.id, ", ".join(sorted(there))),)
                    yield Change(one, self.costs.enclosure, add=added, others=(other,))
                    return

    # -- parts of a job ----------------------------------------------------------------------------------------------

    def _spliced(self) -> list[Trunk]:
        """Give the trunks with a spliced fibre, and the other ends of those that go through."""
        spliced = self.job.inside(s.leg(1, 1) for s in self.job.subunits if self.job.spliced[s.trunk, s.number])
        return [trunk for trunk in self.job.trunks if trunk.id in spliced]

    def _box(self, **parts: Any) -> Job:
        return remade(self.job, enclosure=remade(self.job.enclosure, **parts))

    def _with(self, trunks: Sequence[Trunk], change: Callable[[Trunk], dict[str, Any]]) -> Job:
        ids = {trunk.id for trunk in trunks}
        return remade(self.job, trunks=tuple(remade(t, **change(t)) if t.id in ids else t for t in self.job.trunks))


def _bore_for(diameters_mm: Sequence[float]) -> float:
    """Give the least bore, in whole mm, that these cables pass together, the two thickest of them side by side."""
    side_by_side = sum(sorted(diameters_mm)[-2:])
    return float(ceil(max(side_by_side, sqrt(sum(diameter**2 for diameter in diameters_mm))) - EPSILON))


def _put(items: Sequence[Any], i: int, item: Any) -> tuple[Any, ...]:
    return (*items[:i], item, *items[i + 1 :])
