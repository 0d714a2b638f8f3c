"""What `plexor convert` writes on demand: XML, and the release R5. Both pass the check."""

import json
import os
from pathlib import Path

import pytest
from commands import plexor
from lxml import etree

NOTE = "Reflexes: biceps 2+ bilaterally, knees 2+ right and 3+ left, absent left ankle jerk."


@pytest.fixture
def notes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1900000000")
    folder = tmp_path / "notes"
    folder.mkdir()
    for name in ("one", "two"):
        (folder / f"{name}.txt").write_text(NOTE, encoding="utf-8")
    return folder


def test_xml_is_valid_and_says_what_the_json_says(notes: Path, tmp_path: Path) -> None:
    """Source: FHIR R4 XSD, `fhir-single.xsd`, through PLEXOR_OUTSIDE."""
    from converter.check import read_resources

    for form, folder in (("xml", tmp_path / "x"), ("bundles", tmp_path / "j")):
        assert plexor("convert", notes, "--out", folder, "--as", form).status == 0
    files = sorted((tmp_path / "x").glob("*.xml"))
    assert [file.stem for file in files] == [file.stem for file in sorted((tmp_path / "j").glob("*.json"))]
    for file in files:
        (read,) = read_resources([file])
        assert isinstance(read, tuple)
        told = json.loads(json.dumps(read[1], default=float))
        assert told == json.loads((tmp_path / "j" / f"{file.stem}.json").read_text(encoding="utf-8"))
    assert plexor("check", tmp_path / "x").out.endswith("0 errors, 0 warnings\n")
    schema = Path(os.environ.get("PLEXOR_OUTSIDE", "/nowhere")) / "fhir-examples" / "xsd" / "fhir-single.xsd"
    if schema.is_file():
        judge = etree.XMLSchema(etree.parse(str(schema)))
        assert [judge.validate(etree.parse(str(file))) for file in files] == [True, True]


@pytest.mark.parametrize("form", ["bundles", "ndjson", "xml"])
def test_r5_is_written_on_demand(notes: Path, tmp_path: Path, form: str) -> None:
    out = tmp_path / "out"
    assert plexor("convert", notes, "--out", out, "--as", form, "--release", "R5").status == 0
    checked = plexor("check", out, "--release", "R5", "--second-opinion")
    assert (checked.status, checked.out.splitlines()[-1].endswith("0 errors, 0 warnings")) == (0, True)
    assert plexor("check", out, "--release", "R4").status == 1  # an R4 server would refuse it


def test_the_release_can_be_set_for_a_site(notes: Path, tmp_path: Path) -> None:
    config = tmp_path / "plexor.toml"
    config.write_text('[fhir]\nrelease = "R5"\n', encoding="utf-8")
    assert plexor("convert", notes, "--out", tmp_path / "out", "--config", config).status == 0
    assert plexor("check", tmp_path / "out", "--config", config).status == 0
    (first, *_) = sorted((tmp_path / "out").glob("*.json"))
    bundle = json.loads(first.read_text(encoding="utf-8"))
    device = next(e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == "Device")
    assert isinstance(device["type"], list)


def test_a_note_with_a_faulty_resource_is_told_of_and_not_written(notes: Path, tmp_path: Path) -> None:
    """A site that asks more of a finding than the note gives: here an examiner."""
    from converter.shipped_files import profiles_folder

    shipped = profiles_folder() / "definitions" / "StructureDefinition-reflex-finding.json"
    stricter = json.loads(shipped.read_text(encoding="utf-8"))
    stricter["differential"]["element"].append(
        {"id": "Observation.performer", "path": "Observation.performer", "min": 1}
    )
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "finding.json").write_text(json.dumps(stricter), encoding="utf-8")
    config = tmp_path / "plexor.toml"
    config.write_text('[profiles]\nfolders = ["own"]\n', encoding="utf-8")
    out = tmp_path / "out"
    ran = plexor("convert", notes, "--out", out, "--config", config)
    assert ran.status == 1
    assert list(out.glob("*.json")) == []
    assert "Observation.performer" in ran.err
    assert ran.err.count("Nothing of this note was written") == 2
    assert plexor("convert", notes, "--out", out, "--config", config, "--no-check").status == 0
    assert len(list(out.glob("*.json"))) == 2
