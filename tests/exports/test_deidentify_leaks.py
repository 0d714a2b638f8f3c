"""No identifier, name, date or word of a note stands in any byte of a de-identified set.

The texts are planted into every field, through every target, and through a whole run from files to the set.
"""

import base64
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from export_reads import exported, note, read_of, session
from planting import SECRETS, forms, leaks, planted

from converter import exporting
from converter.archive import Archive, open_archive
from converter.assess import CAUTION
from converter.exporting import Choices
from converter.exports import Read, Target
from converter.exports.allowed import Allowed
from converter.exports.deidentified import DeidentifiedTarget
from converter.exports.deidentifying import Deidentifier
from converter.exports.phenopackets import PhenopacketsTarget
from converter.exports.pseudonyms import Pseudonyms
from converter.loading import load

KEY = bytes(range(7, 71))
TEXT = (
    "Previously: KJ 1+ bilaterally. Today: left KJ absent, right KJ 2+, biceps 2+ bilaterally, left plantar "
    "upgoing, 3 beats of clonus at the left ankle. Right AJ not tested due to cast."
)


def deidentifier(key: bytes = KEY) -> Deidentifier:
    words = session().vocabulary
    return Deidentifier(Pseudonyms(key), words, Allowed(words), CAUTION)


def phenopackets() -> Target:
    return PhenopacketsTarget(vocabulary=session().vocabulary, created_by="plexor test")


CHOICES: dict[str, Choices] = {
    "phenopackets": {},
    "phenopackets, one file for each patient": {"one_per": "patient", "form": "files", "expand": True},
    "fhir": {"expand": True},
    "fhir, R5": {"expand": True, "release": "R5"},
    "fhir, bundles in XML": {"form": "bundles", "syntax": "xml", "gzip": True},
    **{name: {} for name in sorted(exporting.DEIDENTIFIED & exporting.TARGETS.keys())},
}
"""Every target that takes de-identified notes, with choices that make it write the most."""


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Archive]:
    """An archive without notes: targets ask it how notes were read, the notes come from the tests."""
    path = tmp_path_factory.mktemp("archive") / "a.duckdb"
    load([], path, session())
    with open_archive(path, read_only=True) as opened:
        yield opened


def target(name: str, archive: Archive) -> Target:
    """A target as the command line makes it where notes are de-identified."""
    make = exporting.target_of(name.partition(",")[0], CHOICES[name], session(), deidentify=True)
    return make(archive)


def full_read() -> Read:
    about = note(
        TEXT,
        encounter="e1",
        author="a1",
        facility="f1",
        kind="progress",
        birth_date="1967-02-03",
        sex="female",
        source="notes.csv",
        line=3,
        authored="2031-05-04T10:15:00+02:00",
        authored_precision="minute",
    )
    return read_of(about)


def plants() -> list[tuple[str, Read, str]]:
    """For each field a note of its own, with one of the secrets in that field, and the name of the field."""
    places = [place for place, _ in planted(full_read(), SECRETS[0])]
    by_secret = {secret: dict(planted(full_read(), secret)) for secret in SECRETS}
    found = []
    for number, place in enumerate(places):
        secret = SECRETS[number % len(SECRETS)]
        about, reading, assessments = by_secret[secret][place]
        name = about.id if place == "Note.id" else f"n{number:03}"
        patient = about.patient if place in ("Note.patient", "everywhere") else f"p{number:03}"
        found.append((place, (replace(about, id=name, patient=patient), reading, assessments), secret))
    return found


@pytest.mark.parametrize("name", CHOICES)
def test_no_planted_text_stands_in_any_byte(archive: Archive, tmp_path: Path, name: str) -> None:
    """Every field of note, reading and assessment, each in a note of its own with one of the secrets."""
    tried = plants()
    assert len(tried) > 100
    reads = [read for _, read, _ in tried]
    exported(
        DeidentifiedTarget(target(name, archive), deidentifier()), reads, tmp_path / "out", part_notes=50
    )
    found = leaks(tmp_path / "out", *SECRETS)
    places = {secret: [place for place, _, here in tried if here == secret] for secret in SECRETS}
    assert found == [], places


@pytest.mark.parametrize("name", CHOICES)
@pytest.mark.parametrize("secret", SECRETS)
def test_no_text_planted_everywhere_stands_in_any_byte(
    archive: Archive, tmp_path: Path, name: str, secret: str
) -> None:
    read = next(read for place, read in planted(full_read(), secret) if place == "everywhere")
    exported(DeidentifiedTarget(target(name, archive), deidentifier()), [read], tmp_path / "out")
    assert leaks(tmp_path / "out", secret) == []


def test_the_search_for_leaks_finds_them(tmp_path: Path) -> None:
    """Without de-identification the planted patient stands there; and each coding is found."""
    about, reading, assessments = full_read()
    exported(phenopackets(), [(replace(about, patient=SECRETS[3]), reading, assessments)], tmp_path / "out")
    assert leaks(tmp_path / "out", SECRETS[3])
    for secret in SECRETS:
        for padding in (b"", b"a", b"ab"):
            (tmp_path / "coded").mkdir(exist_ok=True)
            (tmp_path / "coded" / "file").write_bytes(base64.b64encode(padding + secret.encode() + b"tail"))
            assert any("base64" in leak for leak in leaks(tmp_path / "coded", secret)), (secret, padding)
        for how, form in forms(secret).items():
            (tmp_path / "coded" / "file").write_bytes(b"before " + form + b" after")
            assert any(f": {how} " in leak for leak in leaks(tmp_path / "coded", secret))


