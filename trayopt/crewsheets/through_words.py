"""The words of steps on trunks that go through: the window, its cut and capped tubes, and its uncut tubes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from trayopt.crewsheets.acts import Act
from trayopt.crewsheets.book import Book, counted_sizes
from trayopt.crewsheets.passing import Cut, Passing, spans
from trayopt.crewsheets.step_facts import guide_words
from trayopt.crewsheets.units import Teller


class ThroughWords:
    """Writes the lines of acts about trunks that go through."""

    def __init__(self, book: Book, tell: Teller) -> None:
        self.book, self.tell = book, tell
        self.ends = {end for item in book.passing for end in item.ends}

    def without(self, trunks: Iterable[str]) -> list[str]:
        """Return the trunks that do not go through."""
        return [trunk for trunk in trunks if trunk not in self.ends]

    def name(self, trunk: str) -> str:
        """Return the name of a trunk's cable; both ends of a trunk that goes through have the same cable."""
        return next((item.trunk for item in self.book.passing if trunk in item.ends), trunk)

    def of(self, act: Act) -> list[Passing]:
        """Return the trunks of an act that go through."""
        return [item for item in self.book.passing if item.ends[0] in act.trunks]

    def drawn_in(self, act: Act) -> Iterator[str]:
        """Yield a line for each cable that goes through: it has no free end, and how much is drawn in between its clamps."""
        for item in self.of(act):
            yield self.tell("step.clamp.through", trunk=item.trunk, length=self.tell.cut(item.window_mm))

    def in_service(self) -> Iterator[str]:
        """Yield a line for each window in service out of which tubes get new legs: it may have to be longer than it is."""
        for item in self.book.passing:
            if not item.new and any(end in self.book.work for end in item.ends):
                yield self.tell("step.service.window", trunk=item.trunk, length=self.tell.cut(item.window_mm))

    def windows(self, act: Act, key: str) -> Iterator[str]:
        """Yield a line for each window in a sheath, with its length and its two ports."""
        for item in self.of(act):
            enters, leaves = (self.book.ways[end].port for end in item.ends)
            length = self.tell.cut(item.window_mm)
            yield self.tell(key, trunk=item.trunk, length=length, port=enters, other=leaves)

    def release(self) -> Iterator[str]:
        """Yield lines with exactly the tubes that are cut, and the tubes that pass uncut."""
        for item in self.book.passing:
            if item.cuts:
                units = [cut.unit for cut in item.cuts]
                job = self.book.job
                n = sum(job.subunit_of_leg[item.ends[0], unit].fibres for unit in units)
                fibres = self.tell("count.fibres", n=n)
                yield self.tell(
                    "step.release_units.cut", n=len(units), trunk=item.trunk, units=spans(units), fibres=fibres
                )
            if item.uncut:
                n = len(item.uncut)
                yield self.tell("step.release_units.uncut", n=n, trunk=item.trunk, units=item.numbers)

    def laid(self, act: Act) -> Iterator[str]:
        """Yield lines on how uncut tubes are laid from port to port."""
        tell = self.tell
        for item in self.of(act):
            if not item.uncut:
                continue
            enters, leaves = (self.book.ways[end] for end in item.ends)
            sizes = ", ".join(
                tell("step.route.tubes", n=count, size=tell.size(size)) for size, count in counted_sizes(item.uncut)
            )
            yield tell("step.pass.line", n=len(item.uncut), trunk=item.trunk, units=item.numbers, tubes=sizes)
            yield tell(
                "step.pass.way", n=item.loops, port=enters.port, travel=tell(f"travel.{enters.travel}"),
                other=leaves.port, guides=guide_words(item.guides, tell),
            )  # fmt: skip
        yield tell("step.pass.keep")

    def cut(self, act: Act) -> Iterator[str]:
        """Yield lines on where tubes are cut, with equal tubes in one line, and on what is capped and stored."""
        for item in self.of(act):
            kinds: dict[tuple[str, int, tuple[str, ...], int], list[Cut]] = {}
            for cut in item.cuts:
                kinds.setdefault((cut.end, cut.length_mm, cut.capped, cut.other_mm), []).append(cut)
            for (end, length, capped, rest), cuts in kinds.items():
                kind = "both" if not capped else "capped" if len(capped) == 1 else "twice" if rest else "stored"
                other = next(each for each in item.ends if each != end)
                coils = {"coil": self._coil(end if kind == "capped" else other), "end_coil": self._coil(end)}
                yield self.tell(
                    f"step.cut.{kind}", n=len(cuts), trunk=item.trunk, units=spans([cut.unit for cut in cuts]),
                    end=end, length=self.tell.cut(length), other=other, rest=self.tell.cut(rest), **coils,
                )  # fmt: skip

            if not item.new and item.cuts:
                yield self.tell("step.cut.before", trunk=item.trunk)

    def _coil(self, end: str) -> str:
        """Write how the capped tubes of an end go round the track."""
        way = self.book.ways[end]
        return self.tell("step.cut.coil", n=way.loops or 0, port=way.port, travel=self.tell(f"travel.{way.travel}"))
