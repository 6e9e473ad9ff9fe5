"""The ordered registry of all rules, and how a job's ``rules`` are read against it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, NamedTuple, get_args

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from trayopt.domain.base import Frozen, remade
from trayopt.domain.finding import Level
from trayopt.domain.hardware import Enclosure
from trayopt.domain.job import Job, Setting
from trayopt.domain.said import said
from trayopt.rules.alternate_stacks import AlternateStacks
from trayopt.rules.apart import KeptApart
from trayopt.rules.base import Rule
from trayopt.rules.bend_radius import BendRadius
from trayopt.rules.breakout import Breakout
from trayopt.rules.divided_at_tray import DividedAtTray
from trayopt.rules.entrance_legs import EntranceLegs
from trayopt.rules.equal_groups import EqualGroups
from trayopt.rules.exposed import Exposed
from trayopt.rules.fibre_bend import FibreBend
from trayopt.rules.guide_fill import GuideFill
from trayopt.rules.leg_tube import LegTube
from trayopt.rules.natural_travel import NaturalTravel
from trayopt.rules.no_empty_below import NoEmptyBelow
from trayopt.rules.one_end import OneEnd
from trayopt.rules.opened_tube import OpenedTube
from trayopt.rules.opposite_travel import OppositeTravel
from trayopt.rules.own_limits import OwnLimits
from trayopt.rules.pin import Pinned
from trayopt.rules.port_fill import PortFill
from trayopt.rules.port_seal import PortSeal
from trayopt.rules.re_ribbonised import ReRibbonised
from trayopt.rules.reach import Reach
from trayopt.rules.reserve import Reserve
from trayopt.rules.ribbon_work import RibbonWork
from trayopt.rules.ribbonised_fibres import RibbonisedFibres
from trayopt.rules.same_division import SameDivision
from trayopt.rules.separated_ribbons import SeparatedRibbons
from trayopt.rules.sheath_window import SheathWindow
from trayopt.rules.slack_loops import SlackLoops
from trayopt.rules.subunit_together import SubunitTogether
from trayopt.rules.tied_trays import TiedTrays
from trayopt.rules.tray_fibres import TrayFibres
from trayopt.rules.tray_pair import TrayPair
from trayopt.rules.tray_sleeves import TraySleeves
from trayopt.rules.uncut_tube import UncutTube
from trayopt.rules.whole_legs import WholeLegs

RULES: list[Rule[Any]] = [
    WholeLegs(), EqualGroups(), OwnLimits(), OneEnd(), DividedAtTray(), OpenedTube(), LegTube(), UncutTube(),
    TrayFibres(), TraySleeves(), EntranceLegs(), GuideFill(), BendRadius(), FibreBend(), Reach(), Exposed(), SheathWindow(),
    PortSeal(),
    NoEmptyBelow(), SlackLoops(), KeptApart(), Pinned(), OppositeTravel(), SubunitTogether(), AlternateStacks(),
    NaturalTravel(), SameDivision(), TrayPair(), TiedTrays(), Breakout(), RibbonWork(), ReRibbonised(),
    SeparatedRibbons(), RibbonisedFibres(), Reserve(), PortFill(),
]  # fmt: skip
"""Every rule, in the order of answers."""
BY_ID: dict[str, Rule[Any]] = {rule.id: rule for rule in RULES}
SETTABLE: list[str] = [rule.id for rule in RULES if rule.kind != "always"]
"""The ids of the rules that have a level."""
LEVELS: tuple[Level, ...] = get_args(Level)
MOST_WEIGHT = 1_000_000


@contextmanager
def register(rule: Rule[Any]) -> Iterator[None]:
    """Add a rule after all others while the context lasts, in this process, for jobs that are read meanwhile.

    Raises
    ------
    ValueError
        If there is a rule of this id already, or if the rule always holds: a job cannot set such a rule.
    """
    if rule.id in BY_ID or rule.kind == "always":
        raise ValueError(said("{rule} cannot be registered: a rule has an id of its own and a level", rule=rule.id))
    RULES.append(rule)
    BY_ID[rule.id] = rule
    SETTABLE.append(rule.id)
    try:
        yield
    finally:
        RULES.remove(rule)
        del BY_ID[rule.id]
        SETTABLE.remove(rule.id)


class RuleFault(NamedTuple):
    """Something wrong in a job's ``rules``, at a path inside it."""

    path: tuple[str | int, ...]
    message: str
    found: str
    allowed: str
    hint: str