@pytest.mark.parametrize("name", CHOICES)
def test_originals_of_an_ordinary_note_are_gone(archive: Archive, tmp_path: Path, name: str) -> None:
    about, reading, assessments = full_read()
    renamed = replace(
        about,
        id="note-4711-original",
        patient="patient-4711",
        encounter="encounter-4711",
        author="examiner-4711",
        facility="lakeside-clinic",
        system="https://lakeside.example/notes",
        authored="2019-02-28T23:59:00+02:00",
        birth_date="1931-12-30",
    )
    renamed_reading = replace(reading, id=renamed.id, system=renamed.system)
    folder = tmp_path / "out"
    exported(
        DeidentifiedTarget(target(name, archive), deidentifier()),
        [(renamed, renamed_reading, assessments)],
        folder,
    )
    originals = [
        *("note-4711-original", "patient-4711", "encounter-4711", "examiner-4711", "lakeside-clinic"),
        *("lakeside.example", "2019-02-28", "1931-12-30", "23:59:00", about.hash),
        *(finding.finding for finding in reading.findings),
        *("due to cast", "left KJ absent", "Previously: KJ"),
    ]
    assert leaks(folder, *originals) == []


@pytest.mark.parametrize("name", CHOICES)
def test_the_key_is_never_written(archive: Archive, tmp_path: Path, name: str) -> None:
    written = b"correct horse battery staple, nineteen oranges"
    folder = tmp_path / "out"
    exported(DeidentifiedTarget(target(name, archive), deidentifier(written)), [full_read()], folder)
    assert leaks(folder, written.decode()) == []
    assert written not in repr(deidentifier(written)).encode()


def test_no_address_of_the_site_stands_in_a_set(archive: Archive, tmp_path: Path) -> None:
    """What the settings say of FHIR names the site, and with it the facility."""
    fhir: dict[str, Any] = {
        "base": "https://thornmere.example/fhir",
        "patient_system": "https://thornmere.example/mrn",
        "practitioner_system": "https://thornmere.example/staff",
        "encounter_system": "https://thornmere.example/visit",
        "facility_system": "https://thornmere.example/ward",
        "default_system": "https://thornmere.example/notes",
        "zone": "Europe/Berlin",
    }
    of_site = replace(session(), fhir=replace(session().fhir, **fhir))
    for number, name in enumerate(sorted(exporting.DEIDENTIFIED & exporting.TARGETS.keys())):
        made = exporting.target_of(name, {}, of_site, deidentify=True)(archive)
        folder = tmp_path / str(number)
        exported(DeidentifiedTarget(made, deidentifier()), [full_read()], folder)
        assert leaks(folder, "thornmere.example") == []
    plain = exporting.target_of("fhir", {}, of_site)(archive)
    exported(plain, [full_read()], tmp_path / "plain")
    assert leaks(tmp_path / "plain", "thornmere.example")


def test_findings_and_what_rests_on_them_stay_linked() -> None:
    (changed,), _ = deidentifier().patient([full_read()])
    _, before, assessed = full_read()
    _, reading, assessments = changed
    names = dict(
        zip(
            (finding.finding for finding in before.findings),
            (finding.finding for finding in reading.findings),
            strict=True,
        )
    )
    assert len(set(names.values())) == len(names)
    rests_on = [one.rests_on for each in assessments for one in each.abnormalities]
    expected = [
        tuple(names[name] for name in one.rests_on) for each in assessed for one in each.abnormalities
    ]
    assert rests_on == expected
    assert any(rests_on)
    pairs = zip(before.findings, reading.findings, strict=True)
    assert all((a.site, a.side, a.level, a.exam) == (b.site, b.side, b.level, b.exam) for a, b in pairs)


def test_what_can_be_told_is_told() -> None:
    """De-identifying takes away identities and words, not values."""
    (changed,), _ = deidentifier().patient([full_read()])
    note_, reading, _ = changed
    values = {(one.site, one.side, one.level, one.as_written) for one in reading.findings}
    assert ("patellar", "left", "absent", "absent") in values
    assert ("biceps", "both", "normal", "2+") in values
    assert ("ankle_clonus", "left", "clonus", "3 beats") in values
    assert [one.reason for one in reading.findings if one.status == "not_tested"] == ["cast"]
    assert (note_.age, note_.sex, note_.kind) == (64, "female", "progress")


def test_the_manifest_says_what_was_removed_or_altered(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    filters = {"patient": ["patient-4711"], "from": "2019-02-28", "site": ["patellar"]}
    from converter.exports.deidentified import filters_withheld

    by_hand = DeidentifiedTarget(phenopackets(), deidentifier())
    exported(by_hand, [full_read()], folder, filters=filters_withheld(filters))
    record = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    said = record["deidentified"]
    for word in (
        "patient",
        "encounter",
        "author",
        "facility",
        "hash",
        "birth date",
        "age",
        "dates",
        "quotes",
    ):
        assert any(word in field for field in said["removed_or_altered"]), word
    assert "expert" in said["duty"]
    assert record["filters"] == {"patient": "withheld", "from": "withheld", "site": ["patellar"]}
    assert record["options"]["deidentify"] is True
    assert all(number == "fewer than 10" for number in said["how_often"].values())
    assert "birth dates removed" in said["how_often"]
