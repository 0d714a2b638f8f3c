"""`plexor profile`: the profiles at hand, one of them as a tree, or what is wrong with them."""

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TextIO

import typer

from converter.cli.check import write_table
from converter.cli.flowing import Column, FlowingTable
from converter.cli.options import Config, Out, settings_of
from converter.cli.output import opened
from converter.cli.running import CLEAN, INPUT_ERRORS, CannotRunError
from converter.cli.tables import counted, show_table
from converter.cli.troubles import is_error

if TYPE_CHECKING:
    from converter.check import Definitions

EXAMPLE = """\b
Example:
  plexor profile list
  plexor profile show reflex-finding
  plexor profile check --profiles our-profiles/"""


_WIDEST_NAME = 40


class Action(StrEnum):
    """What to do with profiles."""

    LIST = "list"
    SHOW = "show"
    CHECK = "check"


def profile(
    action: Annotated[Action, typer.Argument(help="list, show NAME, or check.")],
    name: Annotated[
        str | None, typer.Argument(help="For show: an address, its last part, or a type such as Observation.")
    ] = None,
    profiles: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="DIR", help="A folder of definitions besides the shipped ones. May be repeated."
        ),
    ] = None,
    release: Annotated[str, typer.Option(metavar="RELEASE", help="R4 or R5.")] = "R4",
    out: Out = None,
    config: Config = None,
) -> int:
    """List profiles, show one as a tree of elements, or check the profiles themselves."""
    from converter.check import RELEASES, load_definitions

    if release not in RELEASES:
        raise CannotRunError(f"--release {release}: known are {', '.join(RELEASES)}")
    settings = settings_of(config)
    folders = [*(settings.path(one) for one in settings.profiles.folders), *(profiles or ())]
    definitions = load_definitions(folders, settings.fhir.canonical)
    with opened(out) as stream:
        if action is Action.LIST:
            return _list(stream, definitions, release)
        if action is Action.SHOW:
            return _show(stream, definitions, release, name)
        return _check(stream, definitions, release)


def _list(stream: TextIO, definitions: "Definitions", release: str) -> int:
    from converter.check import listed_profiles

    rows = listed_profiles(definitions, release)
    show_table(stream, ("profile", "title", "type"), [(row.url, row.title, row.type) for row in rows])
    return CLEAN


def _show(stream: TextIO, definitions: "Definitions", release: str, name: str | None) -> int:
    from converter.check import element_tree

    if name is None:
        raise CannotRunError(
            "plexor profile show needs the name of a profile; plexor profile list shows them"
        )
    rows = element_tree(definitions, name, release)
    if rows is None:
        raise CannotRunError(f"{name}: there is no such profile; plexor profile list shows them")
    names = ["  " * row.depth + row.name for row in rows]
    widest = min(max(map(len, names)), _WIDEST_NAME)
    columns = [Column("element", width=widest), Column("times", width=5)]
    table = FlowingTable(stream, [*columns, Column("types", share=3), Column("rules", share=4)])
    for name_cell, row in zip(names, rows, strict=True):
        table.row((name_cell, row.cardinality, row.types, row.rules))
    return CLEAN


def _check(stream: TextIO, definitions: "Definitions", release: str) -> int:
    from converter.check import check_definitions

    found = check_definitions(definitions, release)
    write_table(stream, found)
    errors = sum(map(is_error, found))
    stream.write(f"{counted(errors, 'error')}, {counted(len(found) - errors, 'warning')}\n")
    return INPUT_ERRORS if errors else CLEAN
