"""Stacks that are alike to a model: to swap two of them maps its constraints onto themselves.

The tags of the variables only propose what becomes what; that nothing changes is seen from the constraints. So of the plans
that are one but for the names of stacks a model need hold only one, as long as it is asked nothing that tells them apart.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from trayopt.domain.hardware import Place
from trayopt.solver.model.literals import Literals, OnStack, Tag

NOTHING: tuple[Any, ...] = ("nothing", (), (), ())
"""A constraint that was taken back: it holds always."""
KINDS: tuple[str, ...] = ("bool_or", "bool_and", "at_most_one", "exactly_one")
"""Constraints over literals alone, in no order."""


def alike(x: Literals, stacks: Sequence[str]) -> list[list[str]]:
    """Group stacks that may be swapped in a model; a stack that is like no other is a group of its own."""
    plain = [_plain(constraint) for constraint in x.cp.proto.constraints]
    constraints = Counter(constraint for constraint in plain if constraint is not None)
    if None in plain:
        return [[stack] for stack in stacks]
    groups: list[list[str]] = []
    for stack in stacks:
        group = next((group for group in groups if _same(x, constraints, group[0], stack)), None)
        if group is None:
            groups.append([stack])
        else:
            group.append(stack)
    return groups


def _same(x: Literals, constraints: Counter[tuple[Any, ...]], one: str, other: str) -> bool:
    """Whether two stacks may be swapped."""
    images = _images(x, one, other)
    return images is not None and Counter(_mapped(each, images) for each in constraints.elements()) == constraints


def _images(x: Literals, one: str, other: str) -> list[int] | None:
    """Propose for each variable which it becomes; None where tags do not say that."""
    swapped = {one: other, other: one}
    variables = x.cp.proto.variables
    number = {tag: index for index, tag in x.tags.items()}
    if len(number) < len(x.tags):
        return None
    made = {literal.index: key for key, literal in x.made(("any", "one"))}
    known = {key: index for index, key in made.items()}
    images: list[int] = []
    for index in range(len(variables)):
        if index in x.tags:
            image = number.get(_swap(x.tags[index], swapped))
        elif index in made:
            kind, *members = made[index]
            literals = (member for member in members if isinstance(member, int))
            image = known.get((kind, *sorted(_image(images, literal) for literal in literals)))
        else:
            image = index
        if image is None or list(variables[image].domain) != list(variables[index].domain):
            return None
        images.append(image)
    return images


def _swap(tag: Tag, swapped: Mapping[str, str]) -> Tag:
    """Give the tag that has the other stack wherever this has the one."""
    return tuple(
        part._replace(stack=swapped.get(part.stack, part.stack)) if isinstance(part, OnStack | Place) else part
        for part in tag
    )


def _image(images: Sequence[int], literal: int) -> int:
    """Map a literal: below 0 is the negation of a variable."""
    return images[literal] if literal >= 0 else -images[-literal - 1] - 1


def _plain(constraint: Any) -> tuple[Any, ...] | None:
    """Give a constraint as kind, domain, literals that enforce it, and its terms; None for a kind that is not known here."""
    when = tuple(sorted(constraint.enforcement_literal))
    if constraint.has_linear():
        linear = constraint.linear
        return "linear", tuple(linear.domain), when, tuple(sorted(zip(linear.vars, linear.coeffs, strict=True)))
    for kind in KINDS:
        if getattr(constraint, f"has_{kind}")():
            literals = getattr(constraint, kind).literals
            return kind, (), when, tuple(sorted((literal, 1) for literal in literals))
    return None if str(constraint) else NOTHING


def _mapped(constraint: tuple[Any, ...], images: Sequence[int]) -> tuple[Any, ...]:
    kind, domain, when, terms = constraint
    return (
        kind,
        domain,
        tuple(sorted(_image(images, literal) for literal in when)),
        tuple(sorted((_image(images, literal), number) for literal, number in terms)),
    )
