"""The program `plexor`: puts the commands together. What a command needs is imported when it runs."""

from typing import Annotated

import typer

from converter.cli import (
    audit,
    check,
    convert,
    demo,
    export,
    find,
    load,
    profile,
    read,
    score,
    send,
    sql,
    summary,
    words,
)
from converter.cli.running import guarded

app = typer.Typer(
    name="plexor",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)

for command in (
    read,
    convert,
    check,
    profile,
    summary,
    load,
    find,
    export,
    send,
    sql,
    audit,
    words,
    score,
    demo,
):
    name = command.__name__.rpartition(".")[2]
    app.command(name, epilog=command.EXAMPLE)(guarded(getattr(command, name)))


def _show_version(wanted: bool) -> None:
    if wanted:
        from converter.api import program

        typer.echo(program())
        raise typer.Exit


@app.callback(
    epilog="\b\nExample:\n  plexor read notes.csv\n  plexor read --help\n\n"
    "For records work, not a diagnosis: confirm findings with a licensed clinician and local policy."
)
def plexor(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Read clinicians' shorthand for reflex examinations into checked, searchable records."""


def main() -> None:
    """Run the program; its exit status is 0 clean, 1 the input had errors, 2 could not run."""
    app()
