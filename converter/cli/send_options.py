"""The options of `plexor send`."""

from pathlib import Path
from typing import Annotated

import typer

from converter.cli.added_options import Options

USUAL_BATCH, USUAL_ATTEMPTS = 10, 6

Url = Annotated[str, typer.Argument(metavar="URL", help="Base address of the server.")]

SEND_OPTIONS: Options = {
    "ledger": Annotated[
        Path | None,
        typer.Option(
            "--ledger",
            metavar="FOLDER",
            help="What was sent to this server before; else a folder beside the archive. Keep it: what no "
            "longer holds can be taken back only with it.",
        ),
    ],
    "report": Annotated[
        Path | None,
        typer.Option(
            "--report",
            metavar="FILE",
            help="What the server said about each resource, as CSV (.csv) or JSON lines; else in the ledger.",
        ),
    ],
    "dry_run": Annotated[bool, typer.Option("--dry-run", help="Send nothing; count what would be sent.")],
    "batch": Annotated[
        int | None,
        typer.Option(
            "--batch", min=1, metavar="NUMBER", help=f"Notes in one transaction; {USUAL_BATCH} unless said."
        ),
    ],
    "attempts": Annotated[
        int | None,
        typer.Option(
            "--attempts",
            min=1,
            metavar="NUMBER",
            help=f"How often a batch is tried where the server has no time; {USUAL_ATTEMPTS} unless said.",
        ),
    ],
    "again": Annotated[
        bool, typer.Option("--again", help="Also send what the server has accepted before, as if it lost it.")
    ],
    "take_back": Annotated[
        bool,
        typer.Option("--take-back", help="Take back what was sent for notes that the archive holds no more."),
    ],
    "checked": Annotated[
        bool | None,
        typer.Option(
            "--check/--no-check",
            help="Check each resource first (usual); a note with a faulty one is not sent.",
        ),
    ],
    "allow_http": Annotated[
        bool, typer.Option("--allow-http", help="Let the address be plain http to another machine.")
    ],
}
