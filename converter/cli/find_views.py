"""How found rows and counts are shown: tables for people, records for programs."""

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, TextIO

from converter.cli.output import Format, json_line, records_to, texts_to
from converter.cli.tables import shortened, show_table
from converter.model.record import plain_number

if TYPE_CHECKING:
    from converter.archive import CountRow, FoundRow

_SHOWN = ("patient", "authored", "note", "reflex", "side", "basis", "value", "level", "status", "words")
_COUNTS = ("rows", "notes", "patients")


def write_found(stream: TextIO, format_: Format, rows: Iterable["FoundRow"]) -> None:
    """Write what was found as text, JSON, JSON lines or CSV; for people as one table."""
    if format_ is not Format.TEXT:
        _write_records(stream, format_, rows)
        return
    cells = list(_cells(rows))
    if cells:
        show_table(stream, _SHOWN, cells)
    stream.write(f"{len(cells)} found\n")


def write_counts(
    stream: TextIO, format_: Format, columns: Sequence[str], counts: Iterable["CountRow"]
) -> None:
    """Write counts, one row a group; what is not stated is an empty cell, in text a dash."""
    rows = ((*one.group, one.rows, one.notes, one.patients) for one in counts)
    names = (*columns, *_COUNTS)
    if format_ is Format.TEXT:
        show_table(stream, names, [["-" if cell is None else cell for cell in row] for row in rows])
        return
    with records_to(stream, format_, names) as write:
        for row in rows:
            write(dict(zip(names, row, strict=True)))


def _write_records(stream: TextIO, format_: Format, rows: Iterable["FoundRow"]) -> None:
    from converter.archive import FoundRow

    if format_ is Format.CSV:
        with records_to(stream, format_, FoundRow._fields) as write:
            for row in rows:
                write(_record(row))
        return
    with texts_to(stream, format_) as write_text:
        for row in rows:
            write_text(_text(_record(row)))


def _record(row: "FoundRow") -> dict[str, Any]:
    record = row._asdict()
    record["grade_low"], record["grade_high"] = plain_number(row.grade_low), plain_number(row.grade_high)
    return record


def _text(record: dict[str, Any]) -> str:
    """A record as `json_line` writes it; where no number has a fraction, the faster writer says the same."""
    import orjson

    if isinstance(record["grade_low"], float) or isinstance(record["grade_high"], float):
        return json_line(record)
    try:
        return orjson.dumps(record).decode()
    except orjson.JSONEncodeError:
        return json_line(record)  # a whole number of more than 64 bits


def _cells(rows: Iterable["FoundRow"]) -> Iterator[tuple[str | None, ...]]:
    for row in rows:
        site = " ".join(part for part in (row.site, row.which, row.root) if part)
        value = row.as_written or row.descriptor or row.response or row.beats or row.reason
        status = [row.status] if row.status != "current" else []
        status += ["uncertain"] if row.certainty == "uncertain" else []
        status += ["scale assumed"] if row.scale_basis == "assumed" else []
        status += [row.verdict] if row.verdict else []
        yield (
            row.patient,
            row.authored,
            row.id,
            site,
            row.side,
            row.basis,
            value,
            row.level,
            ", ".join(status),
            shortened(row.quote, 40),
        )
