"""`plexor summary`: exams, courses and counts, for people and as records, and drawings."""

import csv
import io
import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from commands import plexor

from converter.shipped_files import demo_folder

HEADER = "id,text,system,patient,authored,author\n"
NOTES = (
    HEADER
    + """a1,"Reflexes 3+ throughout. Toes down.",urn:example:one,p1,2031-03-04,e1
a2,"Came for a dressing change.",urn:example:one,p1,2031-03-05,e1
b1,"Reflexes 2+ throughout.",urn:example:one,p2,2031-03-06,e2
a3,"Reflexes 1+ throughout. Toes down.",urn:example:one,p1,2031-03-11,e1
c1,"KJ 3+ on the left and 2+ on the right.",urn:example:one,,2031-03-12,e2
"""
)
CAUTION = "For records work, not a diagnosis; confirm with a licensed clinician"


@pytest.fixture
def notes(tmp_path: Path) -> Path:
    return table(tmp_path / "notes.csv", NOTES)


def table(file: Path, text: str) -> Path:
    file.write_text(text, encoding="utf-8")
    return file


def records(*arguments: str | Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in plexor("summary", *arguments, "--format", "jsonl").out.splitlines()]


def rows(*arguments: str | Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(plexor("summary", *arguments, "--format", "csv").out)))


def test_each_exam_has_its_five_lines_the_words_of_the_note_and_the_caution(notes: Path) -> None:
    out = plexor("summary", notes).out
    c1 = out[out.index("note c1, exam 1, 2031-03-12, examiner e2") :].splitlines()
    assert c1[1].startswith(
        "  Sides         Side difference of the patellar reflex: weaker on the right by 1"
    )
    assert c1[1].endswith("[KJ 3+ on the left | KJ … 2+ on the right]")
    assert [line.split()[0] for line in c1[2:5]] == ["Strength", "Signs", "Pattern"]
    assert out.count(CAUTION) == 4
    assert "Without an exam of reflexes: 1 note." in out


def test_why_names_rule_source_and_inputs_in_exams_and_courses(notes: Path) -> None:
    plain, why = plexor("summary", notes).out, plexor("summary", notes, "--why").out
    assert "why:" not in plain
    assert "why: side-difference, rule side-difference; source: Blumenfeld" in why
    assert "rests on patellar-" in why
    course = plexor("summary", notes, "--by", "patient", "--why").out
    assert "why: generalised-change, rule generalised-change; source: " in course
    assert "rests on a1#all_limbs-" in course


def test_causes_are_reference_text_headed_by_the_date_and_never_in_records(
    notes: Path, tmp_path: Path
) -> None:
    out = plexor("summary", notes, "--causes").out
    assert "Exam of 2031-03-12: general reference, not about this patient" in out
    assert "general reference" not in plexor("summary", notes).out
    for format_ in ("json", "jsonl", "csv"):
        refused = plexor("summary", notes, "--causes", "--format", format_, "--out", tmp_path / "out")
        assert (refused.status, refused.out) == (2, "")
        assert "reference text is for people" in refused.err
        assert not (tmp_path / "out").exists()
        assert "general reference" not in plexor("summary", notes, "--format", format_).out
    assert "reference text goes with exams" in plexor("summary", notes, "--causes", "--by", "pattern").err
    plexor("summary", notes, "--causes", "--figure", tmp_path / "drawn")
    assert not any("reference" in file.read_text("utf-8") for file in (tmp_path / "drawn").iterdir())


def test_a_course_is_a_grid_and_calls_out_a_fall_of_two_grades_on_both_sides(notes: Path) -> None:
    """Common practice, no source: neither 3+ nor 1+ on both sides is abnormal by itself."""
    ran = plexor("summary", notes, "--by", "patient")
    first, second = ran.out.split("\n\n")[:2]
    assert first.startswith("patient p1: 2 exams\n")
    cells = {line[2:25].strip(): line[25:].split() for line in first.splitlines()[1:13]}
    assert cells[""] == ["2031-03-04", "2031-03-11"]
    assert cells["patellar left"] == ["3+", "1+"]
    assert cells["achilles right"] == ["3+", "1+"]
    assert "2031-03-04 to 2031-03-11: Change of all reflexes" in first
    assert "7 days, same examiner, same scale." in first
    assert CAUTION in first
    assert "Raters differ: 28 %" in first
    assert second.startswith("patient p2: 1 exam\n")
    assert "no second exam" in second
    assert "1 note with reflexes names no patient, so no course holds it." in ran.err
    assert "Without an exam of reflexes: 1 note." in ran.out


