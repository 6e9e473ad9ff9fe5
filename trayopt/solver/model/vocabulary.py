"""How a relaxation is asked: through a voice that knows the words it declares, and no others."""

from __future__ import annotations

from typing import Any, cast

from trayopt.rules import variables as words
from trayopt.rules.variables import CannotSay, Variables, questions
from trayopt.solver.model.base import Base

ALL = frozenset().union(*(questions(part) for part in Variables.__mro__ if part.__module__ == words.__name__))
"""Every question that a rule or a goal can ask."""


class Voice:
    """What rules and goals get for a relaxation.

    Parameters
    ----------
    model
        The relaxation.
    parts
        Protocols of ``rules.variables`` that it can say beside ``Terms``.
    instead
        What answers in its place where it has a reading of its own for one rule: questions that this knows are put to it.
    """

    def __init__(self, model: Base, parts: tuple[type, ...], instead: object = None) -> None:
        self._name = type(model).__name__
        for name in questions(words.Terms).union(*map(questions, parts)):
            setattr(self, name, getattr(instead if name in dir(instead) else model, name))

    def __getattr__(self, name: str) -> Any:
        """Raise for every word that is not among its own."""
        if name in ALL:
            raise CannotSay(self._name, name)
        raise AttributeError(name)


def voice(model: Base, *parts: type, instead: object = None) -> Variables:
    """Return a relaxation a voice, as what rules and goals expect."""
    return cast("Variables", Voice(model, parts, instead))
