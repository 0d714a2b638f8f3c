"""`plexor read`: notes in, findings out."""

from collections.abc import Iterable, Iterator
from dataclasses import fields
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TextIO

import typer

from converter.cli.datasets import DataSet, DatePart, PartOption, read_dataset
from converter.cli.options import (
    Columns,
    Config,
    Encoding,
    Engine,
    EngineName,
    FileName,
    InputFormat,
    Inputs,
    Master,
    System,
    Workers,
    job_of,
    machines_of,
)
from converter.cli.output import Format, opened, records_to, texts_to
from converter.cli.read_views import show_legend, show_marked, write_changes, write_unread
from converter.cli.running import CannotRunError
from converter.cli.tables import counted, shortened, show_table
from converter.cli.troubles import line_of, visible
from converter.model import Finding, Note, Reading

if TYPE_CHECKING:
    from converter.cli.options import Job
    from converter.words import Vocabulary

EXAMPLE = """\b
Example:
  plexor read notes.csv
  plexor read notes/ --format jsonl --out findings.jsonl
  plexor read notes/ --unread-only
  plexor read notes/ --against findings.jsonl
  echo "KJ 2+/2+, AJ absent on the left" | plexor read -"""


class ReadFormat(StrEnum):
    """How readings are written."""

    TEXT = "text"
    JSON = "json"
    JSONL = "jsonl"
    CSV = "csv"
    PARQUET = "parquet"


_NOTE_COLUMNS = ("system", "id", "patient", "authored", "author")
_SAID_ALREADY = "unread-wording"
_SHOWN = ("reflex", "side", "value", "level", "status", "words")


_Format = Annotated[
    ReadFormat,
    typer.Option(
        "--format",
        help="text for people, json or jsonl with one record a note, csv with one row a finding. In CSV, "
        "text beginning with = + - or @ (a grade written +2, say) gets an apostrophe before it, so that "
        "no spreadsheet changes it. parquet, on a cluster alone, reads a data set in Parquet into one of "
        "readings and findings in the folder --out.",
    ),
]
_Out = Annotated[str | None, typer.Option(metavar="FILE", help="Write the results here instead.")]
_Marked = Annotated[
    bool, typer.Option("--marked", help="Show each note with findings and unread wording marked in place.")
]
_UnreadOnly = Annotated[
    bool, typer.Option("--unread-only", help="List unread wording over all notes, most frequent first.")
]
_Against = Annotated[
    Path | None,
    typer.Option(
        metavar="OLD.jsonl",
        help="List which findings changed, appeared or vanished since these records were written. INPUT "
        "is notes, or one newer file of records.",
    ),
]


def read(
    inputs: Inputs,
    format_: _Format = ReadFormat.TEXT,
    marked: _Marked = False,
    unread_only: _UnreadOnly = False,
    against: _Against = None,
    out: _Out = None,
    config: Config = None,
    input_format: InputFormat = None,
    columns: Columns = None,
    file_name: FileName = None,
    encoding: Encoding = None,
    system: System = None,
    workers: Workers = None,
    engine: Engine = EngineName.LOCAL,
    master: Master = None,
    part: PartOption = DatePart.MONTH,
) -> int:
    """List the findings of notes. Reflex wording that was not understood is listed too."""
    machines = machines_of(engine, master, workers)
    if format_ is ReadFormat.PARQUET:
        others = bool(marked or unread_only or against or file_name or encoding)
        others = others or input_format not in (None, "parquet")
        return read_dataset(
            DataSet("--format parquet", inputs, out, part, machines, config, columns, system, others)
        )
    with (
        job_of(inputs, config, input_format, columns, file_name, encoding, system, machines) as job,
        opened(Path(out) if out is not None else None) as stream,
    ):
        _write(
            stream,
            Format(format_.value),
            job,
            inputs,
            marked=marked,
            unread_only=unread_only,
            against=against,
        )
    return job.troubles.status


def _write(
    stream: TextIO,
    format_: Format,
    job: "Job",
    inputs: list[str],
    *,
    marked: bool,
    unread_only: bool,
    against: Path | None,
) -> None:
    """Write the view that was asked for."""
    if marked + unread_only + (against is not None) > 1:
        raise CannotRunError("--marked, --unread-only, --against: choose one of them")
    if marked and format_ is not Format.TEXT:
        raise CannotRunError(f"--marked --format {format_}: marks are for people; leave out --format")
    if against is not None:
        write_changes(stream, format_, against, _newer(inputs, job), job)
    elif unread_only:
        write_unread(stream, format_, job.readings())
    elif format_ is Format.TEXT:
        _show(stream, job.readings(), job.session.vocabulary, marked=marked)
    elif format_ is Format.CSV:
        write_readings(stream, format_, job.readings())
    else:
        _write_lines(stream, format_, job)


