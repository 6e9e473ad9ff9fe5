"""Every sentence of rules, explanations and wrong input has a form in every language, with the same values in it."""

from __future__ import annotations

import ast
import string
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.crewsheets.plans import straight
from trayopt.checker import check
from trayopt.domain.base import DIVIDE_AT, TRAVELS, remade
from trayopt.domain.explanation import GoalCost
from trayopt.domain.said import Said, begun_with, chained, has_words, joined, listed, said
from trayopt.explainer.cost_words import cost_said
from trayopt.explainer.roots import DIVIDED, LOOPS
from trayopt.goals.registry import GOALS
from trayopt.pictures.hardware import CONSTRUCTIONS
from trayopt.pictures.hardware_parts import TITLES
from trayopt.rules.registry import RULES
from trayopt.rules.tongues import LANGUAGES, forms_of, tongue_of

PACKAGE = Path(__file__).parents[2] / "trayopt"
ROOMS = ("rules", "explainer", "formats", "library", "domain", "desk", "pictures")
READERS = ("beside", "cells", "columns", "parts", "reading", "row_reader", "splices")
"""Files of the review that tell what is wrong with a table which somebody made."""
REVIEW = tuple(PACKAGE / "review" / f"{name}.py" for name in ("compare", "handmade", "mend", "moves", *READERS))
SHEETS = PACKAGE / "crewsheets" / "write.py"
KINDS = ("enclosure", "tray", "cable")


def calls(name: str) -> Iterator[ast.Call]:
    for path in (
        *REVIEW,
        SHEETS,
        *(path for room in ROOMS for path in sorted((PACKAGE / room).glob("*.py"))),
    ):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in {name, f"{name}_as"}:
                yield node


def texts(node: ast.expr) -> Iterator[str]:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.IfExp):
        yield from (*texts(node.body), *texts(node.orelse))


def said_in_code() -> set[str]:
    """Give the forms that stand in the code itself."""
    found = {text for call in calls("said") for text in texts(call.args[0])}
    found |= {text for call in calls("chained") for text in texts(call.args[1])}
    nouns = [[text for arg in call.args[1:] for text in texts(arg)] for call in calls("several")]
    found |= {f"{{n:,}} {noun[0]}|{{n:,}} {noun[1] if len(noun) > 1 else noun[0] + 's'}" for noun in nouns if noun}
    found |= {form for forms in DIVIDED.values() for form in forms} | {
        LOOPS,
        *TRAVELS,
        *(f"the {at}" for at in DIVIDE_AT),
        *KINDS,
        *TITLES.values(),
        *CONSTRUCTIONS.values(),
        *(goal.id for goal in GOALS),
    }
    return {form for form in found if has_words(form)}


def fields(form: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(form) if name}


def test_what_something_costs_is_said_with_the_words_for_the_goals() -> None:
    cost = cost_said([GoalCost(goal="crossings", value=0, kept=3, proven=True)])
    assert cost == "crossings 3 instead of 0"
    assert tongue_of("de").say(cost) == "Kreuzungen 3 statt 0"


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_form_has_one_in_every_language(language: str) -> None:
    parts = forms_of(language)
    forms = {form: text for part, found in parts.items() if part != "statements" for form, text in found.items()}
    own = said_in_code()
    assert len(own) > 500
    missing = sorted(own - forms.keys())
    assert missing == []
    for form, text in forms.items():
        assert fields(form) == fields(text), form
        assert form.count("|") == text.count("|"), form
    assert set(parts["statements"]) == {rule.id for rule in RULES}


def test_a_text_is_said_in_another_language_with_all_that_is_in_it() -> None:
    tongue = tongue_of("de")
    legs = said("{n:,} leg|{n:,} legs", n=1)
    text = said("{legs} {travel}", legs=legs, travel=said("clockwise"))
    both = listed([text, said("no limit"), "N1"], "or")
    assert both == "1 leg clockwise, no limit or N1"
    assert tongue.knows(both)
    assert tongue.say(both) == "1 Strang rechtsherum, ohne Grenze oder N1"
    assert (
        tongue.say(said("{most} fibres", most=said("{n:,} sleeve|{n:,} sleeves", n=1152)))
        == "1.152 Spleißschutze Fasern"
    )
    assert tongue.say(said("{part:.4g} %", part=12.25)) == "12,25 %"
    assert chained(["a", "b", "c"], "{first}, or {then}") == "a, or b, or c"
    assert not tongue.knows(joined([said("a sentence that nobody translated {x}", x=1)]))
    assert tongue.say("as it is") == "as it is"


def test_a_sentence_begins_with_other_subjects_in_every_language() -> None:
    need = said("{subject}: {n:,} leg|{subject}: {n:,} legs", subject="left", n=2)
    whole = said("{need}; in a plan with the others kept, {fact}", need=need, fact=said("clockwise"))
    both = begun_with(whole, "left", said("{subjects}, each", subjects=listed(["left", "right"])))
    assert both == "left and right, each: 2 legs; in a plan with the others kept, clockwise"
    assert tongue_of("de").say(both).startswith("left und right, je für sich: ")
    assert begun_with(whole, "right", "up") == whole
    assert begun_with("left: 2", "left", "right") == "right: 2"


def test_what_a_plan_breaks_is_said_in_german() -> None:
    job, plan = straight("2x432-wall-2x6")
    rows = tuple(
        row.model_copy(update={"stack": "left", "position": 1}) if row.stack is not None else row for row in plan.legs
    )
    found = check(job, remade(plan, legs=rows)).findings
    assert {each.rule for each in found} >= {"alternate_stacks", "tray_fibres", "tray_sleeves"}
    german = {each.rule: tongue_of("de").say(each.because) for each in found}
    assert all(isinstance(each.because, Said) and tongue_of("de").knows(each.because) for each in found)
    assert german["tray_fibres"] == (
        "left/1 hält 432 Spleiße und 0 abgelegte Fasern, 864 Faserenden; die Kassette fasst 144"
    )


UNSAID = ("join_paths.py", "json_in.py", "folder_out.py", "json_out.py")
"""Files whose faults no desk shows: of plan documents, and of what is written."""


def test_what_is_wrong_with_an_input_is_said_in_forms() -> None:
    """A text with words in it that is handed to a fault as it stands could be said in English alone."""
    bare = []
    paths = [path for room in ("formats", "library", "rules", "desk") for path in sorted((PACKAGE / room).glob("*.py"))]
    for path in (*paths, *(PACKAGE / "review" / f"{name}.py" for name in READERS)):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if path.name in UNSAID or not isinstance(node, ast.Call):
                continue
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if name not in {"fault", "stop", "RuleFault", "Fault", "wrong", "missing", "contradict"}:
                continue
            given = [*node.args, *(word.value for word in node.keywords)]
            bare += [f"{path.name}:{arg.lineno}" for arg in given if _in_words(arg)]
    assert bare == []


def _in_words(arg: ast.expr) -> bool:
    """Whether an argument is a text of several words that was not made by ``said``; ``kind: tray`` is text of a file."""
    if isinstance(arg, ast.BoolOp):
        return any(map(_in_words, arg.values))
    if isinstance(arg, ast.IfExp):
        return _in_words(arg.body) or _in_words(arg.orelse)
    if isinstance(arg, ast.JoinedStr):
        texts = [part.value for part in arg.values if isinstance(part, ast.Constant)]
        return any(str(text).strip(" :=,;()").isalpha() for text in texts) and texts != ["kind: "]
    return isinstance(arg, ast.Constant) and isinstance(arg.value, str) and " " in arg.value
