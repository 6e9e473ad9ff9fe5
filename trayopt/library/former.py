"""Job files of format 1, translated to today's format."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from trayopt.domain.base import DivideAt
from trayopt.domain.cable import Cable
from trayopt.domain.former import RENAMED
from trayopt.domain.said import said

NOTE = said("the job is written in format 1")
HINT = said(
    "trunks without divide_at are divided at the tray, if their cable has tubes; "
    "write schema: trayopt/job/2 to let the plan decide"
)


def divided_at(cable: object) -> DivideAt:
    """Return where format 1 divided a trunk that did not say: at the tray, or at the port if its subunits have no tubes."""
    return "port" if isinstance(cable, Cable) and not cable.tubes else "tray"


def renamed(rules: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, str]]:
    """Return the rules under today's names, and the former name of each renamed rule."""
    former = {RENAMED[name]: name for name in rules if name in RENAMED and RENAMED[name] not in rules}
    names = {name: today for today, name in former.items()}
    return {names.get(name, name): value for name, value in rules.items()}, former
