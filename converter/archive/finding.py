"""Finds findings in the archive, and counts them.

Takes a query; gives rows in a fixed order, a page at a time. Every value of a query is bound, never pasted
into the SQL.
"""

from collections.abc import Iterator, Sequence
from itertools import chain
from typing import Any

from converter.archive.fetching import TEXTS, rows_of
from converter.archive.patterns import pattern_sql
from converter.archive.queries import CountRow, FindQuery, FoundRow
from converter.archive.rows import days_of
from converter.archive.searched import AS_SAID, SPREAD
from converter.archive.values import Archive, ArchiveError

COUNTABLE = {
    "site": "site",
    "side": "side",
    "basis": "basis",
    "grade": "grade",
    "scale": "scale",
    "level": "level",
    "descriptor": "descriptor",
    "response": "response",
    "kind": "kind",
    "status": "status",
    "certainty": "certainty",
    "verdict": "verdict",
    "patient": "patient",
    "author": "author",
    "facility": "facility",
    "note_kind": "note_kind",
    "year": "CAST(left(authored, 4) AS VARCHAR)",
    "month": "CASE WHEN length(authored) >= 7 THEN left(authored, 7) END",
}
"""What can be counted by, and its SQL."""

_ORDER = """
seen.patient NULLS LAST, seen.authored_first NULLS LAST, seen.authored NULLS LAST, seen.system NULLS FIRST,
seen.id, seen.reading, seen.finding_place, seen.place"""
_FOUND = f"""
WITH chosen AS MATERIALIZED (
    SELECT reading, finding_place, place, site, side, basis, note_at, finding_at
    FROM ({{found}}) AS seen {{first}}
)
SELECT own, shared
FROM (
    SELECT {TEXTS}, n.patient, n.authored_first, n.authored, n.system, n.id,
           seen.reading, seen.finding_place, seen.place
    FROM chosen AS seen JOIN findings f ON f.rowid = seen.finding_at JOIN notes n ON n.rowid = seen.note_at
) AS seen
ORDER BY {_ORDER}
"""  # noqa: S608 - our own names
"""Chooses rows by the few columns that a query speaks of, and only then takes up the rest: the database
passes over whatever lies apart from the chosen rows, and sorts texts instead of many columns."""
_GRADE = """
CASE WHEN grade_low = grade_high THEN format('{:g}', grade_low)
     WHEN grade_low IS NOT NULL THEN format('{:g}-{:g}', grade_low, grade_high) END AS grade"""
_PAGE = 1000


def find(archive: Archive, query: FindQuery) -> Iterator[FoundRow]:
    """The findings that answer a query, by patient and date, then in the order of the note.

    Args:
        archive: an open archive.
        query: what to look for.

    Raises:
        ArchiveError: the query contradicts itself, in one sentence.
    """
    found, values = found_sql(query)
    if query.limit is None:
        sql = _FOUND.format(found=found, first="")
    else:
        sql = _FOUND.format(found=found, first=f"ORDER BY {_ORDER} LIMIT ?")
        values = [*values, query.limit]
    known: dict[str, list[Any]] = {}
    return chain.from_iterable(rows_of(page, known) for page in _pages(archive, sql, values))


def count(archive: Archive, query: FindQuery, by: Sequence[str] = ()) -> Iterator[CountRow]:
    """How many rows, notes and patients answer a query, by the columns asked for.

    Args:
        archive: an open archive.
        query: what to look for; its limit bounds the number of groups.
        by: names from `COUNTABLE`; `grade` is text such as `2` or `2-3`, without a scale where none is named.

    Raises:
        ArchiveError: a column cannot be counted by, or the query contradicts itself.
    """
    unknown = [name for name in by if name not in COUNTABLE]
    if unknown:
        raise ArchiveError(f"Counting by {unknown[0]!r} is not possible; choose from {', '.join(COUNTABLE)}.")
    found, values = found_sql(query)
    groups = [f"{COUNTABLE[name]} AS g{number}" for number, name in enumerate(by)]
    names = [f"g{number}" for number, _ in enumerate(by)]
    counts = "count(*), count(DISTINCT reading), count(DISTINCT patient)"
    sql = f"SELECT {', '.join([*groups, counts])} FROM (SELECT *, {_GRADE} FROM ({found}))"  # noqa: S608
    if names:
        sql += f" GROUP BY {', '.join(names)} ORDER BY {', '.join(f'{name} NULLS LAST' for name in names)}"
    if query.limit is not None:
        sql += " LIMIT ?"
        values = [*values, query.limit]
    rows = chain.from_iterable(_pages(archive, sql, values))
    return (CountRow(row[:-3], *row[-3:]) for row in rows)