def test_the_demo_shows_what_its_readme_says_of_each_course() -> None:
    out = plexor("summary", demo_folder() / "notes.csv", "--by", "patient").out
    by_patient = {part[8:13]: part for part in out.split("\n\n")}
    assert "Change of all reflexes documented at both exams: 3+ became 1+" in by_patient["P-004"]
    assert "Reversal of the patellar reflex on the left" in by_patient["P-005"]
    assert "New side difference of the patellar reflex: weaker on the right" in by_patient["P-006"]
    assert "none found" in by_patient["P-009"] or "no second exam" in by_patient["P-009"]


def test_courses_are_records_and_rows_of_changes(notes: Path) -> None:
    first, second = records(notes, "--by", "patient")
    assert (first["patient"], second["patient"]) == ("p1", "p2")
    assert (second["changes"], len(first["visits"])) == ([], 2)  # type: ignore[arg-type]
    (change,) = [row for row in rows(notes, "--by", "patient") if row["code"] == "generalised-change"]
    assert (change["patient"], change["before_note"], change["after_note"]) == ("p1", "a1", "a3")
    assert (change["before_system"], change["after_system"]) == ("urn:example:one", "urn:example:one")
    assert (change["before"], change["after"], change["days"]) == ("2031-03-04", "2031-03-11", "7")
    assert (change["direction"], change["size"], change["same_examiner"]) == ("down", "2", "true")
    assert CAUTION in change["caution"]


def test_one_number_in_two_note_systems_is_two_patients_unless_the_site_says_otherwise(
    tmp_path: Path,
) -> None:
    text = HEADER + "x,KJ 3+/3+,urn:example:one,p1,2031-03-04,e\ny,KJ 1+/1+,urn:example:two,p1,2031-03-06,e\n"
    both = table(tmp_path / "both.csv", text)
    apart = plexor("summary", both, "--by", "patient").out
    assert apart.count("patient p1: 1 exam") == 2
    assert "this course is of the notes of urn:example:two alone" in apart
    config = table(tmp_path / "site.toml", '[fhir]\npatient_system = "urn:example:patients"\n')
    joined = plexor("summary", both, "--by", "patient", "--config", config).out
    assert joined.count("patient p1: 2 exams") == 1
    assert "3+ became 1+" in joined


def test_many_visits_are_shown_in_blocks_that_fit_a_page(tmp_path: Path) -> None:
    lines = "".join(f"n{day},KJ 2+/2+,urn:example:one,p1,2031-03-{day:02},e\n" for day in range(1, 18))
    out = plexor("summary", table(tmp_path / "many.csv", HEADER + lines), "--by", "patient").out
    grid = [line for line in out.splitlines() if line.startswith("  ")]
    assert [line.split()[2:] for line in grid if line.startswith("  patellar left")] == [
        ["2+"] * 8,
        ["2+"] * 8,
        ["2+"],
    ]
    assert max(map(len, grid)) <= 120


def test_patterns_are_counted_over_exams(notes: Path) -> None:
    lines = plexor("summary", notes, "--by", "pattern").out.splitlines()
    assert lines[0] == "4 exams"
    assert "        1   25.0 %  Side difference" in lines
    assert "Without an exam of reflexes: 1 note." in lines
    assert lines[-1].startswith(CAUTION)
    (sides,) = [row for row in rows(notes, "--by", "pattern") if row["pattern"] == "side-difference"]
    assert (sides["label"], sides["exams"], sides["of"]) == ("Side difference", "1", "4")
    assert all(CAUTION in str(record["caution"]) for record in records(notes, "--by", "pattern"))
    assert "leave one out" in plexor("summary", notes, "--by", "pattern", "--why").err


def test_an_exam_that_a_note_quotes_is_neither_counted_nor_drawn(tmp_path: Path) -> None:
    text = "Previous examination (4 March 2031): KJ 0/0.\nToday: KJ 2+/2+."
    file = table(tmp_path / "quote.csv", HEADER + f'q,"{text}",urn:example:one,p1,2031-04-01,e\n')
    assert len(records(file)) == 2
    assert plexor("summary", file, "--by", "pattern").out.startswith("1 exam\n")
    assert "1 drawing in" in plexor("summary", file, "--figure", tmp_path / "drawn").out


