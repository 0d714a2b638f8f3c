"""Draws a sample of findings, look-alikes and unread wording out of an archive; beside `api`.

Takes an archive and a Session; gives rows of a judging sheet. The choice itself belongs to `review`, and how
large it has to be to `score`.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from converter.api import Session
from converter.model import Finding, Note, Reading
from converter.reading.look_alikes import look_alikes_of
from converter.reading.shorthand import shorthand_of
from converter.review.sampling import KINDS, STRATA, Draw, Item, Sample, passage_of
from converter.review.sheet import place_text
from converter.words import Vocabulary

if TYPE_CHECKING:
    from converter.archive import Archive

Row = dict[str, str | None]
_MOST = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleOptions:
    """What to draw.

    Attributes:
        size: how many of each kind; None for as many as the wished precision needs.
        half_width: half the length of the interval that is wished, e.g. 0.05.
        expected: the proportion of right ones that is expected.
        confidence: of the interval.
        kinds: which kinds.
        by: what to stratify by.
        seed: another seed gives another sample.
    """

    size: int | None = None
    half_width: float = 0.05
    expected: float = 0.9
    confidence: float = 0.95
    kinds: Sequence[str] = KINDS
    by: Sequence[str] = STRATA
    seed: int = 1


@dataclass(frozen=True, slots=True)
class Drawn:
    """A sample ready to be judged.

    Attributes:
        samples: by kind.
        rows: rows of the judging sheet.
        population: number of items of each kind that nobody has judged yet.
    """

    samples: Mapping[str, Sample]
    rows: tuple[Row, ...]
    population: Mapping[str, int]


def sample(archive: Path, session: Session, options: SampleOptions) -> Drawn:
    """Draw a sample of what nobody has judged yet.

    Raises:
        ArchiveError: there is no such archive.
        ValueError: a wish makes no sense.
    """
    from converter.archive import open_archive, stored_readings

    draws = {
        kind: Draw(options.size or needed(options, None), options.by, options.seed) for kind in options.kinds
    }
    with open_archive(archive, read_only=True) as opened:
        for note, reading, _ in stored_readings(opened):
            for kind, draw in draws.items():
                draw.offer(_ITEMS[kind](note, reading, session.vocabulary))
        population = {kind: draw.population for kind, draw in draws.items()}
        samples = {
            kind: draw.sample(options.size or needed(options, draw.population))
            for kind, draw in draws.items()
        }
        rows = _rows(opened, [item for one in samples.values() for item in one.items], session.vocabulary)
        return Drawn(samples, tuple(rows), population)


def needed(options: SampleOptions, population: int | None) -> int:
    """How many items of a kind the wished precision needs.

    Raises:
        ValueError: the wish makes no sense, or needs more than can be judged.
    """
    from converter.score.proportion import sample_size

    size = sample_size(options.expected, options.half_width, options.confidence, population)
    if size > _MOST:
        raise ValueError(f"so narrow an interval needs {size} judgements; wish for a wider one")
    return size


def _findings(note: Note, reading: Reading, vocabulary: Vocabulary) -> Iterator[Item]:
    for finding in reading.findings:
        if finding.verdict is None:
            spans = tuple((span.start, span.end) for span in finding.spans)
            yield _item(
                "finding",
                note,
                spans,
                family=finding.kind,
                certainty=finding.certainty,
                finding=finding.finding,
            )


def _look_alikes(note: Note, reading: Reading, vocabulary: Vocabulary) -> Iterator[Item]:
    judged = [span for one in reading.amendments for span in one.spans]
    for span in look_alikes_of(note.text, vocabulary):
        if not any(span.start < one.end and one.start < span.end for one in judged):
            yield _item("look_alike", note, ((span.start, span.end),), family="look_alike")


def _unread(note: Note, reading: Reading, vocabulary: Vocabulary) -> Iterator[Item]:
    for piece in reading.unread:
        yield _item("unread", note, ((piece.start, piece.end),), family=piece.why)


_ITEMS = {"finding": _findings, "look_alike": _look_alikes, "unread": _unread}


def _item(kind: str, note: Note, spans: tuple[tuple[int, int], ...], **more: str) -> Item:
    examiner = note.author or ""
    return Item(kind, note.system or "", note.id, note.hash, spans, examiner=examiner, **more)


def _rows(archive: "Archive", items: Sequence[Item], vocabulary: Vocabulary) -> Iterator[Row]:
    from converter.archive import NoteKey, stored_readings

    keys = [NoteKey(item.system or None, item.id) for item in items]
    known = {
        (note.system or "", note.id, note.hash): (note, reading)
        for note, reading, _ in stored_readings(archive, dict.fromkeys(keys))
    }
    for item in items:
        note, reading = known[(item.system, item.id, item.note_hash)]
        finding = next((one for one in reading.findings if one.finding == item.finding), None)
        yield _row(item, note, finding, vocabulary)


def _row(item: Item, note: Note, finding: Finding | None, vocabulary: Vocabulary) -> Row:
    return {
        "kind": item.kind,
        "system": note.system,
        "id": note.id,
        "note_hash": note.hash,
        "place": place_text(item.characters()),
        "finding": item.finding,
        "understood": shorthand_of([finding], vocabulary).text if finding else "",
        "passage": passage_of(note.text, item.spans),
        "family": item.family,
        "examiner": item.examiner,
        "certainty": item.certainty,
    }