def fill(raw: Mapping[str, object], box: Enclosure | None) -> tuple[dict[str, Setting], list[RuleFault]]:
    """Read a job's ``rules`` and fill in every default.

    Parameters
    ----------
    raw
        For each rule: a level, or a mapping with any of level, weight and the rule's parameters.
    box
        The job's box, from which some defaults follow; None if it could not be read.

    Returns
    -------
    settings
        The setting of every rule that has a level, in the order of the registry. A faulty part keeps its default.
    faults
        All faults, in the order of ``raw``.
    """
    faults: list[RuleFault] = []
    given: dict[str, object] = {}
    for key, value in raw.items():
        if key in SETTABLE:
            given[key] = value
        elif key in BY_ID:
            hint = said("take the line out; a rule that always holds has no level")
            faults.append(
                RuleFault(
                    (key,), said("'{rule}' always holds", rule=BY_ID[key].name), str(key), ", ".join(SETTABLE), hint
                )
            )
        else:
            faults.append(
                RuleFault((key,), said("no such rule"), repr(key), ", ".join(SETTABLE), did_you_mean(key, SETTABLE))
            )
    settings = {id_: _setting(BY_ID[id_], given.get(id_, {}), box, faults) for id_ in SETTABLE}
    rank: dict[object, int] = {key: i for i, key in enumerate(raw)}
    return settings, sorted(faults, key=lambda fault: rank[fault.path[0]])


def refill(job: Job) -> Job:
    """Return a job that was read back from its canonical JSON the usual parameters of its rules, which stand in no file."""
    rules = {
        name: remade(setting, usual=BY_ID[name].usual(job.enclosure), speaks_of=BY_ID[name].speaks_of)
        for name, setting in job.rules.items()
    }
    return remade(job, rules=rules)


def in_box(job: Job, box: Enclosure) -> Job:
    """Return a job in another box; parameters that followed from the old one follow from the new one."""
    rules = {}
    for name, setting in job.rules.items():
        usual = BY_ID[name].usual(box)
        parameters = {
            key: usual[key] if value == setting.usual.get(key) else value for key, value in setting.parameters.items()
        }
        rules[name] = remade(setting, parameters=parameters, usual=usual)
    return remade(job, enclosure=box, rules=rules)


def level_of(rule: Rule[Any], settings: Mapping[str, Setting]) -> Level:
    """Return the level of a rule in a job, or its default if the job has no setting."""
    setting = settings.get(rule.id)
    return rule.level if setting is None else setting.level


def weight_of(rule: Rule[Any], settings: Mapping[str, Setting]) -> int:
    """Return the weight of a rule in a job, or its default if the job has no setting."""
    setting = settings.get(rule.id)
    return rule.weight if setting is None else setting.weight


def did_you_mean(word: object, known: Iterable[str]) -> str:
    """Return the known word that was most likely meant; empty if no word is near."""
    from difflib import get_close_matches

    near = get_close_matches(str(word).lower().replace("-", "_").replace(" ", "_"), list(known), n=1)
    return said("did you mean '{near}'?", near=near[0]) if near else ""