def _write_lines(stream: TextIO, format_: Format, job: "Job") -> None:
    """Write records that were made ready where the notes were read."""
    from converter.works import ToLines

    with texts_to(stream, format_) as write:
        for note, line in job.done(ToLines(job.session)):
            if line.errors:
                job.troubles.show_all(line.errors, note)
            write(line.text)


def _newer(inputs: list[str], job: "Job") -> Iterator[Reading]:
    """The newer readings: those of a file of records, else the notes read now."""
    from converter.cli.read_views import readings_in
    from converter.review.records import holds_records, read_records

    if len(inputs) == 1 and holds_records(Path(inputs[0])):
        return readings_in(read_records(Path(inputs[0])), job.troubles)
    return (reading for _, reading in job.readings())


def write_readings(stream: TextIO, format_: Format, readings: Iterable[tuple[Note, Reading]]) -> None:
    """Write readings as records: one a note, or in CSV one row a finding."""
    from converter.works import record_line

    if format_ is not Format.CSV:
        with texts_to(stream, format_) as write_text:
            for _, reading in readings:
                write_text(record_line(reading))
        return
    columns = (*_NOTE_COLUMNS, *(field.name for field in fields(Finding)))
    with records_to(stream, format_, columns) as write:
        for note, reading in readings:
            for row in _rows(note, reading):
                write(row)


def _rows(note: Note, reading: Reading) -> Iterator[dict[str, Any]]:
    from converter.model.record import finding_to_record

    about = {name: getattr(note, name) for name in _NOTE_COLUMNS}
    for finding in reading.findings:
        yield about | finding_to_record(finding)


def _show(
    stream: TextIO, readings: Iterable[tuple[Note, Reading]], vocabulary: "Vocabulary", *, marked: bool
) -> None:
    notes = findings = unread = 0
    for note, reading in readings:
        notes, findings, unread = notes + 1, findings + len(reading.findings), unread + len(reading.unread)
        show_heading(stream, note)
        if marked:
            show_marked(stream, note, reading, vocabulary)
        if reading.findings:
            _show_shorthand(stream, reading, vocabulary)
            show_table(stream, _SHOWN, [_cells(finding) for finding in reading.findings])
        else:
            stream.write("  no reflex finding\n")
        for piece in reading.unread:
            stream.write(f"  not understood: {visible(shortened(piece.text))} ({piece.why})\n")
        for trouble in reading.diagnostics:
            if trouble.code != _SAID_ALREADY:
                stream.write(f"  {line_of(trouble)}\n")
        stream.write("\n")
    totals = f"{counted(notes, 'note')}, {counted(findings, 'finding')}, {counted(unread, 'piece')}"
    stream.write(f"{totals} of reflex wording not understood\n")
    if marked:
        show_legend(stream)


def _show_shorthand(stream: TextIO, reading: Reading, vocabulary: "Vocabulary") -> None:
    """One line with all findings of a note, in the marks that clinicians write."""
    from converter.reading.shorthand import shorthand_of

    written = shorthand_of(reading.findings, vocabulary)
    left_out = f" ({len(written.left_out)} not in shorthand)" if written.left_out else ""
    stream.write(visible(f"  {written.text}{left_out}") + "\n")


def show_heading(stream: TextIO, note: Note) -> None:
    """One line that says which note follows."""
    parts = [f"note {note.id}", f"patient {note.patient}" if note.patient else "", note.authored or ""]
    stream.write(visible("  ".join(part for part in parts if part)) + "\n")


def _cells(finding: Finding) -> tuple[str | None, ...]:
    site = " ".join(part for part in (finding.site, finding.which, finding.root) if part)
    status = [finding.status] if finding.status != "current" else []
    status += ["uncertain"] if finding.certainty == "uncertain" else []
    status += ["scale assumed"] if finding.scale_basis == "assumed" else []
    return (site, finding.side, _value(finding), finding.level, ", ".join(status), shortened(finding.quote))


def _value(finding: Finding) -> str | None:
    """The value as written, else the canonical word for it."""
    said = finding.as_written or finding.descriptor or finding.response or finding.beats or finding.reason
    details = (finding.reinforcement, finding.quality, finding.comparison)
    extra = ", ".join(detail.replace("_", " ") for detail in details if detail)
    return f"{said or ''} ({extra})".strip() if extra else said
