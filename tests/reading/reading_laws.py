"""The laws that every reading keeps: nothing raises, the same text reads the same, and spans never lie."""

import json

from written_notes import read_text

from converter.model import Finding, Reading
from converter.model.record import reading_from_record, reading_to_record

SPAN_ROLES = frozenset(
    {"site", "side", "value", "assertion", "header", "region", "exception", "comparison", "detail"}
)


def hold_laws(text: str) -> None:
    reading = read_text(text)
    assert reading == read_text(text)
    assert (reading.id, reading.schema) == ("note", "plexor-record-1")
    well_placed(reading, text)
    record = json.loads(json.dumps(reading_to_record(reading)))
    assert reading_from_record(record) == reading


def well_placed(reading: Reading, text: str) -> None:
    for finding in reading.findings:
        assert finding.spans, finding
        assert all(0 <= span.start < span.end <= len(text) for span in finding.spans), finding
        assert {span.role for span in finding.spans} <= SPAN_ROLES, finding
        assert list(finding.spans) == sorted(
            finding.spans, key=lambda span: (span.start, span.end, span.role)
        )
        hull = min(span.start for span in finding.spans), max(span.end for span in finding.spans)
        assert (finding.start, finding.end) == hull
        assert finding.quote == text[finding.start : finding.end]
        assert_value_is_written(finding, text)
    for unread in reading.unread:
        assert 0 <= unread.start < unread.end <= len(text), unread
        assert unread.text == text[unread.start : unread.end]
    names = [finding.finding for finding in reading.findings]
    assert sorted(set(names)) == sorted(names)
    exams = {exam.exam: exam for exam in reading.exams}
    assert set(exams) == {finding.exam for finding in reading.findings}
    for exam in exams.values():
        assert 0 <= exam.start < exam.end <= len(text)


def assert_value_is_written(finding: Finding, text: str) -> None:
    """The value as written stands in the note: in one piece, or as some of the finding's own value spans."""
    if finding.as_written is None:
        return
    if finding.as_written in finding.quote:
        return
    rest = finding.as_written
    for span in finding.spans:
        if span.role == "value":
            rest = rest.removeprefix(text[span.start : span.end]).lstrip(" ")
    assert not rest, finding
