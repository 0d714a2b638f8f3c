"""The program `plexor`: puts the commands together. What a command needs is imported when it runs.

A command line that names its command first gets a program with that one alone, since to make all of them
takes longer than many runs do.
"""

import sys
from collections.abc import Callable, Sequence
from functools import cache
from importlib import import_module
from typing import TYPE_CHECKING, Annotated, Any

import typer

from converter.cli.running import guarded
from converter.collector import seldom_collect

if TYPE_CHECKING:
    app: typer.Typer
    """The program with all its commands, made when it is first asked for."""

COMMANDS = (
    "read", "convert", "check", "profile", "summary", "load", "find", "export", "send", "sql", "sample",
    "review", "amend", "relink", "forget", "audit", "words", "score", "demo",
)  # fmt: skip


def program_with(names: Sequence[str]) -> typer.Typer:
    """The program with some of its commands."""
    made = typer.Typer(
        name="plexor",
        add_completion=False,
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    )
    for name in names:
        made.command(name, epilog=_module(name).EXAMPLE)(guarded(_function(name)))
    made.callback(
        epilog="\b\nExample:\n  plexor read notes.csv\n  plexor read --help\n\n"
        "For records work, not a diagnosis: confirm findings with a licensed clinician and local policy."
    )(_plexor)
    return made


def _show_version(wanted: bool) -> None:
    if wanted:
        from converter.api import program

        typer.echo(program())
        raise typer.Exit


def _plexor(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Read clinicians' shorthand for reflex examinations into checked, searchable records."""


def main() -> None:
    """Run the program; its exit status is 0 clean, 1 the input had errors, 2 could not run."""
    seldom_collect()
    names = sys.argv[1:2] if sys.argv[1:] and sys.argv[1] in COMMANDS else COMMANDS
    program: Any = typer.main.get_command(program_with(names))
    program()


def _module(name: str) -> Any:
    return import_module(f"converter.cli.{name}")


def _function(name: str) -> Callable[..., int]:
    function: Callable[..., int] = getattr(_module(name), name)
    return function


@cache
def _whole() -> typer.Typer:
    return program_with(COMMANDS)


def __getattr__(name: str) -> Any:
    if name == "app":
        return _whole()
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
