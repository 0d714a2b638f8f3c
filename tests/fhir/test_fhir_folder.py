"""Writing into a folder twice: same bytes, retractions, corrections, nothing half-written."""

import json
from pathlib import Path
from typing import Any, Literal

import pytest
from fhir_samples import abnormality, assessment, built, finding, graded, note, options

from converter.fhir import FhirOptions, FolderWriter
from converter.fhir.folder import bundle_name

Form = Literal["bundle", "ndjson"]
FORMS: tuple[Form, ...] = ("bundle", "ndjson")


def convert(folder: Path, *notes: list[dict[str, Any]], form: Form = "bundle") -> list[str]:
    with FolderWriter(folder, FhirOptions(), form) as writer:
        return [doubt.code for resources in notes for doubt in writer.write(resources)]


def interrupted(folder: Path, form: Form) -> None:
    with FolderWriter(folder, FhirOptions(), form) as writer:
        writer.write(built(graded(3, finding="new")))
        raise RuntimeError


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def observations(folder: Path) -> dict[str, dict[str, Any]]:
    """Every Observation that stands in the folder's bundles, by the value of its identifier."""
    found = {}
    for path in sorted(folder.glob("*.json")):
        for entry in json.loads(path.read_text(encoding="utf-8"))["entry"]:
            if entry["resource"]["resourceType"] == "Observation":
                found[entry["resource"]["identifier"][0]["value"]] = entry["resource"]
    return found


def finding_id(resources: list[dict[str, Any]]) -> str:
    named: str = next(one["id"] for one in resources if one["resourceType"] == "Observation")
    return named


@pytest.mark.parametrize("form", FORMS)
def test_same_input_twice_changes_no_byte(tmp_path: Path, form: Form) -> None:
    resources = built(graded(2), assessments=(assessment(abnormality()),))
    convert(tmp_path, resources, form=form)
    first = files(tmp_path)
    convert(tmp_path, resources, form=form)
    assert files(tmp_path) == first
    assert "ledger.jsonl" in first


@pytest.mark.parametrize("form", FORMS)
def test_later_reading_of_the_same_changes_no_byte(tmp_path: Path, form: Form) -> None:
    convert(tmp_path, built(graded(2)), form=form)
    first = files(tmp_path)
    convert(tmp_path, built(graded(2), options=options(recorded="2032-01-01T00:00:00Z")), form=form)
    assert files(tmp_path) == first


def test_vanished_finding_is_retracted_and_stays_so(tmp_path: Path) -> None:
    gone = finding_id(built(graded(2)))
    convert(tmp_path, built(graded(2)))
    for _ in range(2):
        convert(tmp_path, built(graded(3, finding="patellar-left-33")))
        retracted = observations(tmp_path)[gone]
        assert retracted["status"] == "entered-in-error"
        assert retracted["code"]["coding"][0]["code"] == "patellar"
        assert "valueCodeableConcept" not in retracted
        assert retracted["subject"]["identifier"]["value"] == "pt-3"
    once = files(tmp_path)
    convert(tmp_path, built(graded(3, finding="patellar-left-33")))
    assert files(tmp_path) == once


def test_note_that_loses_every_finding_takes_all_back(tmp_path: Path) -> None:
    convert(tmp_path, built(graded(2), assessments=(assessment(abnormality()),)))
    convert(tmp_path, built())
    statuses = {one["status"] for one in observations(tmp_path).values()}
    assert statuses == {"entered-in-error"}
    bundle = json.loads(next(tmp_path.glob("visit*.json")).read_text(encoding="utf-8"))
    (summary,) = [e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == "Composition"]
    assert summary["status"] == "entered-in-error"
    assert summary["author"][0]["reference"].startswith("Device?identifier=")


def test_finding_that_comes_back_is_current_again(tmp_path: Path) -> None:
    for told in ([graded(2)], [], [graded(2)]):
        convert(tmp_path, built(*told))
    assert observations(tmp_path)[finding_id(built(graded(2)))]["status"] == "preliminary"


def test_changed_finding_is_corrected_where_it_had_been_final(tmp_path: Path) -> None:
    final = options(status="final")
    name = finding_id(built(graded(2)))
    convert(tmp_path, built(graded(2), options=final))
    assert observations(tmp_path)[name]["status"] == "final"
    for _ in range(2):
        convert(tmp_path, built(graded(3), options=final))
        assert observations(tmp_path)[name]["status"] == "corrected"
        assert observations(tmp_path)[name]["valueCodeableConcept"]["text"] == "3+"


def test_changed_preliminary_finding_stays_preliminary(tmp_path: Path) -> None:
    convert(tmp_path, built(graded(2)))
    convert(tmp_path, built(graded(3)))
    changed = observations(tmp_path)[finding_id(built(graded(2)))]
    assert (changed["status"], changed["valueCodeableConcept"]["text"]) == ("preliminary", "3+")


