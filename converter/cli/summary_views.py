"""What `plexor summary` writes: exams, courses or counts, for people or as records."""

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any, TextIO

from converter.cli.output import Format, Record, records_to
from converter.cli.tables import counted, shortened
from converter.cli.troubles import visible
from converter.model import Assessment, Course, Note, Reading

if TYPE_CHECKING:
    from collections.abc import Mapping

Read = tuple[Note, Reading, tuple[Assessment, ...]]

_EXAM_COLUMNS = (
    "system", "id", "patient", "authored", "author", "exam", "abnormality", "rule", "code", "sites", "side",
    "level", "size", "certainty", "sentence", "words", "rests_on", "hpo", "hpo_label", "modifiers", "source",
    "caution",
)  # fmt: skip
_CHANGE_COLUMNS = (
    "patient", "code", "rule", "sites", "side", "direction", "size", "certainty", "before", "before_system",
    "before_note", "after", "after_system", "after_note", "days", "same_examiner", "same_scale", "sentence",
    "rests_on", "source", "caution",
)  # fmt: skip
_COUNT_COLUMNS = ("pattern", "label", "exams", "of", "caution")


class Passed:
    """Passes notes on and counts those without an exam of reflexes, so that they can be named at the end."""

    def __init__(self, read: Iterable[Read]) -> None:
        self._read = read
        self.silent = 0

    def __iter__(self) -> Iterator[Read]:
        for note, reading, assessments in self._read:
            self.silent += not assessments
            yield note, reading, assessments

    def close(self, stream: TextIO) -> None:
        """Say how many notes had no exam."""
        if self.silent:
            stream.write(f"Without an exam of reflexes: {counted(self.silent, 'note')}.\n")


def show_summaries(stream: TextIO, read: Iterable[Read], *, why: bool = False, causes: bool = False) -> None:
    """Write the summary of each exam for people, on request with reference text after it."""
    from converter.assess import causes_text, summary_text

    passed = Passed(read)
    for note, reading, assessments in passed:
        for assessment in assessments:
            stream.write(summary_text(assessment, reading, note, why=why) + f"\n{_unread(reading)}\n")
            if causes:
                stream.write(causes_text(assessment, note) + "\n\n")
    passed.close(stream)


def _unread(reading: Reading) -> str:
    """What the reader did not understand in the note, since a summary cannot speak of it."""
    words = " | ".join(visible(shortened(piece.text)) for piece in reading.unread)
    return f"  Reflex wording in this note that was not understood: [{words}]\n" if words else ""


def write_summaries(stream: TextIO, format_: Format, read: Iterable[Read]) -> None:
    """Write the summaries as records, one an exam, or in CSV one an abnormality."""
    from converter.assess import summary_record

    with records_to(stream, format_, _EXAM_COLUMNS) as write:
        for note, reading, assessments in read:
            for assessment in assessments:
                record = summary_record(assessment, reading, note)
                for row in _abnormalities(record) if format_ is Format.CSV else (record,):
                    write(row)


def show_courses(stream: TextIO, courses: Iterable[Course], *, why: bool = False) -> None:
    """Write each patient's course for people, as a small grid with what changed."""
    from converter.assess import course_grid

    for course in courses:
        stream.write(course_grid(course, why=why) + "\n\n")


def write_courses(stream: TextIO, format_: Format, courses: Iterable[Course]) -> None:
    """Write the courses as records, one a patient, or in CSV one a change."""
    from converter.assess import course_record

    with records_to(stream, format_, _CHANGE_COLUMNS) as write:
        for course in courses:
            record = course_record(course)
            for row in _changes(record) if format_ is Format.CSV else (record,):
                write(row)


def show_counts(stream: TextIO, read: Iterable[Read]) -> None:
    """Write how often each pattern was found, for people."""
    from converter.assess import CAUTION, counts_text

    passed = Passed(read)
    stream.write(counts_text(_counts(passed)) + "\n")
    passed.close(stream)
    stream.write(f"{CAUTION}\n")


def write_counts(stream: TextIO, format_: Format, read: Iterable[Read]) -> None:
    """Write how often each pattern was found, one record a pattern."""
    from converter.assess import CAUTION, pattern_label

    counts = dict(_counts(read))
    total = counts.pop("exams")
    with records_to(stream, format_, _COUNT_COLUMNS) as write:
        for code, number in counts.items():
            about = {"pattern": code, "label": pattern_label(code), "exams": number, "of": total}
            write(about | {"caution": CAUTION})


def _counts(read: Iterable[Read]) -> "Mapping[str, int]":
    from converter.assess import pattern_counts

    return pattern_counts(assessment for _, _, assessments in read for assessment in assessments)


def _abnormalities(record: Record) -> Iterator[dict[str, Any]]:
    """The rows of one exam, each with the words that it rests on."""
    for one in record["abnormalities"]:
        yield {**record, **one, "words": " | ".join(dict.fromkeys(one["words"]))}


def _changes(record: Record) -> Iterator[dict[str, Any]]:
    """The rows of one course, each with the notes and times that it stands between."""
    for one in record["changes"]:
        visits = {when: record["visits"][one[when]] for when in ("before", "after")}
        times = {when: visit["authored"] for when, visit in visits.items()}
        notes = {
            f"{when}_{name}": visit[name] for when, visit in visits.items() for name in ("system", "note")
        }
        yield {**record, **one, **times, **notes}
