"""The order of work: the acts in the order of the trade, each taken as soon as hands can do it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from trayopt.crewsheets.acts import Act
from trayopt.crewsheets.book import Book
from trayopt.crewsheets.hands import Hands
from trayopt.crewsheets.travellers import Traveller


def acts_of(book: Book) -> list[Act]:
    """Return every act of the work, in an order in which hands can do them.

    Again and again, the first of the remaining acts, in the order of the trade, that hands can do is taken. If they can do
    none, the plan itself is at fault (a leg does not reach the bench): the first act is taken, and ``replay`` says what is
    wrong.
    """
    left, hands, done = list(wanted(book)), Hands(book), []
    while left:
        chosen = next((act for act in left if _can(hands, act)), left[0])
        hands.do(chosen)
        left.remove(chosen)
        done.append(chosen)
    return done


def _can(hands: Hands, act: Act) -> bool:
    return all(trouble.lasts for trouble in hands.copy().do(act))


def wanted(book: Book) -> Iterator[Act]:
    """Yield every act once, in the order of the trade."""
    yield Act("prepare")
    if book.built_trunks:
        yield Act("service", tuple(trunk.id for trunk in book.trunks if trunk.id in book.built_trunks))
    new = tuple(trunk.id for trunk in book.new_trunks)
    if new:
        for phase in ("identify", "release", "clamp", "strip"):
            yield Act(phase, new)
    if book.work:
        units = tuple(trunk.id for trunk in book.trunks if trunk.id in book.work or trunk.id in new)
        yield Act("units", units)
        laid = tuple(end for item in book.passing if item.new and item.uncut for end in item.ends)
        if laid:
            yield Act("pass", laid)
        yield Act("release_units", tuple(book.work))
        cut = tuple(end for item in book.passing if item.cuts for end in item.ends)
        if cut:
            yield Act("cut", cut)
        for trunk in book.work:
            tubes = tuple(
                t.name
                for t in book.work_travellers.values()
                if t.trunk == trunk and not t.own and t.name not in book.parted_before
            )
            if tubes:
                yield Act("part", (trunk,), travellers=tubes)
        idle = {trunk for trunk in (*new, *book.work) if book.coiled_now(trunk) or book.cut_back_now(trunk)}
        coiling = idle - book.job.other_end.keys()
        yield from _trial(book, [group for group in book.groups if not late(book, group)], coiling)
        yield from _groups(book, coiling)
    yield Act("close")


def late(book: Book, group: Sequence[int]) -> bool:
    """Whether trays are tried on only after their hold point, because trays in service lie over them or come out with them."""
    covered = any(book.above(tray) for tray in group) and any(book.states[tray] == "new" for tray in group)
    return covered or any(book.served(traveller) for traveller in _travellers(book, [group]))


def _travellers(book: Book, groups: Sequence[Sequence[int]]) -> list[Traveller]:
    """Return the travellers with legs to be made in some groups of trays."""
    trays = {tray for group in groups for tray in group}
    return [t for t in book.work_travellers.values() if any(book.tray_of(leg) in trays for leg in t.legs)]


def _trial(book: Book, groups: Sequence[Sequence[int]], coiling: set[str]) -> Iterator[Act]:
    """Yield the acts of the trial: fit the trays, then trunk by trunk route, mark and take off, and divide at the bench.

    Travellers in service with legs to be made come off the track when their trays come out.

    ``coiling`` holds the trunks of which a part is still to be coiled on the track, or cut back.
    """
    trays = sorted(tray for group in groups for tray in group if book.states[tray] == "new")
    travellers = _travellers(book, groups)
    if trays:
        yield Act("fit", trays=tuple(trays))
    for trunk in book.work:
        names = tuple(t.name for t in travellers if t.trunk == trunk)
        tried = tuple(t.name for t in travellers if t.trunk == trunk and not book.served(t))
        if tried:
            yield Act("route", (trunk,), travellers=tried, coiled=trunk in coiling)
            coiling.discard(trunk)
        if names:
            yield Act("mark", (trunk,), travellers=names)
        if tried:
            yield Act("take_off", (trunk,), travellers=tried)
    served = {book.tray_of(leg) for t in travellers if book.served(t) for leg in t.legs if leg.leg in book.built}
    if out := sorted({*trays, *served}, reverse=True):
        yield Act("take_out", trays=tuple(out))
    if travellers:
        yield Act(
            "divide", tuple(dict.fromkeys(t.trunk for t in travellers)), travellers=tuple(t.name for t in travellers)
        )


def _groups(book: Book, coiling: set[str]) -> Iterator[Act]:
    """Yield the acts of splicing: all trays of a group before any of them is laid, with a test of every batch at its end."""
    for batch in book.batches:
        for group in dict.fromkeys(book.group_of[tray] for tray in batch.trays):
            work = [tray for tray in group if book.states[tray] != "closed"]
            if any(book.above(tray) for tray in group) or any(book.states[tray] != "new" for tray in group):
                yield Act("open", trays=tuple(work), batch=batch.number)
            if late(book, group):
                yield from _trial(book, [group], coiling)
            for phase in ("splice", "lay"):
                for tray in work:
                    yield Act(phase, trays=(tray,), batch=batch.number)
        if batch.fibres:
            yield Act("test", trays=batch.trays, batch=batch.number)
