"""The table that `plexor check` writes: fits its width, loses nothing, and says each thing once."""

import io
import json
from pathlib import Path

import pytest
from commands import plexor
from hypothesis import given
from hypothesis import strategies as st

from converter.cli.flowing import Column, FlowingTable, wrapped

WORDS = st.text(alphabet=st.characters(categories=("L", "N", "P", "Zs")), max_size=200)


@given(WORDS, st.integers(min_value=1, max_value=40))
def test_wrapped_text_fits_and_loses_nothing(text: str, width: int) -> None:
    lines = wrapped(text, width)
    assert all(0 < len(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_words_stay_whole_where_they_fit() -> None:
    assert wrapped("absent left ankle jerk", 11) == ["absent left", "ankle jerk"]


def test_an_address_is_broken_behind_its_marks() -> None:
    assert wrapped("http://site.example/fhir/ValueSet/grade", 20) == [
        "http://site.example/",
        "fhir/ValueSet/grade",
    ]


@pytest.mark.parametrize("width", [80, 100, 120])
def test_rows_fit_the_width_and_stand_in_columns(width: int) -> None:
    stream = io.StringIO()
    table = FlowingTable(
        stream, [Column("severity", width=11), Column("wrong", share=2), Column("so", share=1)], width
    )
    table.section("a.json")
    table.row(["error", "it is missing and must be given " * 5, "1..1"])
    lines = stream.getvalue().splitlines()
    assert lines[1] == "a.json"
    assert max(map(len, lines)) <= width
    column = lines[0].index("wrong")
    assert all(line[column - 1] == " " != line[column] for line in lines[2:])


def test_check_shows_place_in_resource_and_note_what_is_wrong_and_what_was_expected(tmp_path: Path) -> None:
    from converter.shipped_files import profiles_folder

    # the words of the finding stand at 32 to 42 in the note, which the example's extension says
    file = profiles_folder() / "examples" / "fail" / "invariant.obs-6.json"
    ran = plexor("check", file)
    lines = ran.out.splitlines()
    assert lines[0].split("  ")[1] == "severity"
    assert lines[1].endswith("invariant.obs-6.json")
    assert lines[2].split()[:3] == ["error", "Observation", "32-42"]
    assert "breaks the rule obs-6" in lines[2]
    assert "dataAbsentReason" in lines[2]


def test_a_clean_check_writes_no_table(tmp_path: Path) -> None:
    from converter.shipped_files import profiles_folder

    ran = plexor("check", profiles_folder() / "examples" / "pass" / "finding-graded.json")
    assert ran.out == "1 resource checked, 0 errors, 0 warnings\n"


def test_a_file_that_cannot_be_read_is_a_row_of_its_own(tmp_path: Path) -> None:
    (tmp_path / "a.json").write_text('{"resourceType": "Patient"', encoding="utf-8")
    (tmp_path / "b.json").write_text('{"resourceType": "Patient"}', encoding="utf-8")
    ran = plexor("check", tmp_path)
    assert ran.status == 1
    assert f"{tmp_path / 'a.json'}:1" in ran.out
    assert "is not JSON" in ran.out
    assert ran.out.splitlines()[-1] == "1 resource checked, 1 error, 0 warnings"


def test_a_second_opinion_is_given_on_demand_and_only_warns(tmp_path: Path) -> None:
    """The models of PyPI `fhir.resources` refuse elements that FHIR does not have."""
    file = tmp_path / "a.json"
    resource = {"resourceType": "Patient", "colour": "red"}
    file.write_text(json.dumps(resource), encoding="utf-8")
    for release in ("R4", "R5"):
        rows = [
            json.loads(line)
            for line in plexor(
                "check", file, "--second-opinion", "--release", release, "--format", "jsonl"
            ).out.splitlines()
        ]
        told = [(row["severity"], row["path"]) for row in rows if row["code"] == "second-opinion"]
        assert told == [("warning", "Patient.colour")]
    file.write_text(json.dumps({"resourceType": "Patient"}), encoding="utf-8")
    assert plexor("check", file, "--second-opinion").status == 0
    assert "second-opinion" not in plexor("check", file, "--format", "jsonl").out


def test_remarks_of_one_kind_are_counted_after_the_first(tmp_path: Path) -> None:
    for number in range(5):
        (tmp_path / f"{number}.json").write_text('{"resourceType": "Patient"}', encoding="utf-8")
    ran = plexor("check", tmp_path)  # a resource should have narrative: dom-6, for each of the five
    assert ran.out.count("dom-6") == 3
    assert ran.out.splitlines()[-2].startswith("2 more remarks")
    assert len(plexor("check", tmp_path, "--format", "jsonl").out.splitlines()) == 5
