"""Turns what persons corrected, and what is often not understood, into proposed words; beside `api`.

Takes an archive with text and a Session; gives proposals. Each proposed row was tried: with it the reader
reads the notes behind it as the persons did, and everything else that they judged stays. Nothing is applied.
"""

import tempfile
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from converter.api import Session, read
from converter.evidence import Evidence, Row, alike_rows, evidence_of, unread_evidence
from converter.model import Finding, Note, Reading
from converter.review.proposals import Proposal, word_list
from converter.words import VocabularyError, load_vocabulary

if TYPE_CHECKING:
    from converter.archive import Archive

_TRIED = 20
"""Notes behind a row on which it is tried."""
_OTHERS = 500
"""Notes without a judgement in which a row is looked at for what else it would change."""
_TEMPORARY = "tried.csv"


@dataclass(slots=True)
class _Group:
    """The evidence for rows about one wording.

    Attributes:
        rows: rows to try, the most careful first.
        evidence: what speaks for them, of so many notes as a row is tried on.
        notes: all notes behind it.
    """

    rows: tuple[Row, ...]
    evidence: list[Evidence] = field(default_factory=list)
    notes: dict[str, None] = field(default_factory=dict)

    def add(self, evidence: Evidence) -> None:
        """Take a note into account."""
        self.notes[evidence.note.id] = None
        if len(self.evidence) < _TRIED:
            self.evidence.append(evidence)


def suggestions(archive: Path, session: Session, at_least: int = 2, most_unread: int = 50) -> list[Proposal]:
    """Propose words: those that persons' judgements call for first, then frequent unread wording.

    Args:
        archive: the file; without text in it there is nothing to learn from.
        session: the words that count now.
        at_least: notes that have to speak for a proposal.
        most_unread: how many pieces of unread wording are listed.

    Raises:
        ArchiveError: there is no such archive.
    """
    from converter.archive import open_archive

    with open_archive(archive, read_only=True) as opened:
        groups = _judged(opened, session)
        unread = _enough(_unread(opened, {group.rows[0].phrase for group in groups}), at_least)
        for group in unread[:most_unread]:
            group.rows = (*alike_rows(group.rows[0].phrase, session.vocabulary), *group.rows)
        wanted = [*_enough(groups, at_least), *unread[:most_unread]]
        return [_proposal(group, opened, session, at_least) for group in wanted]


def checked_list(proposals: Iterable[Proposal], origin: str, session: Session) -> str:
    """The proposals as a word list that passes the check; a row that does not is made a comment."""
    from converter.reading.wordings import reads_as
    from converter.words.report import check_files

    kept = list(proposals)
    settings = session.settings
    others = [settings.path(name) for name in settings.vocabulary.files]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / _TEMPORARY
        while True:
            text = word_list(kept, origin)
            file.write_text(text, encoding="utf-8")
            found = check_files([file], reads_as, others)
            wrong = {one.line: one.message for one in found if one.severity in ("error", "fatal")}
            lines = text.splitlines()
            bad = {lines[line - 1].partition(",")[0].strip('"'): said for line, said in wrong.items() if line}
            if not bad:
                return text
            kept = [
                _commented(one, bad[one.phrase]) if one.phrase in bad and one.role else one for one in kept
            ]


def _commented(one: Proposal, said: str) -> Proposal:
    return replace(one, role="", why=f"{one.why}; not proposed, since {said}")


def _enough(groups: Iterable[_Group], at_least: int) -> list[_Group]:
    enough = [group for group in groups if len(group.notes) >= at_least]
    return sorted(enough, key=lambda group: (-len(group.notes), group.rows[0].phrase))


