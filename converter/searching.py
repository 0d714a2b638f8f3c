"""Questions to the archive: findings, counts, and FHIR searches answered by a Bundle; beside `api`.

Takes an archive file and a query; gives rows, counts or a searchset. Searching itself belongs to `archive`,
and what an Observation looks like to `fhir`.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from converter.api import Session, has_text
from converter.fhir import FhirOptions, resources_of
from converter.fhir.identity import uuid_of
from converter.words import Vocabulary

if TYPE_CHECKING:
    from converter.archive import Archive, CountRow, FindQuery, FoundRow, NoteKey

Json = dict[str, Any]
_IN_A_LINK = "?=&$,:/%+"
_Ids = tuple[str, ...]
"""Ids of Observations that would answer, the best first: the one derived for a reflex and side, then the
one as said, since of a region's own row none is derived."""


def find(archive: Path | str, query: "FindQuery") -> "Iterator[FoundRow]":
    """The findings of an archive that answer a query, in the order of patient, date and place.

    Raises:
        ArchiveError: there is no such archive, or the query contradicts itself.
    """
    from converter.archive import find as search
    from converter.archive import open_archive

    with open_archive(archive, read_only=True) as opened:
        yield from search(opened, query)


def count(archive: Path | str, query: "FindQuery", by: Sequence[str] = ()) -> "Iterator[CountRow]":
    """How many rows, notes and patients answer a query, by columns.

    Raises:
        ArchiveError: there is no such archive, or it cannot be counted so.
    """
    from converter.archive import count as counted
    from converter.archive import open_archive

    with open_archive(archive, read_only=True) as opened:
        yield from counted(opened, query, by)


def fhir_search(archive: Path | str, search: str, session: Session) -> Json:
    """The answer to a FHIR search as a Bundle of type searchset.

    `total` counts all matches; `_count` bounds the entries. Where the notes speak of more than was asked for,
    such as all reflexes, the Observation derived for the reflex and side stands in the answer. Findings that
    make no Observation, since their exam is a past one, are counted in an entry of mode `outcome`.

    Args:
        archive: the file.
        search: e.g. `Observation?code=achilles-left&date=ge2031`.
        session: its FHIR options say how Observations are written.

    Raises:
        ArchiveError: there is no such archive, or the search is not understood.
    """
    from converter.archive import find as findings
    from converter.archive import open_archive, query_from_fhir

    query = query_from_fhir(search, session.vocabulary, session.fhir.default_system)
    with open_archive(archive, read_only=True) as opened:
        options = replace(session.fhir, expand=True, quotes=session.fhir.quotes and has_text(opened))
        wanted = _wanted(findings(opened, replace(query, limit=None)), query, options)
        resources, missing = _observations(opened, wanted, session.vocabulary, options)
    link = f"{options.base}/{quote(search.strip().lstrip('/'), safe=_IN_A_LINK)}"
    return _searchset(resources, missing, query.limit, link, options)


def _wanted(
    rows: "Iterable[FoundRow]", query: "FindQuery", options: FhirOptions
) -> "dict[NoteKey, list[_Ids]]":
    """What answers, note by note, each once and in the order it was found."""
    from converter.archive import NoteKey

    wanted: dict[NoteKey, dict[_Ids, None]] = {}
    for row in rows:
        wanted.setdefault(NoteKey(row.system, row.id), {})[_ids_of(row, query, options)] = None
    return {key: list(ids) for key, ids in wanted.items()}


def _ids_of(row: "FoundRow", query: "FindQuery", options: FhirOptions) -> _Ids:
    system = row.system or options.default_system
    as_said = uuid_of(system, row.id, "finding", row.finding)
    if _answers_as_said(row, query):
        return (as_said,)
    return (uuid_of(system, row.id, "covered", row.finding, row.site, row.side), as_said)


def _answers_as_said(row: "FoundRow", query: "FindQuery") -> bool:
    if not query.reflexes or (row.site, row.side) == (row.said_site, row.said_side):
        return True
    return any(site == row.said_site and side in (None, row.said_side) for site, side in query.reflexes)


def _observations(
    archive: "Archive", wanted: "dict[NoteKey, list[_Ids]]", vocabulary: Vocabulary, options: FhirOptions
) -> tuple[list[Json], int]:
    """The Observations wanted, each once, and of how many findings there is none."""
    from converter.archive import NoteKey, stored_readings

    made: dict[str, Json] = {}
    for note, reading, assessments in stored_readings(archive, wanted):
        ids = {one for choice in wanted[NoteKey(note.system, note.id)] for one in choice}
        resources, _ = resources_of(note, reading, assessments, vocabulary, options)
        made |= {one["id"]: one for one in resources if one["id"] in ids}
    chosen = [next((one for one in choice if one in made), None) for ids in wanted.values() for choice in ids]
    return [made[one] for one in dict.fromkeys(chosen) if one is not None], chosen.count(None)


def _searchset(
    resources: Sequence[Json], missing: int, limit: int | None, link: str, options: FhirOptions
) -> Json:
    matches = (
        {"fullUrl": f"{options.base}/Observation/{one['id']}", "resource": one, "search": {"mode": "match"}}
        for one in resources[:limit]
    )
    entries = list(chain(matches, [_outcome(missing, link)] if missing else []))
    bundle: Json = {
        "resourceType": "Bundle",
        "type": "searchset",
        "total": len(resources),
        "link": [{"relation": "self", "url": link}],
    }
    return bundle | ({"entry": entries} if entries else {})


def _outcome(missing: int, link: str) -> Json:
    """An entry that says what the answer leaves out."""
    name = uuid_of("outcome", link)
    what = "1 finding that matches makes" if missing == 1 else f"{missing} findings that match make"
    sentence = f"{what} no Observation, since the exam is a past one."
    issue = {"severity": "information", "code": "informational", "diagnostics": sentence}
    narrative = f'<div xmlns="http://www.w3.org/1999/xhtml">{sentence}</div>'
    return {
        "fullUrl": f"urn:uuid:{name}",
        "resource": {
            "resourceType": "OperationOutcome",
            "id": name,
            "text": {"status": "generated", "div": narrative},
            "issue": [issue],
        },
        "search": {"mode": "outcome"},
    }
