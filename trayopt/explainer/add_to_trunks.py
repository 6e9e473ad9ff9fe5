"""Ways out that change what may be done with trunks: tubes, where they are divided, what becomes of their ribbons."""

from __future__ import annotations

from collections.abc import Iterator

from trayopt.domain.base import SPLIT, DivideAt, RibbonWord, remade
from trayopt.domain.trunk import Trunk, ribbon_rank
from trayopt.explainer.changes import Added, Change
from trayopt.explainer.trying import Trying


def tubes(on: Trying) -> Iterator[Change]:
    """Take another set of tubes of the library."""
    for tubes in on.shelf.tubes:
        job = remade(on.job, tubes=tubes)
        if tubes != on.job.tubes and on.prover.possible(job):
            yield Change(job, on.costs.tubes, add=(Added("tubes", "job", tubes.id),))


def divide_at(on: Trying) -> Iterator[Change]:
    """Let trunks be divided at the other place as well, one by one, then all that are divided alike; or only at the port.

    A trunk that is divided at the port alone breaks out there by the job's own word, so that no rule counts it.
    """
    able = [trunk for trunk in on.spliced() if trunk.cable.tubes]
    changed: tuple[tuple[DivideAt, ...], ...] = (("tray", "port"), ("port",))
    for places in (("port",), ("tray",), ("tray", "port")):
        mine = [trunk for trunk in able if trunk.divide_at == places]
        for there in (other for other in changed if other != places):
            found = False
            for change in on.change_trunks(
                mine,
                lambda _, there=there: {"divide_at": there},  # type: ignore[misc]
                lambda trunk, there=there: Added("divide_at", trunk.id, " or ".join(there)),  # type: ignore[misc]
                on.costs.divide_at,
            ):
                found = True
                yield change
            if found:
                break


def ribbons(on: Trying) -> Iterator[Change]:
    """Let ribbons be split, or made as wide as those of the other side, trunk by trunk, then all of them."""
    able = {trunk: _other_words(on, trunk) for trunk in on.spliced() if trunk.id not in on.job.other_end}
    for word in sorted({word for words in able.values() for word in words}, key=ribbon_rank):
        yield from on.change_trunks(
            [trunk for trunk, words in able.items() if word in words],
            lambda trunk, word=word: {"ribbons": tuple(sorted((*trunk.ribbons, word), key=ribbon_rank))},  # type: ignore[misc]
            lambda trunk, word=word: Added("ribbons", trunk.id, word),  # type: ignore[misc]
            on.costs.ribbons,
        )


def _other_words(on: Trying, trunk: Trunk) -> list[RibbonWord]:
    """Return what may be done with ribbons beside a trunk's own list: split them, or make them as wide as those they meet."""
    pairs = [pair for pair in on.job.joined_pairs if trunk.id in pair]
    met = {
        group.ribbon_fibres
        for pair in pairs
        for other in pair
        if other != trunk.id
        for group in on.job.trunk_by_id[other].cable.subunits
    }
    own = {group.ribbon_fibres for group in trunk.cable.subunits}
    words: list[RibbonWord] = [SPLIT, *sorted(width for width in met if {width} != own and width > 1)]
    return [word for word in words if word not in trunk.ribbons] if met != own or len(own) > 1 else []