def _judged(archive: "Archive", session: Session) -> list[_Group]:
    from converter.archive import NoteKey, amendments, stored_readings

    keys = dict.fromkeys(NoteKey(one.system, one.id) for one in amendments(archive) if not one.undone_at)
    as_read = {
        (note.system, note.id, note.hash): reading
        for note, reading, _ in stored_readings(archive, keys, as_read=True)
    }
    groups: dict[tuple[Row, ...], _Group] = {}
    for note, reading, _ in stored_readings(archive, keys):
        before = as_read.get((note.system, note.id, note.hash))
        if note.text and before is not None:
            for rows, evidence in evidence_of(note, before, reading, session.vocabulary):
                groups.setdefault(rows, _Group(rows)).add(evidence)
    return list(groups.values())


def _unread(archive: "Archive", known: set[str]) -> list[_Group]:
    from converter.archive import stored_readings

    groups: dict[str, _Group] = {}
    for note, reading, _ in stored_readings(archive):
        for row, evidence in unread_evidence(note, reading):
            if row.phrase not in known:
                groups.setdefault(row.phrase, _Group((row,))).add(evidence)
    return list(groups.values())


def _proposal(group: _Group, archive: "Archive", session: Session, at_least: int) -> Proposal:
    """The first row that does what it should and harms nothing, else a comment with the wording alone."""
    first = group.rows[0]
    for row in group.rows:
        tried = _with(row, session) if row.role else None
        if tried is None:
            continue
        done = [one for one in group.evidence if _helps(one, tried, session)]
        harmed = any(_harms(one, tried, session) for one in group.evidence)
        if len({one.note.id for one in done}) >= at_least and not harmed:
            others = tuple(_others(row, group, archive, tried, session))
            return Proposal(
                phrase=row.phrase, role=row.role, meaning=row.meaning, flags=row.flags, why=row.why,
                notes=tuple(group.notes), others=others,
            )  # fmt: skip
    return Proposal(phrase=first.phrase, why=first.why_not, notes=tuple(group.notes))


def _with(row: Row, session: Session) -> Session | None:
    """A session whose vocabulary has one row more; None where the row cannot be used."""
    settings = session.settings
    own = [settings.path(name) for name in settings.vocabulary.files]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / _TEMPORARY
        proposal = Proposal(
            phrase=row.phrase, role=row.role, meaning=row.meaning, flags=row.flags, why=row.why, notes=()
        )
        file.write_text(word_list([proposal], "trial"), encoding="utf-8")
        try:
            return replace(session, vocabulary=load_vocabulary([*own, file]))
        except VocabularyError:
            return None


def _helps(one: Evidence, tried: Session, session: Session) -> bool:
    return one.satisfied(read(one.note, tried)) and not one.satisfied(read(one.note, session))


def _harms(one: Evidence, tried: Session, session: Session) -> bool:
    """Whether anything else of the note is read otherwise than before."""
    return not _claims(read(one.note, session), one) <= _claims(read(one.note, tried), one)


def _claims(reading: Reading, one: Evidence) -> set[object]:
    return {_claim(finding) for finding in reading.findings if not one.concerns(finding)}


def _claim(finding: Finding) -> object:
    value = (finding.grade_low, finding.grade_high, finding.descriptor, finding.response, finding.beats)
    return (finding.site, finding.which, finding.side, *value, finding.negated, finding.status, finding.start)


def _others(row: Row, group: _Group, archive: "Archive", tried: Session, session: Session) -> Iterator[str]:
    """Notes besides those behind the row that it would read otherwise."""
    for note in _notes_with(row.phrase, archive):
        if note.id not in group.notes:
            before, after = read(note, session), read(note, tried)
            if {_claim(one) for one in before.findings} != {_claim(one) for one in after.findings}:
                yield note.id


def _notes_with(phrase: str, archive: "Archive") -> Iterator[Note]:
    from converter.archive import NoteKey, notes_with_words, stored_readings

    by_text: dict[NoteKey, None] = dict.fromkeys(notes_with_words(archive, phrase, _OTHERS))
    seen: dict[str, list[str]] = defaultdict(list)
    for note, _, _ in stored_readings(archive, by_text):
        if note.hash not in seen[note.id]:
            seen[note.id].append(note.hash)
            yield note
