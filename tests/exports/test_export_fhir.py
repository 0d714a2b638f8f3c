"""The target `fhir`: NDJSON and bundles against what convert writes, the R4 schema, and back to findings."""

import gzip
import json
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from commands import plexor, program

from converter.api import open_session
from converter.archive import open_archive, stored_readings
from converter.fhir import ReadBack, read_back
from converter.model import Diagnostic, Finding

Json = dict[str, Any]
DEMO = Path(__file__).parents[2] / "fixtures/demo/notes.csv"
_SENT = ("current", "not_tested")


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo in an archive, loaded at a fixed time."""
    file = tmp_path_factory.mktemp("archive") / "a.duckdb"
    ran = program("load", DEMO, "--archive", file, env={"SOURCE_DATE_EPOCH": "1930000000"})
    assert ran.status == 0, ran.err
    return file


def exported(archive: Path, out: Path, *more: str) -> Json:
    ran = plexor("export", archive, "--to", "fhir", "--out", out, *more)
    assert ran.status == 0, ran.err
    manifest: Json = json.loads((out / "manifest.json").read_text())
    return manifest


def lines(folder: Path, kind: str) -> list[Json]:
    return [json.loads(line) for line in (folder / f"{kind}.ndjson").read_text(encoding="utf-8").splitlines()]


def findings_in(archive: Path) -> Counter[tuple[str | None, str, Finding]]:
    """What the archive holds of current findings of the patient, read in another way."""
    found: Counter[tuple[str | None, str, Finding]] = Counter()
    with open_archive(archive, read_only=True) as opened:
        for note, reading, _ in stored_readings(opened):
            past = {exam.exam for exam in reading.exams if exam.status != "current"}
            sent = [one for one in reading.findings if one.status in _SENT and one.exam not in past]
            found.update((note.system, note.id, one) for one in sent)
    return found


def back(folder: Path) -> Counter[tuple[str | None, str | None, Finding]]:
    items = list(read_back(folder))
    assert not [one for one in items if isinstance(one, Diagnostic)]
    return Counter((one.system, one.id, one.finding) for one in items if isinstance(one, ReadBack))


@pytest.mark.parametrize("more", [(), ("--gzip",), ("--expand",), ("--release", "R5")])
def test_ndjson_reads_back_to_the_same_findings(archive: Path, tmp_path: Path, more: tuple[str, ...]) -> None:
    exported(archive, tmp_path / "out", *more)
    assert back(tmp_path / "out") == findings_in(archive)


def test_ndjson_is_what_convert_writes(archive: Path, tmp_path: Path) -> None:
    exported(archive, tmp_path / "out")
    ran = program(
        "convert", DEMO, "--out", tmp_path / "fhir", "--as", "ndjson", env={"SOURCE_DATE_EPOCH": "1930000000"}
    )
    assert ran.status == 0, ran.err
    for file in sorted((tmp_path / "fhir").glob("*.ndjson")):
        assert sorted((tmp_path / "out" / file.name).read_text().splitlines()) == sorted(
            file.read_text().splitlines()
        )


def test_an_export_has_the_same_bytes_at_any_time(archive: Path, tmp_path: Path) -> None:
    for name, moment in (("a", "1940000000"), ("b", "1950000000")):
        ran = program(
            "export", archive, "--to", "fhir", "--out", tmp_path / name, env={"SOURCE_DATE_EPOCH": moment}
        )
        assert ran.status == 0, ran.err
    for file in sorted((tmp_path / "a").glob("*.ndjson")):
        assert file.read_bytes() == (tmp_path / "b" / file.name).read_bytes()


def test_every_reference_leads_to_an_exported_resource(archive: Path, tmp_path: Path) -> None:
    manifest = exported(archive, tmp_path / "out")
    kinds = [one["type"] for one in manifest["output"]]
    everything = [resource for kind in kinds for resource in lines(tmp_path / "out", kind)]
    known = {f"{one['resourceType']}/{one['id']}" for one in everything}
    assert len(known) == len(everything)
    assert {reference for one in everything for reference in _references(one)} <= known


def _references(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        if isinstance(value.get("reference"), str):
            yield value["reference"]
        for part in value.values():
            yield from _references(part)
    elif isinstance(value, list):
        for part in value:
            yield from _references(part)


def test_the_manifest_lists_the_files_by_type(archive: Path, tmp_path: Path) -> None:
    manifest = exported(archive, tmp_path / "out", "--gzip")
    assert {one["type"]: (one["url"], one["count"]) for one in manifest["output"]} == {
        kind: (f"{kind}.ndjson.gz", len(gzip.decompress(file.read_bytes()).splitlines()))
        for kind, file in ((path.name.partition(".")[0], path) for path in (tmp_path / "out").glob("*.gz"))
    }
    assert manifest["caution"].startswith("For records work, not a diagnosis")
    assert manifest["counts"]["notes"] == 32


def bundles(folder: Path) -> list[Json]:
    return [json.loads(path.read_text(encoding="utf-8")) for path in sorted((folder / "bundles").iterdir())]


def test_bundles_hold_the_same_resources(archive: Path, tmp_path: Path) -> None:
    exported(archive, tmp_path / "lines")
    manifest = exported(archive, tmp_path / "out", "--as", "bundles", "--bundle-notes", "7")
    made = bundles(tmp_path / "out")
    assert len(made) == 5  # 32 notes, 7 in each
    assert {(one["resourceType"], one["type"]) for one in made} == {("Bundle", "transaction")}
    entries = [entry for bundle in made for entry in bundle["entry"]]
    assert manifest["resources"] == len(entries)
    wanted = {
        resource["id"] for kind in _kinds(tmp_path / "lines") for resource in lines(tmp_path / "lines", kind)
    }
    assert {entry["fullUrl"].removeprefix("urn:uuid:") for entry in entries} == wanted
    assert {entry["request"]["method"] for entry in entries} == {"PUT"}


def _kinds(folder: Path) -> list[str]:
    return sorted(path.name.partition(".")[0] for path in folder.glob("*.ndjson"))


def test_xml_bundles_keep_the_published_schema(archive: Path, tmp_path: Path, outside: Path) -> None:
    """Source: the R4 XML schemas of HL7 FHIR 4.0.1 (fhir-single.xsd)."""
    from lxml import etree

    found = sorted((outside / "fhir-examples/xsd").rglob("fhir-single.xsd"))
    schema = etree.XMLSchema(etree.parse(str(found[0])))
    exported(
        archive, tmp_path / "out", "--as", "bundles", "--syntax", "xml", "--gzip", "--bundle-notes", "16"
    )
    files = sorted((tmp_path / "out/bundles").iterdir())
    assert [path.name for path in files] == ["00000001.xml.gz", "00000002.xml.gz"]
    for path in files:
        document = etree.fromstring(gzip.decompress(path.read_bytes()))
        assert schema.validate(document), schema.error_log


def test_bundles_pass_our_own_check(archive: Path, tmp_path: Path) -> None:
    exported(archive, tmp_path / "out", "--as", "bundles")
    ran = plexor("check", tmp_path / "out/bundles")
    assert ran.status == 0, ran.out[-2000:]


def test_filters_choose_notes_and_all_their_findings_come_along(archive: Path, tmp_path: Path) -> None:
    """P-002-V1 and P-002-V2 say that the right ankle jerk is absent (read by a person); P-001 has none."""
    manifest = exported(
        archive,
        tmp_path / "out",
        "--site",
        "achilles",
        "--level",
        "absent",
        "--patient",
        "P-001",
        "--patient",
        "P-002",
    )
    assert manifest["filters"] == {"patient": ["P-001", "P-002"], "site": ["achilles"], "level": ["absent"]}
    names = [one["masterIdentifier"]["value"] for one in lines(tmp_path / "out", "DocumentReference")]
    assert names == ["P-002-V1", "P-002-V2"]
    codes = {one["code"]["coding"][0]["code"] for one in lines(tmp_path / "out", "Observation")}
    assert "patellar" in codes, "what does not match comes along"


_IN_SMALL_PARTS = """
import converter.exports.frame as frame
frame.export.__kwdefaults__["part_notes"] = 4
from converter.cli.app import main
main()
"""


def test_a_stopped_export_goes_on(archive: Path, tmp_path: Path) -> None:
    """Killed wherever it is; what comes of it in the end is the same."""
    arguments = ["export", str(archive), "--to", "fhir", "--out", str(tmp_path / "out")]
    command = [sys.executable, "-c", _IN_SMALL_PARTS, *arguments]
    environment = {**os.environ, "SOURCE_DATE_EPOCH": "1940000000"}
    process = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    journal = tmp_path / ".out.partial/journal.jsonl"
    for _ in range(1000):
        if journal.exists() and len(journal.read_bytes().splitlines()) > 3:
            break
        time.sleep(0.01)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    assert not (tmp_path / "out").exists()
    again = subprocess.run(command, env=environment, capture_output=True, text=True)
    assert again.returncode == 0, again.stderr
    assert "Went on after" in again.stderr
    command[-1] = str(tmp_path / "whole")
    subprocess.run(command, env=environment, capture_output=True, check=True)
    for path in sorted((tmp_path / "whole").iterdir()):
        assert path.read_bytes() == (tmp_path / "out" / path.name).read_bytes()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--as", "ndjson", "--syntax", "xml"), "NDJSON is lines of JSON"),
        (("--bundle-notes", "3"), "NDJSON has no bundles"),
        (("--release", "R6"), "--release R6: choose R4 or R5"),
        (("--as", "pdf"), "--as pdf: choose ndjson or bundles"),
        (("--site", "patela"), "did you mean patellar"),
        (("--grade", "3"), "add the scale"),
        (("--until", "soon"), "A date is written"),
    ],
)
def test_what_cannot_be_done_is_said_and_leaves_nothing(
    archive: Path, tmp_path: Path, options: tuple[str, ...], words: str
) -> None:
    ran = plexor("export", archive, "--to", "fhir", "--out", tmp_path / "out", *options)
    assert (ran.status, ran.out) == (2, "")
    assert words in ran.err
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_target_or_archive_is_said(archive: Path, tmp_path: Path) -> None:
    ran = plexor("export", archive, "--to", "papyrus", "--out", tmp_path / "out")
    assert (ran.status, "there is no such target; choose from fhir" in ran.err) == (2, True)
    ran = plexor("export", tmp_path / "none.duckdb", "--to", "fhir", "--out", tmp_path / "out")
    assert (ran.status, "none.duckdb" in ran.err) == (2, True)
    assert list(tmp_path.iterdir()) == []


def test_without_quotes_no_words_of_a_note_come_along(tmp_path: Path) -> None:
    ran = plexor("load", DEMO, "--archive", tmp_path / "a.duckdb", "--no-quotes")
    assert ran.status == 0
    manifest = exported(tmp_path / "a.duckdb", tmp_path / "out")
    assert manifest["words_kept"] is False
    session = open_session()
    assert session.fhir.quotes
    words = [
        part for one in lines(tmp_path / "out", "Observation")
        for extension in one.get("extension", ())
        for part in extension.get("extension", ()) if part["url"] == "quote"
    ]  # fmt: skip
    assert words == []


def test_damaged_lines_are_told_and_the_rest_is_read(archive: Path, tmp_path: Path) -> None:
    exported(archive, tmp_path / "out", "--patient", "P-001")
    whole = sum(back(tmp_path / "out").values())
    file = tmp_path / "out/Observation.ndjson"
    written = file.read_text().splitlines()
    broken = json.loads(written[0])
    del broken["category"]
    file.write_text(
        "\n".join([json.dumps(broken), "{half", '{"resourceType": "Patient"}', *written[1:]]) + "\n"
    )
    items = list(read_back(tmp_path / "out"))
    troubles = [(one.line, one.message) for one in items if isinstance(one, Diagnostic)]
    assert troubles == [
        (1, "The line claims to be an Observation of ours but is not complete (KeyError)."),
        (2, "The line is no JSON."),
        (3, "The line is no Observation."),
    ]
    assert sum(isinstance(one, ReadBack) for one in items) == whole - 1
