"""What the shell completes where a command takes a file, a folder, or an entry of the library."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import click

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem


class Named(click.ParamType[Any]):
    """A file or a folder that the shell completes by its own rules; nothing else is asked of it."""

    name = "path"

    def __init__(self, what: Literal["file", "dir"], made: type = str) -> None:
        self.what, self.made = what, made

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the name as text, or as a path."""
        del param, ctx
        return self.made(value)

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem[str]]:
        """Leave it to the shell."""
        del ctx, param
        return [_left_to_shell(incomplete, self.what)]


FILE, FOLDER = Named("file"), Named("dir")


def entries(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem[str]]:
    """Complete an id of the library, of the kind and in the folders that the command line names; or a file, if no id fits."""
    from click.shell_completion import CompletionItem

    from trayopt.errors import InputError
    from trayopt.library.find import KINDS, Library

    del param
    try:
        library = Library(ctx.params.get("library") or ())
    except InputError:
        library = Library()
    asked = ctx.params.get("kind")
    ids = {name for kind in KINDS if asked in {None, kind} for name in library.names(kind)}
    found = [CompletionItem(name) for name in sorted(ids) if name.startswith(incomplete)]
    return found or [_left_to_shell(incomplete, "file")]


def kinds(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem[str]]:
    """Complete a kind of file that has a schema."""
    from click.shell_completion import CompletionItem

    from trayopt.formats.schema import KINDS

    del ctx, param
    return [CompletionItem(kind) for kind in KINDS if kind.startswith(incomplete)]


def _left_to_shell(incomplete: str, what: str) -> CompletionItem[str]:
    from click.shell_completion import CompletionItem

    return CompletionItem(incomplete, type=what)
