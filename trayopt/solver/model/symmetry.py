"""Stacks that are alike to a model: to swap two of them maps its constraints onto themselves.

The tags of the variables only propose what becomes what; that nothing changes is seen from the constraints. So of the plans
that are one but for the names of stacks a model need hold only one, as long as it is asked nothing that tells them apart.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from trayopt.domain.hardware import Place
from trayopt.solver.model import cp_sat
from trayopt.solver.model.literals import Literals, OnStack, Tag

NONE: frozenset[int] = frozenset()


class Plain(NamedTuple):
    """A constraint: its kind, its domain, the literals that enforce it, and its terms by literal, in no order."""

    kind: str
    domain: tuple[int, ...]
    when: frozenset[int]
    terms: frozenset[tuple[int, int]]

    def touches(self, literals: frozenset[int]) -> bool:
        """Whether one of these literals is in it."""
        return any(literal in literals for literal, _ in self.terms) or not literals.isdisjoint(self.when)

    def mapped(self, images: Sequence[int]) -> Plain:
        """Return the constraint with each literal replaced by its image (``_of_literals``)."""
        return Plain(
            self.kind,
            self.domain,
            frozenset([images[literal] for literal in self.when]) if self.when else NONE,
            frozenset([(images[literal], number) for literal, number in self.terms]),
        )


NOTHING = Plain("nothing", (), NONE, frozenset())
"""A constraint that was taken back: it holds always."""


def alike(x: Literals, stacks: Sequence[str]) -> list[list[str]]:
    """Group stacks that may be swapped in a model; a stack that is like no other is a group of its own."""
    groups: list[list[str]] = []
    constraints: list[Plain | None] = []
    for stack in stacks:
        for group in groups:
            images = _images(x, group[0], stack)
            if images is None:
                continue
            constraints = constraints or [_plain(constraint) for constraint in x.cp.proto.constraints]
            if _stay(constraints, images):
                group.append(stack)
                break
        else:
            groups.append([stack])
    return groups


def _stay(constraints: Sequence[Plain | None], images: Sequence[int]) -> bool:
    """Whether constraints are the same ones after variables became others; where one is not known, that cannot be told.

    A constraint without a variable that becomes another stays as it is.
    """
    moved = {index for index, image in enumerate(images) if index != image}
    literals = frozenset(moved | {-index - 1 for index in moved})
    touched: Counter[Plain] = Counter()
    for each in constraints:
        if each is None:
            return False
        if each.touches(literals):
            touched[each] += 1
    become = _of_literals(images)
    return all(touched.get(each.mapped(become)) == times for each, times in touched.items())


def _images(x: Literals, one: str, other: str) -> list[int] | None:
    """Propose for each variable which it becomes, no two the same one; None where tags do not say that."""
    swapped = {one: other, other: one}
    variables = x.cp.proto.variables
    number = {tag: index for index, tag in x.tags.items()}
    if len(number) < len(x.tags):
        return None
    made = {literal.index: key for key, literal in x.made(("any", "one"))}
    known = {key: index for index, key in made.items()}
    domains = [_numbers(variable.domain) for variable in variables]
    images: list[int] = []
    for index in range(len(variables)):
        image: int | None = index
        if index in x.tags:
            image = number.get(_swap(x.tags[index], swapped))
        elif index in made:
            kind, *members = made[index]
            literals = (member for member in members if isinstance(member, int))
            image = known.get((kind, *sorted(_image(images, literal) for literal in literals)))
        if image is None or (image != index and domains[image] != domains[index]):
            return None
        images.append(image)
    return images if len(set(images)) == len(images) else None


def _swap(tag: Tag, swapped: Mapping[str, str]) -> Tag:
    """Return the tag that has the other stack wherever this has the one."""
    return tuple(
        part._replace(stack=swapped.get(part.stack, part.stack)) if isinstance(part, OnStack | Place) else part
        for part in tag
    )


def _image(images: Sequence[int], literal: int) -> int:
    """Map a literal: below 0 is the negation of a variable."""
    return images[literal] if literal >= 0 else -images[-literal - 1] - 1


def _of_literals(images: Sequence[int]) -> list[int]:
    """Return what literals become where variables do: those below 0, the negations, count from the end of the list."""
    return [*images, *(-image - 1 for image in reversed(images))]


def _numbers(repeated: Sequence[int]) -> list[int]:
    """Read a list of numbers of the model's plain data; its own iteration ends by an exception, which takes ten times as long."""
    return [repeated[i] for i in range(len(repeated))]


def _plain(constraint: cp_sat.ConstraintProto) -> Plain | None:
    """Read a constraint; None for a kind that is not known here."""
    when = frozenset(_numbers(constraint.enforcement_literal)) or NONE
    if constraint.has_linear():
        linear = constraint.linear
        terms = list(zip(_numbers(linear.vars), _numbers(linear.coeffs), strict=True))
        return Plain("linear", tuple(_numbers(linear.domain)), when, _summed(terms))
    literals: Sequence[int]
    if constraint.has_bool_or():
        kind, literals = "bool_or", constraint.bool_or.literals
    elif constraint.has_bool_and():
        kind, literals = "bool_and", constraint.bool_and.literals
    elif constraint.has_at_most_one():
        kind, literals = "at_most_one", constraint.at_most_one.literals
    elif constraint.has_exactly_one():
        kind, literals = "exactly_one", constraint.exactly_one.literals
    else:
        return None if str(constraint) else NOTHING
    return Plain(kind, (), when, _summed([(literal, 1) for literal in _numbers(literals)]))


def _summed(terms: Sequence[tuple[int, int]]) -> frozenset[tuple[int, int]]:
    """Return terms without an order; terms of the same literal are added up."""
    found = frozenset(terms)
    if len(found) == len(terms):
        return found
    numbers: Counter[int] = Counter()
    for literal, number in terms:
        numbers[literal] += number
    return frozenset(numbers.items())
