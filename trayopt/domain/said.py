"""Sentences that can be translated: texts that remember the form and the values from which they were made."""

from __future__ import annotations

import re
import string
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import lru_cache
from types import MappingProxyType
from typing import Any

UNITS = re.compile(r"\b(?:mm²?|MB)(?!\w)")


class Said(str):
    """A text with its form, such as ``{place} holds {n} splices``, and its values, which may be such texts themselves."""

    __slots__ = ("form", "values")
    form: str
    values: Mapping[str, Any]

    def __reduce__(self) -> tuple[type[str], tuple[str]]:
        """Pickle as plain text: another process gets no form and no values."""
        return str, (str(self),)


def said(form: str, **values: Any) -> Said:
    """Make the English text of a form and its values.

    A form may have a singular and a plural, separated by ``|``; the value ``n`` decides between them.
    """
    if not values:
        return _as_it_is(form)
    made = Said(_chosen(form, values).format(**values))
    made.form, made.values = form, values
    return made


@lru_cache(maxsize=4096)
def _as_it_is(form: str) -> Said:
    """Make the text of a form without values, once: in a long table it may be said in every row."""
    made = Said(form.format())
    made.form, made.values = form, MappingProxyType({})
    return made


def listed(items: Sequence[object], word: str = "and") -> str:
    """Write ``a, b and c``; an empty text if there is nothing to list."""
    if len(items) < 2:
        return next((item if isinstance(item, Said) else str(item) for item in items), "")
    form = "{items} or {last}" if word == "or" else "{items} and {last}"
    return said(form, items=joined(items[:-1]), last=items[-1])


def joined(items: Iterable[object], between: str = ", ") -> Said:
    """Write texts one after the other, with ``between`` between them."""
    values = {f"part{i}": item for i, item in enumerate(items)}
    return said(between.join(f"{{{name}}}" for name in values), **values)


def chained(items: Sequence[object], form: str) -> str:
    """Join texts by a form such as ``{first}, or {then}``, nested from the right; a single text stays as it is."""
    if len(items) < 2:
        return listed(items)
    return said(form, first=items[0], then=chained(items[1:], form))


def begun_with(text: str, first: str, other: str) -> str:
    """Give a text that begins with ``first`` and a colon so that it begins with another one; any other text as it is."""
    if not text.startswith(f"{first}: "):
        return text
    if not isinstance(text, Said):
        return other + text[len(first) :]
    _, name, _, _ = next(iter(string.Formatter().parse(_chosen(text.form, text.values))))
    value = text.values.get(name or "")
    if value is None or not text.startswith(str(value)):
        return text
    inner = other if str(value) == first else begun_with(value, first, other) if isinstance(value, Said) else value
    return said(text.form, **{**text.values, str(name): inner})


class Tongue(string.Formatter):
    """A language: translates texts that ``said`` made, and writes numbers in its own way.

    Parameters
    ----------
    forms
        The form in this language for each English form.
    number
        Rewrites a number from the English style, ``1,234.5``, to the style of the language.
    """

    def __init__(self, forms: Mapping[str, str], number: Callable[[str], str]) -> None:
        self._forms, self._number = forms, number

    def knows(self, text: str) -> bool:
        """Whether the language has a form for every part of a text."""
        if not isinstance(text, Said):
            return False
        own = text.form in self._forms or not has_words(text.form)
        return own and all(self.knows(value) for value in text.values.values() if isinstance(value, Said))

    def say(self, text: str) -> str:
        """Translate a text; parts for which the language has no form stay English."""
        if not isinstance(text, Said):
            return text
        form = _chosen(self._forms.get(text.form, text.form), text.values)
        return self.vformat(form, (), text.values)

    def format_field(self, value: Any, format_spec: str) -> str:
        """Translate a value that is a text, and rewrite a value that is a number."""
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
    """Whether a form contains words; symbols of units are the same in every language and do not count."""
    texts = [text for text, *_ in string.Formatter().parse(form)]
    return any(char.isalpha() for text in texts for char in UNITS.sub("", text))