def _pages(archive: Archive, sql: str, values: list[Any]) -> Iterator[list[tuple[Any, ...]]]:
    import duckdb

    try:
        found: duckdb.DuckDBPyConnection = archive.connection.cursor().execute(sql, values)
        while page := found.fetchmany(_PAGE):
            yield page
    except (duckdb.Error, UnicodeError, OverflowError):
        raise ArchiveError(f"{archive.path}: the archive could not be searched.") from None


def found_sql(query: FindQuery) -> tuple[str, list[Any]]:
    """The rows that answer a query, without order or limit, as SQL and the values to bind.

    Raises:
        ArchiveError: the query contradicts itself.
    """
    check_query(query)
    patterns = [pattern_sql(pattern) for pattern in query.patterns]
    shown = ", ".join(f"p{number} AS MATERIALIZED ({sql})" for number, (sql, _) in enumerate(patterns))
    values = [value for _, bound in patterns for value in bound]
    conditions, bound = conditions_of(query)
    named = bool(query.sites or query.reflexes)
    if patterns and not named:
        evidence = " UNION ".join(f"SELECT reflex_at FROM p{n}" for n in range(len(patterns)))  # noqa: S608
        conditions.append(f"reflex_at IN ({evidence})")
    if named or len(patterns) > 1:
        exams = (f"SELECT (reading, exam) FROM p{n}" for n in range(len(patterns)))  # noqa: S608
        conditions += [f"(reading, exam) IN ({rows})" for rows in exams]
    source = SPREAD if named or query.spread or patterns else AS_SAID
    sql = f"SELECT * FROM {source} WHERE {' AND '.join(conditions) or 'TRUE'}"  # noqa: S608 - our own names
    return f"WITH {shown} {sql}" if shown else sql, [*values, *bound]


def conditions_of(query: FindQuery) -> tuple[list[str], list[Any]]:
    """What a query asks of each row, patterns aside, as conditions and the values to bind."""
    conditions: list[str] = []
    values: list[Any] = []
    alternatives = {
        "id": query.notes, "patient": query.patients, "author": query.authors,
        "facility": query.facilities, "note_kind": query.note_kinds, "site": query.sites, "side": query.sides,
        "kind": query.kinds, "level": query.levels, "descriptor": query.descriptors,
        "response": query.responses, "status": query.statuses, "certainty": query.certainties,
    }  # fmt: skip
    for column, wanted in alternatives.items():
        if wanted:
            conditions.append(f"{column} IN ({_places(wanted)})")
            values += wanted
    for parts, named in (_of_systems(query), _of_reflexes(query)):
        if parts:
            conditions.append(f"({' OR '.join(parts)})")
            values += named
    first, last = _days(query)
    bounds = {
        "scale = ?": query.scale, "grade_low >= ?": query.grade_from, "grade_high <= ?": query.grade_to,
        "negated = ?": query.negated, "authored_first >= ?": first, "authored_last <= ?": last,
    }  # fmt: skip
    for condition, value in bounds.items():
        if value is not None:
            conditions.append(condition)
            values.append(value)
    if query.exact:
        conditions.append("basis = 'direct'")
    if query.abnormalities:
        codes = _places(query.abnormalities)
        rest = f"SELECT (reading, unnest(rests_on)) FROM abnormalities WHERE code IN ({codes})"  # noqa: S608
        conditions.append(f"(reading, finding) IN ({rest})")
        values += query.abnormalities
    return conditions, values


def _of_systems(query: FindQuery) -> tuple[list[str], list[Any]]:
    named = [system for system in query.systems if system is not None]
    parts = [f"system IN ({_places(named)})"] if named else []
    parts += ["system IS NULL"] if None in query.systems else []
    return parts, named


def _of_reflexes(query: FindQuery) -> tuple[list[str], list[Any]]:
    parts, values = [], []
    for site, side in query.reflexes:
        column = "said_side" if side == "both" else "side"
        parts.append("site = ?" if side is None else f"(site = ? AND {column} = ?)")
        values += [site] if side is None else [site, side]
    return parts, values


def _places(values: Sequence[str]) -> str:
    """A place for each value to bind; the database filters by these before it joins."""
    return ", ".join("?" for _ in values)


def check_query(query: FindQuery) -> None:
    """See that a query says what can be searched.

    Raises:
        ArchiveError: it contradicts itself, or holds no date where one is due.
    """
    if (query.grade_from is not None or query.grade_to is not None) and not (query.scale or query.any_scale):
        raise ArchiveError("A grade means something only on a scale: name the scale as well.")
    for stated in (query.date_from, query.date_to):
        if stated is not None and days_of(stated)[0] is None:
            raise ArchiveError("A date is written 2024, 2024-05 or 2024-05-17.")
    if query.limit is not None and query.limit < 0:
        raise ArchiveError("The limit is a number of rows, 0 or more.")


def _days(query: FindQuery) -> tuple[Any, Any]:
    return days_of(query.date_from)[0], days_of(query.date_to)[1]
