"""What persons judged, as labels for the measure of the reader."""

from pathlib import Path

from archive_session import loaded, notes, session

from converter.amending import amend_sheet, undo
from converter.archive import open_archive
from converter.labelling import Judged, judged_in
from converter.loading import Loading, load
from converter.settings import Settings, VocabularySettings

PLACES = ("0..2 3..5", "0..2 6..8", "10..12 13..15 16..27")
"""The first three findings of n3: KJ 3+/2+. AJ 1+ bilaterally. Plantars down."""


def judged(path: Path, *rows: str) -> Judged:
    sheet = path.with_name("s.csv")
    sheet.write_text("id,place,words,verdict,site,side,value\n" + "\n".join(rows) + "\n", encoding="utf-8")
    with open_archive(path) as archive:
        done = list(amend_sheet(archive, sheet, "r1", session()))
        assert [getattr(one, "state", one) for one in done] == ["made"] * len(rows)
    return judged_in(path, session())


def test_shares_count_what_was_right(tmp_path: Path) -> None:
    found = judged(
        loaded(tmp_path),
        f"n3,{PLACES[0]},,confirmed,,,",
        f"n3,{PLACES[1]},,corrected,,,1+",
        f"n3,{PLACES[2]},,rejected,,,",
        "n2,,dressing,no_finding,,,",
        "n2,,Came,added,KJ,left,2+",
    )
    assert found.judged == {("finding", "stretch"): 3, ("elsewhere", ""): 2}
    assert found.right[("finding", "stretch")] == 1
    assert found.right[("elsewhere", "")] == 1
    assert found.partly == 1
    assert set(found.labels) == {"n2"}


def test_a_correction_that_says_what_was_read_is_right(tmp_path: Path) -> None:
    found = judged(loaded(tmp_path), f"n3,{PLACES[0]},,corrected,,,3+")
    assert (found.right[("finding", "stretch")], found.judged[("finding", "stretch")]) == (1, 1)


def test_a_note_judged_throughout_is_a_label_for_the_words_of_now(tmp_path: Path) -> None:
    """The words are changed after the judging, so that the ankles are not read any more."""
    path = loaded(tmp_path)
    places = (*PLACES, "29..37 38..42")
    judged(path, *(f"n3,{place},,confirmed,,," for place in places))
    before = judged_in(path, session())
    assert len(before.labels["n3"].findings) == len(before.predicted["n3"].findings) == 4
    own = tmp_path / "own.csv"
    own.write_text("phrase,role,meaning,flags,source\naj,look_alike,joint,override,ours\n", encoding="utf-8")
    newer = session("r2", Settings(vocabulary=VocabularySettings(files=[str(own)])))
    after = judged_in(path, newer)
    assert len(after.labels["n3"].findings) == 4
    assert "achilles" not in {one["site"] for one in after.predicted["n3"].findings}


def test_undone_judgements_do_not_count(tmp_path: Path) -> None:
    path = loaded(tmp_path)
    judged(path, f"n3,{PLACES[0]},,rejected,,,")
    with open_archive(path) as archive:
        undo(archive, 1, "r1", session())
    assert judged_in(path, session()).judged == {}


def test_an_archive_without_text_is_measured_by_what_was_loaded(tmp_path: Path) -> None:
    path = tmp_path / "quiet.duckdb"
    load(notes(), path, session(), Loading(quotes=False))
    found = judged(path, f"n3,{PLACES[0]},,confirmed,,,", f"n3,{PLACES[1]},,corrected,,,1+")
    assert found.judged == {("finding", "stretch"): 2}
    assert found.right[("finding", "stretch")] == 1
