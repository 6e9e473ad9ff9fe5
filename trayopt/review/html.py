"""Reviews and comparisons as printable, self-contained HTML files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from trayopt.checker import bounds_words
from trayopt.pictures.page import content_policy, page_world
from trayopt.pictures.svg import style
from trayopt.review.answers import pair_words
from trayopt.review.cautions import REVIEW
from trayopt.review.compare import Pair
from trayopt.review.desk import Review
from trayopt.review.picture import picture
from trayopt.review.remarks import LEVEL_WORDS
from trayopt.review.text import built_words, completion_words, read_words, verdict
from trayopt.rules.words import NONE_BETTER

MOST_REMARKS = 2_000
"""Greatest number of findings on a page; JSON and XLSX have all findings."""
TEMPLATES = Path(__file__).parent / "templates"


def review_html(review: Review) -> str:
    """Write the page of a review: verdict, picture with the findings at their places, findings, goals and figures."""
    from markupsafe import Markup

    data = review.as_dict()
    drawn = "" if review.laid is None else picture(review.job, review.laid, review.remarks)
    return _render(
        "review.html",
        review=review,
        remarks=review.remarks[:MOST_REMARKS],
        verdict=verdict(review),
        read=read_words(review),
        completion=completion_words(review),
        built=built_words(review),
        picture=Markup(drawn),
        levels=LEVEL_WORDS,
        goals=data["goals"],
        figures=data["measured"],
        best=review.best if review.best is not None and review.best.values else None,
        claims={claim.goal: claim.bound for claim in review.bounds},
        claimed=bounds_words(review.bounds),
    )


def compare_html(pair: Pair) -> str:
    """Write the page of a comparison, with the two plans side by side."""
    from markupsafe import Markup

    rows = pair.legs()
    differing = [{row[side].partition(" as ")[0] for row in rows} for side in ("a", "b")]
    return _render(
        "compare.html",
        pair=pair,
        data=pair.as_dict(),
        words=pair_words(pair),
        levels=LEVEL_WORDS,
        pictures=[
            Markup(picture(pair.job, laid, differing=places)) for laid, places in zip(pair.laid, differing, strict=True)
        ],
    )


def _render(name: str, **values: Any) -> str:
    from jinja2 import FileSystemLoader
    from markupsafe import Markup

    world = page_world(loader=FileSystemLoader(TEMPLATES))
    css = Markup(style() + (TEMPLATES / "base.css").read_text(encoding="utf-8"))
    return world.get_template(name).render(
        css=css, policy=content_policy(), safety=REVIEW, none_better=NONE_BETTER, **values
    )
