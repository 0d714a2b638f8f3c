"""The amendments that an archive holds, as values.

Takes a connection and identities of notes or numbers of readings; gives amendments in the order in which
they were made. Making and undoing them belongs to `amending`.
"""

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from converter.archive.rows import Row, Writer, identity_number, spans_values, without_words
from converter.archive.values import Archive, NoteKey
from converter.model import Amendment, Finding, Span
from converter.model.record import finding_from_record, finding_to_record

if TYPE_CHECKING:
    import duckdb

_COLUMNS = """
a.system, a.id, a.note_hash, a.spans, a.verdict, a.record, a.made_on, a.judged_by, a.judged_at, a.remark,
a.amendment, u.undone_by, u.undone_at
"""
_FROM = "FROM amendments a LEFT JOIN amendments_undone u ON u.amendment = a.amendment"
_PAGE = 1000


def amendments(archive: Archive, keys: Iterable[NoteKey] | None = None) -> Iterator[Amendment]:
    """The amendments that were made, the ones undone among them, in the order of their numbers.

    Args:
        archive: an open archive.
        keys: identities of the notes wanted; None for all.
    """
    cursor = archive.connection.cursor()
    wanted = None if keys is None else {NoteKey(*key) for key in keys}
    sql, values = f"SELECT {_COLUMNS} {_FROM}", []
    if wanted is not None:
        sql += " WHERE a.identity IN (SELECT unnest(?::BIGINT[]))"
        values = [sorted({identity_number(key) for key in wanted})]
    found = cursor.execute(f"{sql} ORDER BY a.amendment", values)
    while page := found.fetchmany(_PAGE):
        for row in page:
            if wanted is None or NoteKey(row[0], row[1]) in wanted:
                yield _amendment(row)


def standing(
    connection: "duckdb.DuckDBPyConnection", keys: Iterable[NoteKey]
) -> dict[NoteKey, list[Amendment]]:
    """The amendments of these notes that were not undone, note by note."""
    wanted = set(keys)
    numbers = sorted({identity_number(key) for key in wanted})
    sql = (
        f"SELECT {_COLUMNS} {_FROM} WHERE a.identity IN (SELECT unnest(?::BIGINT[]))"
        " AND u.amendment IS NULL ORDER BY a.amendment"
    )
    found: dict[NoteKey, list[Amendment]] = defaultdict(list)
    for row in connection.execute(sql, [numbers]).fetchall() if numbers else ():
        key = NoteKey(row[0], row[1])
        if key in wanted:
            found[key].append(_amendment(row))
    return dict(found)


def applied(connection: "duckdb.DuckDBPyConnection", readings: list[int]) -> dict[int, list[Amendment]]:
    """The amendments that each amended reading rests on, with the identifier of their finding there."""
    sql = (
        f"SELECT p.reading, p.finding, {_COLUMNS} {_FROM}"
        " JOIN amendments_applied p ON p.amendment = a.amendment"
        " WHERE p.reading IN (SELECT unnest(?::BIGINT[])) ORDER BY a.amendment"
    )
    found: dict[int, list[Amendment]] = defaultdict(list)
    for reading, finding, *row in connection.execute(sql, [readings]).fetchall():
        found[reading].append(replace(_amendment(tuple(row)), made_on=finding))
    return found


def amendment_row(amendment: Amendment, number: int, writer: Writer) -> Row:
    """The row of `amendments`."""
    return (
        number,
        identity_number(NoteKey(amendment.system, amendment.id)),
        amendment.system,
        amendment.id,
        amendment.note_hash,
        spans_values(amendment.spans),
        amendment.verdict,
        amendment.made_on,
        None if amendment.finding is None else _record(amendment.finding, writer),
        amendment.by,
        amendment.at,
        writer.words(amendment.remark),
    )


def _record(finding: Finding, writer: Writer) -> str:
    record = finding_to_record(finding)
    if not writer.quotes:
        record = {name: without_words(name, value, writer) for name, value in record.items()}
    return json.dumps(record, ensure_ascii=False, allow_nan=False)


def _amendment(row: tuple[Any, ...]) -> Amendment:
    system, name, note_hash, spans, verdict, record, made_on, by, at, remark, number, *undone = row
    return Amendment(
        system=system,
        id=name,
        note_hash=note_hash,
        spans=tuple(Span(**span) for span in spans),
        verdict=verdict,
        finding=None if record is None else _finding(json.loads(record)),
        made_on=made_on,
        by=by,
        at=at,
        remark=remark,
        number=number,
        undone_by=undone[0],
        undone_at=undone[1],
    )


def _finding(record: dict[str, Any]) -> Finding:
    return finding_from_record(record | {"quote": record["quote"] or ""})
