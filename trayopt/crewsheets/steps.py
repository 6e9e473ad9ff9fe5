"""The steps of the work in order: what is done, where the crew must stop, and how long it takes."""

from __future__ import annotations

from dataclasses import dataclass

from trayopt.crewsheets.acts import Act, Phase
from trayopt.crewsheets.book import Book
from trayopt.crewsheets.marks import Marks
from trayopt.crewsheets.order import acts_of
from trayopt.crewsheets.step_facts import units_of
from trayopt.crewsheets.step_words import StepWords
from trayopt.crewsheets.units import Teller

HOLDS: frozenset[str] = frozenset({"service", "release", "release_units", "open"})
"""Phases at which the work stops until somebody signs: that everything in service is known, or that a release is in hand."""
CAUTIONS: dict[Phase, tuple[str, ...]] = {
    "prepare": ("first", "confined", "ladder", "load"),
    "service": ("live", "laser"),
    "identify": ("live", "laser"),
    "release": ("release",),
    "clamp": ("metal", "coil", "bend"),
    "strip": ("blade", "metal", "gel"),
    "units": ("live", "laser"),
    "release_units": ("release", "uncut"),
    "pass": ("passing", "coil"),
    "cut": ("blade", "glass", "passing", "live", "laser"),
    "part": ("blade", "glass", "gel", "uncut"),
    "route": ("coil",),
    "mark": ("measured",),
    "take_off": ("coil",),
    "divide": ("blade", "glass", "gel", "uncut"),
    "open": ("release", "live", "laser"),
    "splice": ("cleave", "glass", "solvent", "live", "laser"),
    "test": ("laser", "limits", "records"),
    "close": ("fire", "records", "load"),
}
"""Cautions of the catalogue (``caution.<id>``) by phase. They are shown at the first step of the phase."""


@dataclass(frozen=True)
class Step:
    """A step: its number from 1, its act, its words and cautions, and its time for one person in minutes."""

    number: int
    act: Act
    title: str
    lines: tuple[str, ...]
    cautions: tuple[str, ...]
    minutes: float

    @property
    def phase(self) -> Phase:
        """The phase of the work."""
        return self.act.phase

    @property
    def trunk(self) -> str | None:
        """The trunk of the step, if it is about a single trunk."""
        return self.act.trunks[0] if self.phase in {"part", "route", "mark", "take_off"} else None

    @property
    def tray(self) -> int | None:
        """The tray of the step, if it is about a single tray."""
        return self.act.trays[0] if self.phase in {"open", "splice", "lay"} else None

    @property
    def batch(self) -> int | None:
        """The test batch to which the step belongs."""
        return self.act.batch

    @property
    def kind(self) -> str:
        """The kind of step: ``work``, ``hold`` for a hold point, or ``gate`` for a test."""
        return "hold" if self.phase in HOLDS else "gate" if self.phase == "test" else "work"


def steps_of(book: Book, marks: Marks, tell: Teller) -> tuple[Step, ...]:
    """Return every step of the work, in order, with the figures of the plan."""
    seen: set[Phase] = set()
    made = []
    words = StepWords(book, marks, tell)
    for number, act in enumerate(acts_of(book), start=1):
        cautions = () if act.phase in seen else CAUTIONS.get(act.phase, ())
        lines = words.lines(act)
        if act.phase in HOLDS:
            lines.append(tell("step.release.sign"))
        made.append(Step(number, act, words.title(act), tuple(lines), cautions, minutes_of(book, marks, act)))
        seen.add(act.phase)
    return tuple(made)


def minutes_of(book: Book, marks: Marks, act: Act) -> float:
    """Return the time that an act takes one person, in minutes."""
    pace = book.settings.labour
    new = [leg for name in act.travellers for leg in book.travellers[name].legs if leg.leg not in book.built]
    trunks, trays, tubes = len(act.trunks), len(act.trays), len(act.travellers)
    phase = act.phase
    if phase == "strip":
        second = {item.ends[1] for item in book.passing}
        metres = sum(marks.strip[trunk] for trunk in act.trunks if trunk not in second) / 1000
        return pace.strip_min_per_trunk * trunks + pace.strip_min_per_metre * metres
    if phase == "units":
        return pace.identify_min_per_subunit * sum(len(units_of(book, trunk)) for trunk in act.trunks)
    if phase == "pass":
        turns = sum(len(item.uncut) * (1 + item.loops) for item in book.passing if item.ends[0] in act.trunks)
        return pace.route_min_per_tube_and_turn * turns
    if phase == "cut":
        cuts = [cut for item in book.passing if item.ends[0] in act.trunks for cut in item.cuts]
        turns = sum(1 + (book.ways[end].loops or 0) for cut in cuts for end in cut.capped)
        return pace.divide_min_per_leg * len(cuts) + pace.route_min_per_tube_and_turn * turns
    if phase == "route":
        trunk = act.trunks[0]
        tubes += len(book.coiled_now(trunk)) if act.coiled else 0
        cut_back = len(book.cut_back_now(trunk)) if act.coiled else 0
        routed = pace.route_min_per_tube_and_turn * tubes * (1 + (book.ways[trunk].loops or 0))
        return routed + pace.cut_back_min_per_tube * cut_back
    if phase == "splice":
        return splice_minutes(book, act.trays[0])
    if phase == "close":
        return pace.close_min if book.work else 0
    paces: dict[Phase, float] = {
        "prepare": pace.prepare_min,
        "identify": pace.identify_min_per_subunit * trunks,
        "clamp": pace.clamp_min_per_trunk * trunks,
        "part": pace.divide_min_per_leg * len(new),
        "fit": pace.fit_min_per_tray * trays,
        "mark": pace.mark_min_per_leg * len(new),
        "take_off": pace.take_off_min_per_tube * tubes,
        "take_out": pace.take_out_min_per_tray * trays,
        "divide": pace.divide_min_per_leg * sum(book.own_tube(leg) for leg in new),
        "lay": pace.lay_min_per_tray,
        "test": pace.test_min_per_fibre * sum(book.spliced(i) for i in act.trays),
    }
    return paces.get(phase, 0)


def splice_minutes(book: Book, tray: int) -> float:
    """Return the minutes to work the ribbons of a tray and to splice it; a sleeve of one fibre takes the single pace."""
    pace, done = book.settings.labour, book.handlings[tray]
    spliced = sum(
        pace.single_splice_min if sleeve.a.count == 1 else pace.ribbon_splice_min for sleeve in book.work_sleeves[tray]
    )
    spliced += pace.separate_min_per_ribbon * len(done.separated)
    return spliced + pace.split_min_per_cut * len(done.cuts) + pace.ribbonise_min_per_ribbon * len(done.made)
