"""Makes the queue: finds the notes that leave something to look at, and asks about each in order.

Takes a Review and a way to open its archive; gives questions. The archive is opened page by page, so that
nobody waits long for it.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from converter.api import has_text
from converter.model import Reading, Span
from converter.review import KINDS, Question, questions_of, questions_of_left, sample_question, subjects_of
from converter.review.questions import Subject, characters
from converter.review.sample_places import SamplePlace
from converter.review_page.values import Review

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from converter.archive import Archive, NoteKey

Opening: TypeAlias = "Callable[[], AbstractContextManager[Archive]]"

_PAGE = 500
_WITH_DOUBTS = """
SELECT n.system, n.id FROM notes n JOIN readings r ON r.note = n.note
WHERE n.to_run IS NULL AND r.to_run IS NULL AND r.reading IN (
    SELECT reading FROM unread
    UNION SELECT reading FROM findings WHERE certainty = 'uncertain'
    UNION SELECT reading FROM diagnostics WHERE severity IN ('warning', 'error', 'fatal')
)
ORDER BY r.reading
"""


@dataclass(frozen=True, slots=True)
class Gathered:
    """What there is to look at.

    Attributes:
        has_text: whether the archive keeps the notes' words.
        questions: in order.
        left_out: number of questions about unread wording that cannot be judged without the words.
        not_there: number of places of a sample whose note, text or finding is not in the archive any more.
    """

    has_text: bool
    questions: tuple[Question, ...]
    left_out: int
    not_there: int = 0


_LEFT = "SELECT DISTINCT system, id FROM amendment_log WHERE state = 'not_applied' ORDER BY ALL"


def gathered(review: Review, opened: Opening) -> Gathered:
    """Everything to look at, note by note, so that each note is read once; the most serious doubts first.

    Raises:
        ArchiveError: the archive cannot be read.
    """
    from converter.archive import NoteKey, sql

    with opened() as archive:
        kept = has_text(archive)
        if review.sample is None:
            keys = [NoteKey(*row) for text in (_WITH_DOUBTS, _LEFT) for row in sql(archive, text).rows]
        else:
            keys = [NoteKey(one.system, one.id) for one in review.sample]
    keys = list(dict.fromkeys(keys))
    questions: list[Question] = []
    for start in range(0, len(keys), _PAGE):
        with opened() as archive:
            questions += _questions(review, archive, keys[start : start + _PAGE])
    shown = [one for one in questions if kept or _can_be_judged(one)]
    drawn = len(questions) if review.sample is None else len(set(review.sample))
    return Gathered(kept, _ordered(shown), len(questions) - len(shown), drawn - len(questions))


def _ordered(questions: Sequence[Question]) -> tuple[Question, ...]:
    ranks = {kind: rank for rank, kind in enumerate(KINDS)}
    worst: dict[tuple[str | None, str], int] = {}
    for one in questions:
        key = (one.system, one.id)
        worst[key] = min(ranks[one.kind], worst.get(key, len(ranks)))
    return tuple(sorted(questions, key=lambda one: worst[one.system, one.id]))


def _questions(review: Review, archive: "Archive", keys: "Sequence[NoteKey]") -> Iterator[Question]:
    from converter.archive import amended, amendments, stored_readings

    said = defaultdict(list)
    for one in amendments(archive, keys):
        said[one.system, one.id].append(one)
    for _, reading, assessments in stored_readings(archive, keys, as_read=True):
        if review.sample is not None:
            yield from _of_sample(reading, review.sample)
            continue
        asked = questions_of(reading, assessments, review.session.vocabulary)
        left = amended(reading, said.get((reading.system, reading.id), ()))[2]
        yield from (*asked, *questions_of_left(reading, left, asked))


def _of_sample(reading: Reading, sample: Iterable[SamplePlace]) -> Iterator[Question]:
    for place in dict.fromkeys(sample):
        if (place.system, place.id, place.note_hash) == (reading.system, reading.id, reading.note_hash):
            yield from (sample_question(reading, one) for one in _subjects(reading, place))


def _subjects(reading: Reading, place: SamplePlace) -> Iterator[Subject]:
    """The finding with the spans that were drawn, of several the one of that name; or the place alone."""
    wanted = frozenset(place.spans)
    same = [one for one in subjects_of(reading).values() if characters(one.spans) == wanted]
    named = [one for one in same if one.finding == place.finding] or same[:1]
    if named or place.finding is None:
        spans = tuple(Span(start, end, "unread") for start, end in place.spans)
        yield named[0] if named else Subject(None, spans)


def _can_be_judged(question: Question) -> bool:
    """Without the words only a coded finding can be held against the note in its own system."""
    return any(subject.finding is not None for subject in question.subjects)
