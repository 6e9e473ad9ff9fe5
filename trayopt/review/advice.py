"""How to mend a broken rule by hand, with the numbers of this plan."""

from __future__ import annotations

from collections.abc import Callable

from trayopt.domain.finding import Finding
from trayopt.domain.job import Job
from trayopt.review.trials import tried
from trayopt.rules.words import listed
from trayopt.track.laid import Laid


def advice(job: Job, laid: Laid, finding: Finding) -> str:
    """Say in one sentence what to change: a change that was tried, or what in general helps and that none was found."""
    change = tried(job, laid, finding)
    if change is not None:
        return f"{change} (tried: it ends this finding and breaks no other rule that has to hold)"
    special = _SPECIAL.get(finding.rule)
    general = special(job, laid, finding.subject) if special is not None else _PLAIN[finding.rule]
    return f"{general}; no single change that was tried does it alone: trayopt mend finds the nearest plan"


_PLAIN: dict[str, str] = {
    "whole_legs": "give both sides of every splice the same tray, and every leg one tray only",
    "leg_tube": "divide the subunit into more legs, so that each needs a smaller bore, or add a wider tube to the set",
    "bend_radius": "divide the subunit so that a thinner tube travels, or keep it whole if its own tube bends further",
    "fibre_bend": "move the leg to a stack whose trays have a larger radius",
    "exposed": "choose a nearer stack, fewer loops or the other way round; or agree a longer exposed_mm with the owner",
    "apart": "move the legs of one of the two joins to other trays (or another stack)",
    "opposite_travel": "let one of the two trunks travel the other way round",
    "subunit_together": "keep the legs of the subunit on one stack, in one tray or in trays that follow each other",
    "alternate_stacks": "begin this subunit on the stack that has had fewer subunits of the trunk so far",
    "natural_travel": "let the trunk travel as its port turns, or enter at another port",
    "same_division": "divide equal subunits of the trunk into the same number of legs",
    "tray_pair": "keep the splices of each pair of trunks in trays of their own",
    "port_fill": "take another port for one of the cables, or a wider one",
    "reserve": "move the outermost legs inward, or leave the outermost places free",
}


def _tray(job: Job, laid: Laid, subject: str) -> str:
    del job, laid
    return f"take legs out of {subject}, or divide their subunits into smaller legs"


def _sleeves(job: Job, laid: Laid, subject: str) -> str:
    del job, laid
    return f"move splices out of {subject}, or divide subunits so that runs fill whole sleeves"


def _entrance(job: Job, laid: Laid, subject: str) -> str:
    del job, laid
    return f"move legs out of {subject}, divide into fewer and larger legs, or let a trunk travel the other way round"


def _groups(job: Job, laid: Laid, subject: str) -> str:
    del laid
    trunk, _, number = subject.rpartition("/")
    subunit = job.subunit_of_leg[trunk, int(number)]
    texts = []
    for of in subunit.divisions[:4]:
        first = [subunit.leg_span(leg) for leg in subunit.legs(of)[:3]]
        texts.append(f"{', '.join(first)}{' …' if of > 3 else ''}" if of > 1 else f"whole, {first[0]}")
    return f"divide {subject} into equal legs of whole ribbons: {'; or '.join(texts)}"


def _limits(job: Job, laid: Laid, subject: str) -> str:
    del laid
    trunk = job.trunk_by_id[subject]
    ports = trunk.allowed_ports(job.enclosure)
    return (
        f"bring {subject} in at {listed(ports, 'or') or 'no port'}, let it travel {listed(trunk.travels, 'or')} with "
        f"{listed(sorted(set(trunk.loops)), 'or')} loops, or ask its owner for other limits"
    )


def _ends(job: Job, laid: Laid, subject: str) -> str:
    del job
    return f"write one end for every leg on {subject}, such as {laid.ends[subject]}"


def _parted(job: Job, laid: Laid, subject: str) -> str:
    trunk, _, number = subject.rpartition("/")
    legs = laid.by_subunit.get((trunk, int(number)), [])
    if not legs:
        return "lay the legs of the subunit tray upon tray on one stack"
    first = legs[0].place
    return (
        f"lay the legs of {subject} from {first} outward, each in the same tray as the one before or in "
        f"the next tray of {first.stack}; or divide {trunk} at the port"
    )


def _guide(job: Job, laid: Laid, subject: str) -> str:
    del job
    trunks = list(dict.fromkeys(item.trunk for item, _ in laid.passes(subject)))
    return f"let fewer tubes pass {subject}: fewer loops or the other way for {listed(trunks, 'or')}, or a wider guide"


def _reach(job: Job, laid: Laid, subject: str) -> str:
    way = laid.ways.get(subject)
    loops = sorted(set(job.trunk_by_id[subject].loops))
    more = [count for count in loops if way is not None and count > way.loops]
    extra = f"give {subject} {more[0]} loops, " if more else ""
    return f"{extra}let {subject} travel the longer way round, or take a stack further from its port"


def _seal(job: Job, laid: Laid, subject: str) -> str:
    trunks = [trunk for trunk, way in laid.ways.items() if way.port == subject]
    others = [port.id for port in job.enclosure.ports if port.id != subject]
    where = f" at {listed(others, 'or')}" if others else ""
    return f"bring one of {listed(trunks)} in{where or ' elsewhere'}, or fit a seal to {subject} that takes them all"


def _gap(job: Job, laid: Laid, subject: str) -> str:
    del job, laid
    return f"fill the stack from the base: move {subject} inward, or fill what is under it"


def _loops(job: Job, laid: Laid, subject: str) -> str:
    del laid
    setting = job.rules["slack_loops"].parameters
    return f"give {subject} {setting.get('least', 1)} to {setting.get('most', 2)} slack loops"


def _pin(job: Job, laid: Laid, subject: str) -> str:
    del laid
    for pin in job.leg_pins:
        if pin.subject == subject:
            places = listed(job.places_of(pin)[:4], "or") or "its place"
            return f"put {subject} in {places}, or take the pin out of the job"
    return f"keep to the pin of {subject}, or take it out of the job"


_SPECIAL: dict[str, Callable[[Job, Laid, str], str]] = {
    "tray_fibres": _tray,
    "tray_sleeves": _sleeves,
    "entrance_legs": _entrance,
    "equal_groups": _groups,
    "own_limits": _limits,
    "one_end": _ends,
    "divided_at_tray": _parted,
    "guide_fill": _guide,
    "reach": _reach,
    "port_seal": _seal,
    "base_outward": _gap,
    "slack_loops": _loops,
    "pin": _pin,
}
