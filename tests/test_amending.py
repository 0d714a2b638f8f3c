"""Judging sheets applied to an archive: row by row, safely twice, and through new words."""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from archive_session import loaded, notes, session

from converter.amending import RowDone, amend_sheet, undo
from converter.archive import Archive, NoteKey, amendments, open_archive, stored_readings
from converter.loading import load
from converter.model import Diagnostic, Finding
from converter.settings import Settings, VocabularySettings

SYSTEM = "urn:example:notes"
HEADER = "id,place,words,finding,verdict,site,side,value,status,remark,by\n"


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    with open_archive(loaded(tmp_path)) as opened:
        yield opened


def applied(archive: Archive, *rows: str, by: str | None = "r1") -> list[RowDone | Diagnostic]:
    sheet = archive.path.with_name("sheet.csv")
    sheet.write_text(HEADER + "\n".join(rows) + "\n", encoding="utf-8")
    return list(amend_sheet(archive, sheet, by, session()))


def findings(archive: Archive, name: str) -> list[tuple[str, str, str | None, str | None]]:
    ((_, reading, _),) = stored_readings(archive, [NoteKey(SYSTEM, name)])
    return [(one.site, one.side, one.as_written, one.verdict) for one in reading.findings]


def test_each_verdict_does_what_it_says(archive: Archive) -> None:
    """n3 says: KJ 3+/2+. AJ 1+ bilaterally. Plantars down."""
    done = applied(
        archive,
        "n3,0..2 3..5,,,confirmed,,,,,,",
        "n3,0..2 6..8,,,corrected,,,1+,,misread,",
        "n3,10..12 13..15 16..27,,,rejected,,,,,,",
        "n2,,dressing,,added,AJ,left,absent,,,",
    )
    assert [one.state for one in done if isinstance(one, RowDone)] == ["made"] * 4
    assert findings(archive, "n3")[:2] == [
        ("patellar", "right", "3+", "confirmed"),
        ("patellar", "left", "1+", "corrected"),
    ]
    assert "achilles" not in {site for site, *_ in findings(archive, "n3")}
    assert findings(archive, "n2") == [("achilles", "left", "absent", "added")]
    assert [one.remark for one in amendments(archive)] == [None, "misread", None, None]


def test_the_same_sheet_twice_changes_nothing_the_second_time(archive: Archive) -> None:
    rows = (
        "n3,0..2 3..5,,,confirmed,,,,,,",
        "n3,0..2 6..8,,,corrected,,,1+,,,",
        "n3,10..12 13..15 16..27,,,rejected,,,,,,",
        "n2,,dressing,,added,AJ,left,absent,,,",
        "n2,,Came,,no_finding,,,,,,",
    )
    applied(archive, *rows)
    before = list(amendments(archive))
    assert len(before) == 5
    assert [one.state for one in applied(archive, *rows) if isinstance(one, RowDone)] == ["known"] * 5
    assert list(amendments(archive)) == before


def test_another_person_may_say_the_same(archive: Archive) -> None:
    applied(archive, "n3,0..2 3..5,,,confirmed,,,,,,")
    applied(archive, "n3,0..2 3..5,,,confirmed,,,,,,r2")
    assert [one.by for one in amendments(archive)] == ["r1", "r2"]


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ("n9,0..2,,,confirmed,,,,,,", "There is no note n9 in the archive"),
        ("n3,0..1,,,confirmed,,,,,,", "No finding stands there now"),
        ("n3,0..2 3..5,,,corrected,,,,,,", "Say what the finding should be"),
        ("n3,0..2 3..5,,,corrected,,,9+,,,", "The value '9\\+' is not understood"),
        ("n3,0..2 3..5,,,confirmed,,left,,,,", "is not changed as well: write corrected"),
        ("n3,0..2,,,no_finding,,,,,,", "a finding stands there"),
        ("n3,,,,no_finding,,,,,,", "Say where there is no finding"),
        ("n3,,KJ 9,,added,KJ,left,2+,,,", "These words do not stand in the note"),
        ("n3,900..902,,,added,KJ,left,2+,,,", "behind the end of the note"),
    ],
)
def test_a_row_that_cannot_be_applied_is_told_and_the_rest_goes_on(
    archive: Archive, row: str, sentence: str
) -> None:
    wrong, right = applied(archive, row, "n3,0..2 6..8,,,confirmed,,,,,,")
    assert isinstance(wrong, Diagnostic)
    assert re.search(sentence, wrong.message)
    assert wrong.line == 2
    assert isinstance(right, RowDone)
    assert right.number == 1


def test_nobody_judges_without_a_name(archive: Archive) -> None:
    (wrong,) = applied(archive, "n3,0..2 3..5,,,confirmed,,,,,,", by=None)
    assert isinstance(wrong, Diagnostic)
    assert "Say who judged" in wrong.message


def test_amendments_survive_new_words_and_are_listed_where_they_do_not_fit(tmp_path: Path) -> None:
    path = loaded(tmp_path)
    with open_archive(path) as archive:
        applied(archive, "n3,0..2 3..5,,,corrected,,,1+,,,")
        ((_, reading, _),) = stored_readings(archive, [NoteKey(SYSTEM, "n4")])
        ankle = reading.findings[0]
        place = " ".join(f"{span.start}..{span.end}" for span in ankle.spans)
        applied(archive, f"n4,{place},,,confirmed,,,,,,")
    words = tmp_path / "own.csv"
    words.write_text(
        "phrase, role, meaning, flags, source\nleft ankle, look_alike, joint, , our clinic\n",
        encoding="utf-8",
    )
    newer = session("r2", Settings(vocabulary=VocabularySettings(files=[str(words)])))
    totals = load(notes(), path, newer)
    assert totals.adds_up
    assert totals.failed == 0
    with open_archive(path) as archive:
        assert findings(archive, "n3")[0] == ("patellar", "right", "1+", "corrected")
        states = dict(archive.connection.execute("SELECT amendment, state FROM amendment_log").fetchall())
        assert states == {1: "applied", 2: "not_applied"}
        undo(archive, 2, "r1", newer)


def test_abnormalities_follow_an_amendment(archive: Archive) -> None:
    """KJ 3+/2+ differs by one grade between the sides; corrected to 2+ on both it does not."""

    def codes(name: str) -> set[str]:
        ((_, _, assessments),) = stored_readings(archive, [NoteKey(SYSTEM, name)])
        return {one.code for assessment in assessments for one in assessment.abnormalities}

    assert "side-difference" in codes("n3")
    applied(archive, "n3,0..2 3..5,,,corrected,,,2+,,,")
    assert "side-difference" not in codes("n3")


def test_a_grade_stays_where_it_was_read(archive: Archive) -> None:
    ((_, before, _),) = stored_readings(archive, [NoteKey(SYSTEM, "n3")])
    applied(archive, "n3,0..2 3..5,,,corrected,,left,,,,")
    ((_, after, _),) = stored_readings(archive, [NoteKey(SYSTEM, "n3")])
    kept: Finding = before.findings[0]
    assert after.findings[0] == replace(kept, side="left", verdict="corrected")