def test_confirming_makes_it_final(tmp_path: Path) -> None:
    convert(tmp_path, built(graded(2)))
    convert(tmp_path, built(graded(2), options=options(status="final")))
    assert observations(tmp_path)[finding_id(built(graded(2)))]["status"] == "final"


@pytest.mark.parametrize("form", FORMS)
def test_notes_that_do_not_come_again_are_left_alone(tmp_path: Path, form: Form) -> None:
    other = built(graded(1), note=note(id="visit-8"))
    convert(tmp_path, built(graded(2)), other, form=form)
    first = files(tmp_path)
    convert(tmp_path, built(graded(2)), form=form)
    again = files(tmp_path)
    assert again.keys() == first.keys()
    assert {name: sorted(text.splitlines()) for name, text in again.items()} == {
        name: sorted(text.splitlines()) for name, text in first.items()
    }


def test_ndjson_holds_retractions_and_one_device(tmp_path: Path) -> None:
    other = built(graded(1), note=note(id="visit-8"))
    convert(tmp_path, built(graded(2)), other, form="ndjson")
    convert(tmp_path, built(graded(3, finding="patellar-left-33")), form="ndjson")
    lines = (tmp_path / "Observation.ndjson").read_text(encoding="utf-8").splitlines()
    by_id = {resource["id"]: resource for resource in map(json.loads, lines)}
    assert len(by_id) == len(lines) == 5
    assert by_id[finding_id(built(graded(2)))]["status"] == "entered-in-error"
    assert len((tmp_path / "Device.ndjson").read_text(encoding="utf-8").splitlines()) == 1


@pytest.mark.parametrize("form", FORMS)
def test_interrupted_run_leaves_nothing_half_written(tmp_path: Path, form: Form) -> None:
    convert(tmp_path, built(graded(2)), form=form)
    first = files(tmp_path)
    with pytest.raises(RuntimeError):
        interrupted(tmp_path, form)
    later = files(tmp_path)
    assert later["ledger.jsonl"] == first["ledger.jsonl"]
    for path in tmp_path.glob("*.json"):
        json.loads(path.read_text(encoding="utf-8"))
    if form == "ndjson":
        assert later == first


def test_what_an_interrupted_run_sent_is_retracted_too(tmp_path: Path) -> None:
    convert(tmp_path, built(graded(2)))
    with pytest.raises(RuntimeError):
        interrupted(tmp_path, "bundle")
    convert(tmp_path, built(graded(2)))
    assert observations(tmp_path)[finding_id(built(graded(3, finding="new")))]["status"] == "entered-in-error"
    assert not list(tmp_path.glob("*.part"))


def test_one_identity_with_two_texts_is_an_error(tmp_path: Path) -> None:
    first, second = built(graded(2)), built(graded(3), note=note(text="another text"))
    assert convert(tmp_path, first, second, first) == ["one-identity-two-texts"]


@pytest.mark.parametrize("name", ["../../etc/x", "a/b", "CON", "", "\x00", "é" * 300, "a" * 300, ".hidden"])
def test_hostile_names_stay_in_the_folder(tmp_path: Path, name: str) -> None:
    resources = built(finding(as_written="x"), note=note(id=name))
    target = tmp_path / "out"
    convert(target, resources)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
    (bundle,) = target.glob("*.json")
    assert bundle.name == bundle_name(resources)
    assert len(bundle.name.encode()) < 120
    assert not bundle.name.startswith(".")


def test_names_that_look_alike_get_files_of_their_own(tmp_path: Path) -> None:
    convert(tmp_path, *(built(note=note(id=name)) for name in ("a b", "a/b", "A B")))
    assert len({path.name.lower() for path in tmp_path.glob("*.json")}) == 3


def test_damaged_ledger_is_said_with_its_place(tmp_path: Path) -> None:
    (tmp_path / "ledger.jsonl").write_text('{"note": 1}\n', encoding="utf-8")
    with pytest.raises(ValueError, match=r"ledger\.jsonl:1"):
        FolderWriter(tmp_path, FhirOptions())


def test_a_half_written_line_of_the_journal_spoils_no_later_one(tmp_path: Path) -> None:
    convert(tmp_path, built(graded(2)))
    for _ in range(2):  # twice, since the second run reads what the first wrote behind the half line
        with (tmp_path / "ledger.jsonl.part").open("a", encoding="utf-8") as journal:
            journal.write('{"note": "half a li')
        with pytest.raises(RuntimeError):
            interrupted(tmp_path, "bundle")
    convert(tmp_path, built(graded(3)))
    assert not (tmp_path / "ledger.jsonl.part").exists()