def test_wording_that_was_not_understood_is_said_since_no_summary_speaks_of_it(tmp_path: Path) -> None:
    text = "KJ 2+/2+. The ankle reflexes were zorbly."
    file = table(tmp_path / "odd.csv", HEADER + f"q,{text},urn:example:one,p1,2031-04-01,e\n")
    out = plexor("summary", file).out
    assert "Reflex wording in this note that was not understood: [" in out
    assert "ankle reflexes" in out.partition("not understood: [")[2]
    assert "ankle reflexes" in str(records(file)[0]["unread"])
    assert "not understood" not in plexor("summary", demo_folder() / "texts" / "P-009-V3.txt").out


def test_no_notes_give_empty_results(tmp_path: Path) -> None:
    empty = table(tmp_path / "none.csv", HEADER)
    for by in ("exam", "patient", "pattern"):
        assert json.loads(plexor("summary", empty, "--by", by, "--format", "json").out) == []
    assert plexor("summary", empty, "--by", "pattern").out.startswith("0 exams\n")


def test_a_record_holds_rule_source_inputs_and_words(notes: Path) -> None:
    (c1,) = [record for record in records(notes) if record["id"] == "c1"]
    (sides,) = [one for one in c1["abnormalities"] if one["rule"] == "side-difference"]  # type: ignore[attr-defined]
    assert sides["source"].startswith("Blumenfeld")
    assert len(sides["rests_on"]) == 2
    assert sides["words"] == ["KJ 3+ on the left", "KJ 3+ on the left and 2+ on the right"]


@pytest.mark.parametrize("by", ["exam", "patient", "pattern"])
def test_each_exam_is_drawn_whatever_is_summarised(notes: Path, tmp_path: Path, by: str) -> None:
    out = plexor("summary", notes, "--by", by, "--figure", tmp_path / "drawn").out
    assert f"4 drawings in {tmp_path / 'drawn'}" in out
    files = sorted((tmp_path / "drawn").iterdir())
    assert [file.name.split(".")[:2] for file in files] == [
        [name, "exam-1"] for name in ("a1", "a3", "b1", "c1")
    ]
    assert all(ElementTree.parse(file).getroot().tag.endswith("svg") for file in files)


def test_drawings_have_safe_names_and_the_same_bytes_again(tmp_path: Path) -> None:
    text = (
        HEADER + "../../x y,KJ 2+/3+,urn:example:one,p1,2031-03-04,e\n../../x-y,KJ 2+/2+,,p1,2031-03-04,e\n"
    )
    file = table(tmp_path / "odd.csv", text)
    folder = tmp_path / "in" / "drawn"
    assert plexor("summary", file, "--figure", folder).status == 0
    first = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert len(first) == 2
    assert all(name.startswith("x-y.exam-1.") for name in first)
    assert plexor("summary", file, "--figure", folder).status == 0
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == first


def test_a_file_that_is_no_drawing_of_ours_is_not_replaced(notes: Path, tmp_path: Path) -> None:
    folder = tmp_path / "drawn"
    plexor("summary", notes, "--figure", folder)
    mine = next(folder.glob("a1.*"))
    mine.write_text("<svg>my own</svg>", encoding="utf-8")
    ran = plexor("summary", notes, "--figure", folder)
    assert ran.status == 2
    assert f"{mine}: this file is no drawing by plexor" in ran.err
    assert mine.read_text("utf-8") == "<svg>my own</svg>"
    assert "cannot be made" in plexor("summary", notes, "--figure", mine).err


def test_settings_of_the_assessment_reach_the_summary(notes: Path, tmp_path: Path) -> None:
    config = table(tmp_path / "site.toml", "[assess]\nside_difference = 2\n")
    assert "Side difference" not in plexor("summary", notes, "--config", config).out
    config = table(
        tmp_path / "site.toml",
        "[assess]\nleave_out = ['generalised-change', 'change-over-time', 'reversal-over-time']\n",
    )
    assert "became" not in plexor("summary", notes, "--by", "patient", "--config", config).out
    config = table(tmp_path / "site.toml", "[assess]\nleave_out = ['changes']\n")
    ran = plexor("summary", notes, "--config", config)
    assert ran.status == 2
    assert f"{config}: [assess] leave_out: there is no rule changes; known are" in ran.err
