"""Sentences that can be said in another language: text that remembers the form and the values that it was made of."""

from __future__ import annotations

import re
import string
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

UNITS = re.compile(r"\b(?:mm²?|MB)(?!\w)")


class Said(str):
    """A text, with its form, such as ``{place} holds {n} splices``, and the values in it, which may be such texts themselves."""

    __slots__ = ("form", "values")
    form: str
    values: Mapping[str, Any]

    def __reduce__(self) -> tuple[type[str], tuple[str]]:
        """Travel to another process as plain text."""
        return str, (str(self),)


def said(form: str, **values: Any) -> Said:
    """Say a form with values in English.

    A form may be one for one and one for more, parted by ``|``; the value ``n`` decides.
    """
    made = Said(_chosen(form, values).format(**values))
    made.form, made.values = form, values
    return made


def listed(items: Sequence[object], word: str = "and") -> str:
    """Write ``a, b and c``; empty where there is nothing to list."""
    if len(items) < 2:
        return next((item if isinstance(item, Said) else str(item) for item in items), "")
    form = "{items} or {last}" if word == "or" else "{items} and {last}"
    return said(form, items=joined(items[:-1]), last=items[-1])


def joined(items: Iterable[object], between: str = ", ") -> Said:
    """Write texts one after the other."""
    values = {f"part{i}": item for i, item in enumerate(items)}
    return said(between.join(f"{{{name}}}" for name in values), **values)


def chained(items: Sequence[object], form: str) -> str:
    """Say a form such as ``{first}, or {then}`` of two texts, or of more one in the other; of one alone the text itself."""
    if len(items) < 2:
        return listed(items)
    return said(form, first=items[0], then=chained(items[1:], form))


class Tongue(string.Formatter):
    """A language: says texts that were made by ``said`` with forms of its own, and writes numbers as it does.

    Parameters
    ----------
    forms
        Its forms by the English ones.
    number
        Writes a number that is written ``1,234.5`` in English.
    """

    def __init__(self, forms: Mapping[str, str], number: Callable[[str], str]) -> None:
        self._forms, self._number = forms, number

    def knows(self, text: str) -> bool:
        """Whether it has a form for all of a text."""
        if not isinstance(text, Said):
            return False
        own = text.form in self._forms or not has_words(text.form)
        return own and all(self.knows(value) for value in text.values.values() if isinstance(value, Said))

    def say(self, text: str) -> str:
        """Say a text; what it has no form for stays English."""
        if not isinstance(text, Said):
            return text
        form = _chosen(self._forms.get(text.form, text.form), text.values)
        return self.vformat(form, (), text.values)

    def format_field(self, value: Any, format_spec: str) -> str:
        """Say what is inside, and write numbers."""
        if isinstance(value, Said):
            return self.say(value)
        text: str = super().format_field(value, format_spec)
        return self._number(text) if isinstance(value, float) or format_spec == "," else text


def _chosen(form: str, values: Mapping[str, Any]) -> str:
    if "|" not in form or "n" not in values:
        return form
    one, more = form.split("|")
    return one if values["n"] == 1 else more


def has_words(form: str) -> bool:
    """Whether a form has words of a language in it; the sign of a unit is the same in all."""
    texts = [text for text, *_ in string.Formatter().parse(form)]
    return any(char.isalpha() for text in texts for char in UNITS.sub("", text))
