"""The common parts of the pages of a batch, and the page of a plan."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import TYPE_CHECKING, Any

from trayopt.batches.outcomes import GOAL_WORDS, MARKS, OUTCOMES
from trayopt.crewsheets.words import words_of
from trayopt.domain.plan import Plan
from trayopt.pictures.page import content_policy, page_world
from trayopt.version import __version__

if TYPE_CHECKING:
    from jinja2 import Environment


SAFETY = (
    "Treat every fibre as live until it is proven dark: laser light is invisible, so keep eyes and scopes away from open "
    "ends."
)


def pieces(template: str, **values: Any) -> Iterator[str]:
    """Yield a filled-in template piece by piece, with its script, and the style and the line of safety of all pages."""
    from markupsafe import Markup

    css, script = Markup(text_of("index.css")), text_of(template.replace(".html", ".js"))
    tell = words_of("en")
    safety = f"Safety: {SAFETY} {tell('caution.first')}"
    return (
        _world()
        .get_template(template)
        .generate(
            css=css, policy=content_policy(script), script=Markup(script), safety=safety, version=__version__, **values
        )
    )


def plan_page(plan: Plan, outcome: str) -> str:
    """Write a plan as a page for people."""
    conflicts = (plan.explanation or {}).get("conflicts") or []
    made = pieces(
        "plan.html",
        plan=plan,
        outcome=outcome,
        words=OUTCOMES[outcome],
        mark=MARKS[outcome],
        conflicts=conflicts[:1],
        goal_words=GOAL_WORDS,
    )
    return "".join(made)


def page_of(plan: bytes, outcome: str) -> str:
    """Write a plan from the content of its file as a page for people."""
    return plan_page(Plan.model_validate_json(plan), outcome)


@cache
def _world() -> Environment:
    from jinja2 import DictLoader

    pages = {name: text_of(name) for name in ("page.html", "index.html", "plan.html")}
    world = page_world(loader=DictLoader(pages), lstrip_blocks=True)
    world.filters["number"] = lambda value: f"{value:,}"
    return world


@cache
def text_of(name: str) -> str:
    """Return the text of a template, from a folder or from an archive."""
    from importlib.resources import files

    return str(files("trayopt.batches").joinpath("templates", name).read_text(encoding="utf-8"))
