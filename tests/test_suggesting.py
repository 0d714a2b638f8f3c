"""Words proposed from what persons corrected: tried, harmless, checked, and never applied."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from archive_copies import copied
from archive_session import session

from converter.amending import amend_sheet
from converter.api import read
from converter.archive import open_archive
from converter.loading import load
from converter.review.proposals import Proposal, word_list
from converter.settings import Settings, VocabularySettings
from converter.sources import note_from_text
from converter.suggesting import checked_list, suggestions

TEXTS = {
    "b1": "Reflexes: gronk 2+ left, KJ 1+ left.",
    "b2": "Reflexes: gronk 3+ right, KJ 1+ right.",
    "c1": "KJ wibbly 2+ left.",
    "c2": "KJ wibbly 2+ right.",
    "e1": "Reflexes: AJ floopy left.",
    "e2": "Reflexes: AJ floopy right.",
    "u1": "Reflexes: zorp jerk on the chart.",
    "u2": "Came late. Reflexes: zorp jerk on the chart.",
}
SHEET = """id,place,verdict,site,side,value
b1,10..15 16..18 19..23,added,biceps,left,2+
b2,10..15 16..18 19..24,added,biceps,right,3+
c1,0..17,added,KJ,left,2+
c2,0..18,added,KJ,right,2+
e1,10..24,added,AJ,left,absent
e2,10..25,added,AJ,right,absent
"""


def archive_of(folder: Path, texts: dict[str, str], sheet: str = "") -> Path:
    what = ("suggesting", tuple(texts.items()), sheet)
    return copied(folder / "a.duckdb", what, lambda path: judged(path, texts, sheet))


def judged(path: Path, texts: dict[str, str], sheet: str) -> None:
    """Load notes into an archive, and apply what persons said of them."""
    notes = [replace(note_from_text(text, name), patient="p1") for name, text in texts.items()]
    load(notes, path, session())
    if sheet:
        file = path.with_name("sheet.csv")
        file.write_text(sheet, encoding="utf-8")
        with open_archive(path) as archive:
            done = list(amend_sheet(archive, file, "r1", session()))
            assert [getattr(one, "state", one) for one in done] == ["made"] * len(done)


def rows(proposals: Sequence[Proposal]) -> dict[str, tuple[str, str]]:
    return {one.phrase: (one.role, one.meaning) for one in proposals}


def test_corrections_become_rows_with_the_notes_behind_them(tmp_path: Path) -> None:
    found = suggestions(archive_of(tmp_path, TEXTS, SHEET), session())
    assert rows(found)["gronk"] == ("site", "biceps")
    assert rows(found)["wibbly"] == ("filler", "")
    assert rows(found)["floopy"] == ("value", "absent")
    assert {one.phrase: one.notes for one in found}["gronk"] == ("b1", "b2")


def test_what_only_a_person_can_tell_is_a_comment(tmp_path: Path) -> None:
    path = archive_of(tmp_path, TEXTS, SHEET)
    text = checked_list(suggestions(path, session()), "a.duckdb", session())
    lines = text.splitlines()
    assert "# not understood: 2 notes: u1, u2" in lines
    assert [line for line in lines if "zorp" in line] == [
        "# reflexes: zorp jerk on the chart,,,,not understood in 2 notes"
    ]


def test_the_proposed_file_makes_the_reader_read_as_the_persons_did(tmp_path: Path) -> None:
    path = archive_of(tmp_path, TEXTS, SHEET)
    file = tmp_path / "proposed.csv"
    file.write_text(checked_list(suggestions(path, session()), "a.duckdb", session()), encoding="utf-8")
    newer = session("r2", Settings(vocabulary=VocabularySettings(files=[str(file)])))
    said = {
        name: [(one.site, one.side, one.grade_low, one.descriptor) for one in read(text, newer).findings]
        for name, text in TEXTS.items()
    }
    assert said["b1"] == [("biceps", "left", 2, None), ("patellar", "left", 1, None)]
    assert said["c2"] == [("patellar", "right", 2, None)]
    assert said["e2"] == [("achilles", "right", None, "absent")]


def test_nothing_is_applied(tmp_path: Path) -> None:
    path = archive_of(tmp_path, TEXTS, SHEET)
    before = path.read_bytes()
    suggestions(path, session())
    assert path.read_bytes() == before
    assert read(TEXTS["e1"], session()).findings == ()


def test_one_note_alone_proposes_nothing(tmp_path: Path) -> None:
    sheet = "\n".join(line for line in SHEET.splitlines() if not line.startswith(("b2", "c2", "e2")))
    texts = {name: text for name, text in TEXTS.items() if name not in ("b2", "c2", "e2", "u1", "u2")}
    path = archive_of(tmp_path, texts, sheet)
    assert suggestions(path, session()) == []
    assert set(rows(suggestions(path, session(), at_least=1))) >= {"gronk", "wibbly", "floopy"}


def test_a_slip_of_the_pen_is_proposed_as_what_it_resembles(tmp_path: Path) -> None:
    texts = {"s1": "Reflexes: KJ 2+ bilaterraly.", "s2": "Reflexes: AJ 1+ bilaterraly."}
    (found,) = suggestions(archive_of(tmp_path, texts), session())
    assert (found.phrase, found.role, found.meaning) == ("bilaterraly", "side", "both")
    assert found.why.startswith("not judged; written nearly like bilatera")


def test_rejected_findings_call_for_a_look_alike(tmp_path: Path) -> None:
    texts = {
        name: f"Reflexes: BJ 2+ right. Snout bandage {side}."
        for name, side in (("r1", "left"), ("r2", "right"))
    }
    readings = {name: read(text, session()).findings for name, text in texts.items()}
    false = {name: next(one for one in found if one.site == "primitive") for name, found in readings.items()}
    sheet = "id,place,verdict\n" + "".join(
        f"{name},{' '.join(f'{s.start}..{s.end}' for s in one.spans)},rejected\n"
        for name, one in false.items()
    )
    found = suggestions(archive_of(tmp_path, texts, sheet), session())
    assert rows(found)["snout bandage"] == ("look_alike", "not_a_reflex")


def test_a_row_tells_which_other_notes_it_would_change(tmp_path: Path) -> None:
    more = TEXTS | {"x1": "KJ wibbly 3+ left."}
    found = {one.phrase: one for one in suggestions(archive_of(tmp_path, more, SHEET), session())}
    assert found["wibbly"].others == ("x1",)
    assert found["gronk"].others == ()


def test_a_row_that_would_not_pass_the_check_becomes_a_comment() -> None:
    taken = Proposal(phrase="kj", role="site", meaning="achilles", why="corrected by a person", notes=("n1",))
    fine = Proposal(phrase="gronk", role="site", meaning="biceps", flags="joint", why="added", notes=("n1",))
    text = checked_list([taken, fine], "a.duckdb", session())
    assert "\n# kj," in text
    assert "\ngronk,site,biceps,joint," in text


def test_a_word_list_is_plain_and_one_line_a_row() -> None:
    odd = Proposal(
        phrase="two\nlines", role="filler", why="no finding", notes=tuple(f"n\n{n}" for n in range(12))
    )
    text = word_list([odd], "an\narchive")
    assert "# Made from an archive.\n" in text
    assert "# no finding: 12 notes: n 0, n 1, n 2, n 3, n 4, n 5, n 6, n 7, n 8, n 9 and 2 more\n" in text
    assert text.endswith("two lines,filler,,,no finding in 12 notes\n")
