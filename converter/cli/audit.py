"""`plexor audit`: how the examinations in an archive are documented."""

import os
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TextIO

import typer

from converter.cli.clock import now
from converter.cli.load import archive_path
from converter.cli.options import Config, Out, settings_of
from converter.cli.output import Format, opened, records_to
from converter.cli.running import CLEAN, CannotRunError

if TYPE_CHECKING:
    from converter.api import Session
    from converter.audit import Audit, AuditOptions

EXAMPLE = """\b
Example:
  plexor audit findings.duckdb --out report.html
  plexor audit findings.duckdb --format csv --out figures.csv
  plexor audit findings.duckdb --out report.html --min-count 1 --notes ids"""


class ReportFormat(StrEnum):
    """How the audit is written."""

    HTML = "html"
    JSON = "json"
    CSV = "csv"


class Naming(StrEnum):
    """What a report shows of the notes behind a figure."""

    NONE = "none"
    IDS = "ids"
    QUOTES = "quotes"


def audit(
    archive: Annotated[
        Path | None,
        typer.Argument(metavar="ARCHIVE", help="The archive; else the one that plexor.toml names."),
    ] = None,
    out: Out = None,
    format_: Annotated[
        ReportFormat, typer.Option("--format", help="html for people; json or csv with every figure.")
    ] = ReportFormat.HTML,
    min_count: Annotated[
        int, typer.Option(min=1, metavar="N", help="Hide numbers resting on fewer patients; 1 hides nothing.")
    ] = 10,
    notes: Annotated[
        Naming,
        typer.Option(help="List the notes behind each figure: ids or quotes. Only with --min-count 1."),
    ] = Naming.NONE,
    patients: Annotated[
        bool, typer.Option("--patients", help="Also write a page for each patient, in a folder beside --out.")
    ] = False,
    config: Config = None,
) -> int:
    """Audit how examinations are documented, by examiner, facility, note type and month.

    Small numbers are hidden, and so are others that would give them away by subtraction. A list of notes and
    pages of patients pick people out: ask for them only where all readers may see the notes.
    """
    from converter import api

    _check(out, format_, min_count, notes, patients=patients)
    settings = settings_of(config)
    session = api.open_session(settings, time=now())
    path = archive_path(archive, settings)
    if notes is not Naming.NONE:
        os.umask(0o077)  # a report that names notes is readable by its owner only
    found = api.audit(path, session, _options(session, min_count, notes))
    with opened(out) as stream:
        write_audit(stream, format_, found)
    if patients and out is not None:
        write_patients(out.with_name(f"{out.stem}-patients"), path, session)
    return CLEAN


def _check(out: Path | None, format_: ReportFormat, min_count: int, notes: Naming, *, patients: bool) -> None:
    from converter.audit import CHARTS_NEED, charts_at_hand

    if format_ is ReportFormat.HTML and not charts_at_hand():
        raise CannotRunError(CHARTS_NEED)
    if notes is not Naming.NONE and min_count > 1:
        raise CannotRunError(
            "--notes names single notes, so small numbers cannot be hidden: add --min-count 1"
        )
    if patients and out is None:
        raise CannotRunError("--patients writes a folder beside the report: say where with --out")


def _options(session: "Session", min_count: int, notes: Naming) -> "AuditOptions":
    from converter.audit import AuditOptions

    return AuditOptions(
        min_count=min_count,
        name_notes=notes is not Naming.NONE,
        quotes=notes is Naming.QUOTES,
        made=session.time or "",
        program=session.program,
    )


def write_audit(stream: TextIO, format_: ReportFormat, found: "Audit") -> None:
    """Write the audit in one of its formats."""
    from converter.audit import COLUMNS, audit_record, audit_rows, report_html

    if format_ is ReportFormat.HTML:
        stream.write(report_html(found))
    elif format_ is ReportFormat.JSON:
        import json

        stream.write(json.dumps(audit_record(found), ensure_ascii=False, indent=2) + "\n")
    else:
        with records_to(stream, Format.CSV, COLUMNS) as write:
            for row in audit_rows(found):
                write(row)


def write_patients(folder: Path, archive: Path, session: "Session") -> None:
    """Write a page for each patient; folder and pages are readable by their owner only.

    Raises:
        CannotRunError: the folder holds something else already.
    """
    from converter import api

    folder.mkdir(mode=0o700, exist_ok=True)
    if any(one.suffix != ".html" for one in folder.iterdir()):
        raise CannotRunError(f"{folder}: holds other files; remove the folder or choose another --out")
    count = 0
    for count, (name, html) in enumerate(api.patient_pages(archive, session), 1):  # noqa: B007 - told below
        flags = os.O_WRONLY | os.O_CREAT | os.O_TRUNC
        with os.fdopen(os.open(folder / name, flags, 0o600), "w", encoding="utf-8") as stream:
            stream.write(html)
    typer.echo(f"{count} pages of patients in {folder}", err=True)
