"""The archive as the page sees it: the queue, one question at a time, and decisions, each saved at once.

Takes a Review; gives questions and progress, keeps and undoes decisions. The archive is opened for a moment
only, so that others can work with it; where another program has it open, this waits a little, then says so.
"""

import threading
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

from converter import amending
from converter.model import Amendment
from converter.review import Question, Subject, decision_of, is_open, settles, subjects_of
from converter.review_page.gathering import Gathered, gathered
from converter.review_page.values import DecidedError, GoneError, Looked, Progress, Review

if TYPE_CHECKING:
    from converter.archive import Archive

_LEFT = "SELECT amendment FROM amendment_log WHERE state = 'not_applied'"
_Key = tuple[str | None, str]
Making = Callable[[Looked, Subject], Amendment]


class Desk:
    """One person's work on one archive. Every method may be called from any thread.

    Attributes:
        review: what is reviewed, and by whom.
        found: everything to look at.
    """

    def __init__(self, review: Review) -> None:
        self.review = review
        self.found = Gathered(True, (), 0)
        self._places: dict[str, int] = {}
        self._lock = threading.RLock()
        self._said: dict[_Key, list[Amendment]] = {}
        self._left: frozenset[int] = frozenset()
        self._stamp: tuple[int, int] | None = None

    def prepare(self) -> None:
        """Make the queue, or make it anew.

        Raises:
            ArchiveError: the archive cannot be read.
        """
        with self._lock:
            self.found = gathered(self.review, self._reading)
            self._places = {one.question: place for place, one in enumerate(self.questions)}
            self._stamp = None

    @property
    def questions(self) -> tuple[Question, ...]:
        """The queue, in order."""
        return self.found.questions

    def progress(self) -> Progress:
        """How many questions are left.

        Raises:
            ArchiveError: the archive cannot be read.
        """
        said = self._all_said()
        left: dict[str, int] = defaultdict(int)
        for question in self.questions:
            left[question.kind] += is_open(question, self._of(said, question))
        return Progress(len(self.questions), sum(left.values()), dict(left))

    def find(self, name: str) -> Question:
        """The question of a name.

        Raises:
            GoneError: there is none.
        """
        if name not in self._places:
            raise GoneError("This question is not in the queue; the archive may have been loaded anew.")
        return self.questions[self._places[name]]

    def place_of(self, question: Question) -> int:
        """The place of a question in the queue, from 1."""
        return self._places[question.question] + 1

    def beside(self, question: Question, step: int, kind: str = "") -> Question | None:
        """The next question of a kind (step 1) or the one before it (step -1), decided or not."""
        place = self._places[question.question] + step
        while 0 <= place < len(self.questions):
            if not kind or self.questions[place].kind == kind:
                return self.questions[place]
            place += step
        return None

    def next_open(self, after: Question | None, kind: str = "") -> Question | None:
        """The next question that is open, of a kind if one is given; after the last the first."""
        start = 0 if after is None else self._places[after.question] + 1
        said = self._all_said()
        for question in (*self.questions[start:], *self.questions[:start]):
            if (not kind or question.kind == kind) and is_open(question, self._of(said, question)):
                return question
        return None

    def look(self, question: Question) -> Looked:
        """A question with its note, and what was said of it so far.

        Raises:
            GoneError: the note or its text is not in the archive any more.
            ArchiveError: the archive cannot be read.
        """
        with self._reading() as archive:
            return _looked(archive, question)

    def decide(self, question: Question, keys: Sequence[str], seen: int, make: Making) -> list[int]:
        """Save a decision on some places of a note, each as one transaction; give their numbers.

        Args:
            question: the question.
            keys: of the places.
            seen: the number of the last amendment of the note that the person saw.
            make: makes the amendment for a place.

        Raises:
            DecidedError: somebody has decided on a place since then.
            GoneError: the note or its text is not in the archive any more.
            ArchiveError: the archive cannot be written; places before the one that failed are saved.
        """
        numbers = []
        with self._writing() as archive:
            for key in keys:
                looked = _looked(archive, question)
                subject = subject_named(looked, key)
                settled = decision_of(subject, looked.holding)
                if settled is not None and (settled.number or 0) > seen:
                    raise DecidedError(settled)
                if settled is None:
                    amendment = make(looked, subject)
                    numbers.append(amending.amend(archive, amendment, self.review.session))
        return numbers

    def add(self, question: Question, make: Callable[[Looked], Amendment]) -> int:
        """Save a finding that was missed; give the number of the amendment.

        Raises:
            GoneError: the note or its text is not in the archive any more.
            ArchiveError: the archive cannot be written.
        """
        with self._writing() as archive:
            return amending.amend(archive, make(_looked(archive, question)), self.review.session)

    def undo(self, number: int) -> Amendment:
        """Take a decision back; give the one that was taken back.

        Raises:
            ArchiveError: there is no such decision, it was undone before, or the archive cannot be written.
        """
        with self._writing() as archive:
            amending.undo(archive, number, self.review.by, self.review.session, self.review.now())
        return next(one for one in self.said() if one.number == number)

    def said(self) -> list[Amendment]:
        """Every amendment of the archive, undone ones among them, in the order of their numbers.

        Raises:
            ArchiveError: the archive cannot be read.
        """
        every = (one for of_note in self._all_said().values() for one in of_note)
        return sorted(every, key=lambda one: one.number or 0)

    def question_of(self, amendment: Amendment) -> Question | None:
        """The question that an amendment is about, or None where it is about none of the queue."""
        about = (amendment.system, amendment.id, amendment.note_hash)
        for question in self.questions:
            same = (question.system, question.id, question.note_hash) == about
            if same and any(settles(amendment, subject) for subject in question.subjects):
                return question
        return None

    def last_own(self) -> Amendment | None:
        """The last standing decision of this person, or None."""
        own = [one for one in self.said() if one.by == self.review.by and one.undone_at is None]
        return own[-1] if own else None

    def _all_said(self) -> Mapping[_Key, Sequence[Amendment]]:
        """All amendments by note; read again only where the file has changed."""
        from converter.archive import amendments, sql

        with self._lock:
            about = self.review.archive.stat() if self.review.archive.exists() else None
            stamp = (about.st_mtime_ns, about.st_size) if about else None
            if stamp is None or stamp != self._stamp:
                said: dict[_Key, list[Amendment]] = defaultdict(list)
                with self._reading() as archive:
                    for one in amendments(archive):
                        said[one.system, one.id].append(one)
                    self._left = frozenset(number for (number,) in sql(archive, _LEFT).rows)
                self._said, self._stamp = dict(said), stamp
            return self._said

    def _of(self, said: Mapping[_Key, Sequence[Amendment]], question: Question) -> Sequence[Amendment]:
        """The amendments that can settle a question."""
        own = said.get((question.system, question.id), ())
        return [one for one in own if one.note_hash == question.note_hash and one.number not in self._left]

    def fits(self, amendment: Amendment) -> bool:
        """Whether a standing amendment applies to its note as it is read now."""
        return amendment.number not in self._left

    @contextmanager
    def _reading(self) -> "Iterator[Archive]":
        with self._lock, _opened(self.review, read_only=True) as archive:
            yield archive

    @contextmanager
    def _writing(self) -> "Iterator[Archive]":
        with self._lock, _opened(self.review, read_only=False) as archive:
            yield archive


def subject_named(looked: Looked, key: str) -> Subject:
    """A place of the question, or another finding of its note.

    Raises:
        GoneError: the note is read another way now, so that there is no such place.
    """
    own = {one.key: one for one in looked.question.subjects}
    known = own | {one.key: one for one in subjects_of(looked.reading).values()}
    if key in known:
        return known[key]
    raise GoneError("The note was read anew meanwhile, and this place is not there any more.")


def _opened(review: Review, *, read_only: bool) -> "Archive":
    from converter.archive import open_archive

    return open_archive(review.archive, create=False, read_only=read_only, patience=review.patience)


def _looked(archive: "Archive", question: Question) -> Looked:
    from converter.archive import NoteKey, amended, amendments, stored_readings

    key = NoteKey(question.system, question.id)
    readings = stored_readings(archive, [key], as_read=True)
    found = next((one for one in readings if one[0].hash == question.note_hash), None)
    if found is None:
        raise GoneError("The note is not in the archive any more, or has another text now.")
    note, reading, _ = found
    said = tuple(one for one in amendments(archive, [key]) if one.note_hash == note.hash)
    left = amended(reading, said)[2]
    return Looked(question=question, note=note, reading=reading, amendments=said, left=left)
