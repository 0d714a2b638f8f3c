"""`plexor export`: phenopackets, and sets that are de-identified, from files to the folder."""

import json
import os
import sys
from pathlib import Path

import pytest
from archive_copies import copied
from commands import plexor, program

KEY = "e41d8c0f5b7a92360d1fe8b4c6a7592f3e8d0b1c4a6f97285d3ce0b9f1a86472"
ROWS = [
    ("n-4711-1", "pat-4711", "2019-02-28", "1931-12-30", "Dr. Quillfeather", "Lakeside Clinic",
     "Seen by Marisol Okonkwo. Left KJ absent, right KJ 2+. Right AJ not tested due to splint of Abernathy."),
    ("n-4711-2", "pat-4711", "2019-03-10", "1931-12-30", "Dr. Quillfeather", "Lakeside Clinic",
     "On 28 February 2019 the left knee jerk was absent. Now KJ 2+ bilaterally. Plantars down bilaterally."),
    ("n-0815-1", "pat-0815", "2018-11-05", "1970-06-01", "Dr. Rosenqvist", "Harbour House",
     "Reflexes 2+ throughout. Hoffmann negative bilaterally, tested by Quillfeather."),
    ("n-0815-2", "", "2018-11-06", "", "", "", "AJ 0/0."),
]  # fmt: skip
ORIGINALS = (
    *(
        "4711",
        "0815",
        "Quillfeather",
        "Okonkwo",
        "Abernathy",
        "Rosenqvist",
        "Lakeside",
        "Harbour",
        "splint of",
    ),
    *("2019-02-28", "2019-03-10", "2018-11-05", "2018-11-06", "1931-12-30", "1970-06-01", "February"),
    *("hospital.example", "notes.csv"),
)


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    lines = ["id,patient,authored,birth_date,author,facility,system,text"]
    lines += [",".join([*row[:6], "https://hospital.example/notes", f'"{row[6]}"']) for row in ROWS]
    (tmp_path / "notes.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")

    def load(path: Path) -> None:
        ran = plexor("load", tmp_path / "notes.csv", "--archive", path)
        assert ran.status == 0, ran.err

    return copied(tmp_path / "a.duckdb", tuple(ROWS), load)


@pytest.fixture
def key(tmp_path: Path) -> Path:
    file = tmp_path / "study.key"
    file.write_text(KEY + "\n", encoding="ascii")
    file.chmod(0o600)
    return file


def written(folder: Path) -> bytes:
    return b"\n".join(path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file())


def packets(folder: Path) -> list[dict[str, object]]:
    text = (folder / "phenopackets.ndjson").read_text(encoding="utf-8")
    return [json.loads(line) for line in text.splitlines()]


def test_phenopackets_from_the_archive(archive: Path, tmp_path: Path) -> None:
    ran = plexor("export", archive, "--to", "phenopackets", "--out", tmp_path / "out")
    assert ran.status == 0, ran.err
    assert "3 notes with" in ran.out
    assert "1 note left out (no-patient)" in ran.err
    assert len(packets(tmp_path / "out")) == 3


def test_one_packet_for_each_patient_and_a_filter(archive: Path, tmp_path: Path) -> None:
    ran = plexor(
        *("export", archive, "--to", "phenopackets", "--one-per", "patient", "--patient", "pat-4711"),
        *("--as", "files", "--out", tmp_path / "out"),
    )
    assert ran.status == 0, ran.err
    (file,) = (tmp_path / "out" / "packets").rglob("*.json")
    packet = json.loads(file.read_text(encoding="utf-8"))
    assert packet["subject"]["id"] == "pat-4711"


def test_a_reflex_that_only_a_region_names_is_excluded_on_request(archive: Path, tmp_path: Path) -> None:
    for name, more in (("named", []), ("covered", ["--expand"])):
        plexor(
            "export",
            archive,
            "--to",
            "phenopackets",
            "--patient",
            "pat-0815",
            "--out",
            tmp_path / name,
            *more,
        )
    (named,) = packets(tmp_path / "named")
    (covered,) = packets(tmp_path / "covered")
    assert len(named["phenotypicFeatures"]) == 1  # type: ignore[arg-type]
    assert len(covered["phenotypicFeatures"]) == 16  # type: ignore[arg-type]


