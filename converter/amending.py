"""What persons say of findings, into the archive and out again; beside `api`.

Takes an archive, a Session, and amendments or a judging sheet; gives numbers of amendments and what could not
be applied. Keeping them belongs to `archive`, reading a sheet to `review`, and what is abnormal in an amended
reading to `assess`.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from converter.api import Session, assess
from converter.judging import JudgingError, Told, added_finding, corrected_finding
from converter.model import Amendment, Diagnostic, Finding, Note, Reading, Severity, Span

if TYPE_CHECKING:
    from converter.archive import Archive
    from converter.archive.amending import Maker
    from converter.review.sheet import JudgedRow

NOT_MADE = "amendment-not-made"


def maker_of(session: Session) -> "Maker":
    """What makes the amended form of a reading, by the words and rules of a session."""
    from converter.archive import Maker

    return Maker(session.vocabulary, lambda note, reading: assess(note, reading, session))


def amend(archive: "Archive", amendment: Amendment, session: Session) -> int:
    """Keep an amendment in an open archive; every later search, export and reading sees it.

    Raises:
        AmendmentError: it does not fit the note as it stands in the archive.
        ArchiveError: the archive cannot be written.
    """
    from converter import archive as store

    return store.amend(archive, amendment, maker_of(session))


def undo(archive: "Archive", number: int, by: str, session: Session, at: str | None = None) -> None:
    """Take an amendment back; it stays on record as undone.

    Raises:
        AmendmentError: there is no such amendment, or it was undone before.
        ArchiveError: the archive cannot be written.
    """
    from converter import archive as store

    store.undo(archive, number, by, at or session.time or "", maker_of(session))


@dataclass(frozen=True, slots=True)
class RowDone:
    """What became of a row of a judging sheet.

    Attributes:
        line: line of the file.
        number: number of the amendment; None where the row was not judged, or says what stands already.
        state: `made`, `known` or `not_judged`.
    """

    line: int
    number: int | None
    state: str


def amend_sheet(
    archive: "Archive", file: Path, by: str | None, session: Session
) -> Iterator[RowDone | Diagnostic]:
    """Apply the judged rows of a sheet, one by one; a row that cannot be applied is told, the rest goes on.

    Giving the same sheet twice changes nothing the second time.

    Args:
        archive: opened for writing.
        file: the sheet; see `review.sheet`.
        by: who judged, for rows that do not say.
        session: words and rules; its time stands for rows that do not say when.

    Raises:
        ArchiveError: the archive cannot be written.
        OSError: the file cannot be read.
    """
    from converter.review.sheet import read_sheet

    for row in read_sheet(file):
        if row is None:
            yield RowDone(0, None, "not_judged")
        elif isinstance(row, Diagnostic):
            yield row
        else:
            yield _amend_row(archive, row, by, session, file)


def _amend_row(
    archive: "Archive", row: "JudgedRow", by: str | None, session: Session, file: Path
) -> RowDone | Diagnostic:
    from converter.archive import AmendmentError

    try:
        note, reading = _note_of(archive, row)
        if _rejected_before(row, reading, by):
            return RowDone(row.line, None, "known")
        amendment = _amendment(row, note, reading, by, session)
        if _stands(reading, amendment):
            return RowDone(row.line, None, "known")
        return RowDone(row.line, amend(archive, amendment, session), "made")
    except (AmendmentError, JudgingError) as error:
        sentence = str(error).rstrip(".")
    return Diagnostic(
        code=NOT_MADE,
        severity=Severity.ERROR,
        message=f"{sentence[:1].upper()}{sentence[1:]}. The row is left out.",
        source=str(file),
        line=row.line,
    )


def _note_of(archive: "Archive", row: "JudgedRow") -> tuple[Note, Reading]:
    """The note that a row names; where a spreadsheet changed its id, the only note with that text."""
    from converter.archive import NoteKey, note_keys, stored_readings

    name, digest = row.cells.get("id", ""), row.cells.get("note_hash")
    keys = note_keys(archive, name, row.cells.get("system"), digest)
    if not keys:
        raise JudgingError(f"there is no note {name} in the archive")
    if len(keys) > 1:
        raise JudgingError(f"several notes are called {name}: give the system too")
    versions = [(note, reading) for note, reading, _ in stored_readings(archive, [NoteKey(*keys[0])])]
    same = [one for one in versions if digest in (None, one[0].hash)]
    if not same:
        raise JudgingError(f"the text of note {name} is another one now; look at it again")
    if len(same) > 1:
        raise JudgingError(f"two texts are called {name}: give the note_hash too")
    return same[0]


def _amendment(row: "JudgedRow", note: Note, reading: Reading, by: str | None, session: Session) -> Amendment:
    cells = row.cells
    who = cells.get("by") or by
    if not who:
        raise JudgingError("say who judged, in the column by or with --by")
    spans = row.spans or _named_words(cells.get("words"), note)
    told = Told(**{name: cells.get(name) for name in ("site", "side", "value", "status", "scale")})
    finding, made_on = _finding(row.verdict, told, spans, cells.get("finding"), note, reading, session)
    return Amendment(
        system=note.system,
        id=note.id,
        note_hash=note.hash,
        spans=made_on.spans if made_on else spans,
        verdict=row.verdict,
        finding=finding,
        made_on=made_on.finding if made_on else None,
        by=who,
        at=cells.get("at") or session.time or "",
        remark=cells.get("remark"),
    )


def _finding(
    verdict: str,
    told: Told,
    spans: tuple[Span, ...],
    name: str | None,
    note: Note,
    reading: Reading,
    session: Session,
) -> tuple[Finding | None, Finding | None]:
    """The finding as the person has it, and the one that was judged."""
    if any(span.end > len(note.text) for span in spans) and note.text:
        raise JudgingError("the place lies behind the end of the note")
    if verdict == "added":
        exam = next((one.exam for one in reading.exams if one.status == "current"), 1)
        return added_finding(told, spans, note.text, session, exam), None
    if verdict == "no_finding":
        if not spans:
            raise JudgingError("say where there is no finding, in the column place")
        return None, None
    read = _judged(spans, name, reading)
    if verdict == "corrected":
        return replace(corrected_finding(read, told, session), verdict=None), read
    if not told.says_nothing:
        raise JudgingError(f"a finding that is {verdict} is not changed as well: write corrected")
    return replace(read, verdict=None), read


def _judged(spans: tuple[Span, ...], name: str | None, reading: Reading) -> Finding:
    places = {(span.start, span.end) for span in spans}
    same = [one for one in reading.findings if {(span.start, span.end) for span in one.spans} == places]
    if not places:
        same = [one for one in reading.findings if one.finding == name]
    named = [one for one in same if one.finding == name]
    if named or len(same) == 1:
        return (named or same)[0]
    if same:
        raise JudgingError("several findings rest on these words: give the finding's identifier too")
    raise JudgingError("no finding stands there now: it was rejected, or the note is read otherwise")


def _named_words(words: str | None, note: Note) -> tuple[Span, ...]:
    """The place of words that a person copied out of the note."""
    if not words:
        return ()
    count = note.text.count(words)
    if count != 1:
        found = "stand several times" if count else "do not stand"
        raise JudgingError(f"these words {found} in the note: give the place instead")
    start = note.text.index(words)
    return (Span(start, start + len(words), "value"),)


def _stands(reading: Reading, amendment: Amendment) -> bool:
    """Whether the very same was said before by the same person, and nothing else since."""
    about = [one for one in reading.amendments if _about(one) == _about(amendment)]
    return bool(about) and _said(about[-1]) == _said(amendment)


def _rejected_before(row: "JudgedRow", reading: Reading, by: str | None) -> bool:
    """Whether a row says of a finding that is gone what the same person said to make it so."""
    places = {(span.start, span.end) for span in row.spans}
    return row.verdict == "rejected" and any(
        one.verdict == "rejected"
        and one.by == row.cells.get("by", by)
        and {(span.start, span.end) for span in one.spans} == places
        and row.cells.get("finding") in (None, one.made_on)
        for one in reading.amendments
    )


def _about(amendment: Amendment) -> object:
    spans = {(span.start, span.end) for span in amendment.spans}
    finding = amendment.finding
    added = (finding.site, finding.side) if finding and amendment.verdict == "added" else None
    return spans, added


def _said(amendment: Amendment) -> object:
    finding = amendment.finding
    same = finding and replace(finding, finding="", exam=0, verdict=None, quote="", as_written=None)
    return amendment.verdict, amendment.by, same
