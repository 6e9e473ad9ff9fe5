"""What the pages of a batch have in common, and the page of one plan."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

from trayopt.batches.answers import GOAL_WORDS, MARKS, OUTCOMES
from trayopt.domain.plan import Plan

if TYPE_CHECKING:
    from jinja2 import Environment


def render(template: str, **values: Any) -> str:
    """Fill in a template, with the style that all pages have."""
    from markupsafe import Markup

    from trayopt import __version__

    css = Markup(text_of("index.css"))
    return _world().get_template(template).render(css=css, version=__version__, **values)


def plan_page(plan: Plan, outcome: str) -> str:
    """Write a plan as a page for people."""
    conflicts = (plan.explanation or {}).get("conflicts") or []
    return render(
        "plan.html",
        plan=plan,
        outcome=outcome,
        words=OUTCOMES[outcome],
        mark=MARKS[outcome],
        conflicts=conflicts[:1],
        goal_words=GOAL_WORDS,
    )


@cache
def _world() -> Environment:
    from jinja2 import DictLoader, Environment, StrictUndefined

    pages = {name: text_of(name) for name in ("page.html", "index.html", "plan.html")}
    world = Environment(
        loader=DictLoader(pages), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    world.filters["number"] = lambda value: f"{value:,}"
    return world


@cache
def text_of(name: str) -> str:
    """Give the text of a template, from a folder or from a pack."""
    from importlib.resources import files

    return str(files("trayopt.batches").joinpath("templates", name).read_text(encoding="utf-8"))