def _setting(rule: Rule[Any], value: object, box: Enclosure | None, faults: list[RuleFault]) -> Setting:
    """Read what a job says of one rule."""
    usual = rule.usual(box)
    if isinstance(value, str):
        level = _level(rule, (rule.id,), value, faults)
        return Setting(level=level, weight=rule.weight, parameters=usual, usual=usual, speaks_of=rule.speaks_of)
    if not isinstance(value, Mapping):
        faults.append(
            RuleFault(
                (rule.id,),
                said("{rule} is neither a level nor a mapping", rule=rule.id),
                repr(value),
                _entry(rule),
                _level_hint(value),
            )
        )
        value = {}
    level, weight = rule.level, rule.weight
    parameters: dict[str, object] = {}
    for key, item in value.items():
        if key == "level":
            level = _level(rule, (rule.id, "level"), item, faults)
        elif key == "weight":
            weight = _weight(rule, item, faults)
        elif key in rule.Parameters.model_fields:
            parameters[key] = item
        else:
            known = ("level", "weight", *rule.Parameters.model_fields)
            faults.append(
                RuleFault(
                    (rule.id, key),
                    said("{rule} has no such parameter", rule=rule.id),
                    repr(key),
                    ", ".join(known),
                    did_you_mean(key, known),
                )
            )
    filled = _parameters(rule, parameters, usual, faults)
    return Setting(level=level, weight=weight, parameters=filled, usual=usual, speaks_of=rule.speaks_of)


def _level(rule: Rule[Any], path: tuple[str | int, ...], value: object, faults: list[RuleFault]) -> Level:
    for level in LEVELS:
        if value == level:
            return level
    hint = _level_hint(value) or did_you_mean(value, LEVELS)
    faults.append(RuleFault(path, said("{rule} has no such level", rule=rule.id), repr(value), ", ".join(LEVELS), hint))
    return rule.level


def _level_hint(value: object) -> str:
    return said("write off in quotes if your editor turns it into false") if value is False else ""


def _weight(rule: Rule[Any], value: object, faults: list[RuleFault]) -> int:
    if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= MOST_WEIGHT:
        return value
    allowed = said("a whole number from 1 to {most:,}", most=MOST_WEIGHT)
    faults.append(
        RuleFault(
            (rule.id, "weight"), said("the weight of {rule} cannot be used", rule=rule.id), repr(value), allowed, ""
        )
    )
    return rule.weight


def _parameters(
    rule: Rule[Any], given: dict[str, object], usual: dict[str, int | float], faults: list[RuleFault]
) -> dict[str, int | float]:
    """Validate a rule's parameters; if they are faulty, note why and return the defaults."""
    if not given:
        return usual
    try:
        return _plain(rule.Parameters.model_validate(usual | given))
    except ValidationError as error:
        for fault in error.errors(include_url=False):
            path = (rule.id, *fault["loc"])
            if fault["loc"]:
                name = str(fault["loc"][0])
                text = said("{name} of {rule} cannot be used", name=name, rule=rule.id)
                allowed = _allowed(rule.Parameters.model_fields[name])
                faults.append(RuleFault(path, text, repr(given[name]), allowed, ""))
            else:
                faults.append(RuleFault(path, fault["ctx"]["error"].args[0], "", "", ""))
        return usual


def _plain(parameters: Frozen) -> dict[str, int | float]:
    return dict(parameters.model_dump())


def _entry(rule: Rule[Any]) -> str:
    keys = ", ".join(("level", "weight", *rule.Parameters.model_fields))
    return said("{levels}, or a mapping of {keys}", levels=", ".join(LEVELS), keys=keys)


def _allowed(field: FieldInfo) -> str:
    """Describe the allowed values of a parameter."""
    words = said("a whole number" if field.annotation is int else "a number")
    limits = {
        name: getattr(item, name) for item in field.metadata for name in ("gt", "ge", "le") if hasattr(item, name)
    }
    if "gt" in limits:
        words = said("{words} above {limit:,}", words=words, limit=limits["gt"])
    if "ge" in limits:
        words = said("{words} from {limit:,}", words=words, limit=limits["ge"])
    if "le" in limits:
        words = said("{words} up to {limit:,}", words=words, limit=limits["le"])
    return words