@pytest.mark.parametrize("target", ["phenopackets", "fhir"])
def test_no_original_stands_in_a_de_identified_set(
    archive: Path, key: Path, tmp_path: Path, target: str
) -> None:
    out = tmp_path / "out"
    ran = plexor("export", archive, "--to", target, "--deidentify", key, "--out", out)
    assert ran.status == 0, ran.err
    content = written(out).lower() + b"".join(str(path).encode() for path in out.rglob("*"))
    for original in ORIGINALS:
        assert original.lower().encode() not in content, original
        assert original.lower() not in (ran.out + ran.err).lower().replace(str(archive), "")
    assert KEY.encode() not in content
    assert json.loads((out / "manifest.json").read_text(encoding="utf-8"))["deidentified"]["duty"]


def test_a_de_identified_set_still_tells_the_interval_and_who_is_who(
    archive: Path, key: Path, tmp_path: Path
) -> None:
    from datetime import date

    plexor("export", archive, "--to", "phenopackets", "--deidentify", key, "--out", tmp_path / "out")
    by_patient: dict[str, list[str]] = {}
    for packet in packets(tmp_path / "out"):
        evidence = packet["phenotypicFeatures"][0]["evidence"][0]  # type: ignore[index]
        name = packet["subject"]["id"]  # type: ignore[index]
        by_patient.setdefault(name, []).append(evidence["reference"]["description"].split()[-1])
    assert sorted(len(days) for days in by_patient.values()) == [1, 2]
    assert list(by_patient) == sorted(by_patient)
    first, second = next(days for days in by_patient.values() if len(days) == 2)
    assert (date.fromisoformat(second) - date.fromisoformat(first)).days == 10


def test_filters_that_hold_identifiers_or_dates_are_withheld(
    archive: Path, key: Path, tmp_path: Path
) -> None:
    plexor(
        *("export", archive, "--to", "phenopackets", "--deidentify", key, "--out", tmp_path / "out"),
        *("--patient", "pat-4711", "--from", "2019-02-28", "--site", "patellar"),
    )
    filters = json.loads((tmp_path / "out" / "manifest.json").read_text(encoding="utf-8"))["filters"]
    assert filters == {"patient": "withheld", "site": ["patellar"], "from": "withheld"}


def test_another_key_gives_other_names(archive: Path, key: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.key"
    other.write_text(KEY[::-1], encoding="ascii")
    other.chmod(0o600)
    names = []
    for number, file in enumerate((key, key, other)):
        out = tmp_path / f"out{number}"
        plexor("export", archive, "--to", "phenopackets", "--deidentify", file, "--out", out)
        names.append({packet["subject"]["id"] for packet in packets(out)})  # type: ignore[index]
    assert names[0] == names[1]
    assert not names[0] & names[2]


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--to", "phenopackets", "--as", "bundles"), "written as ndjson or files"),
        (("--to", "phenopackets", "--one-per", "note"), "for each exam or for each patient"),
        (("--to", "phenopackets", "--gzip"), "--gzip: does not belong to --to phenopackets"),
        (("--to", "fhir", "--one-per", "exam"), "--one-per: does not belong to --to fhir"),
        (("--to", "fhir", "--quotes", "--deidentify", "KEY"), "words of a note are never de-identified"),
        (("--to", "fhir", "--deidentify", "missing.key"), "missing.key: no such file"),
    ],
)
def test_what_cannot_be_done_is_said_and_nothing_is_written(
    archive: Path, key: Path, tmp_path: Path, arguments: tuple[str, ...], sentence: str
) -> None:
    given = [str(key) if one == "KEY" else one for one in arguments]
    ran = plexor("export", archive, "--out", tmp_path / "out", *given)
    assert ran.status == 2
    assert sentence in ran.err
    assert not (tmp_path / "out").exists()


def test_a_key_that_others_can_read_is_refused(archive: Path, key: Path, tmp_path: Path) -> None:
    key.chmod(0o644)
    ran = plexor("export", archive, "--to", "fhir", "--deidentify", key, "--out", tmp_path / "out")
    assert ran.status == 2
    assert "chmod 600" in ran.err
    assert KEY not in ran.err
    assert not (tmp_path / "out").exists()


def test_a_missing_package_is_said_with_what_to_install(archive: Path, tmp_path: Path) -> None:
    """As on a machine without the extra: a package of that name that cannot be found."""
    hide = tmp_path / "sitecustomize.py"
    hide.write_text(
        "import importlib.util as util\n"
        "find = util.find_spec\n"
        "util.find_spec = lambda name, *more: None if name == 'phenopackets' else find(name, *more)\n",
        encoding="utf-8",
    )
    path = os.pathsep.join([str(tmp_path), *sys.path])
    out = tmp_path / "out"
    ran = program("export", archive, "--to", "phenopackets", "--out", out, env={"PYTHONPATH": path})
    assert ran.status == 2
    assert "pip install 'plexor[phenopackets]'" in ran.err
    assert not out.exists()
