"""De-identifying: the key, pseudonyms, dates, ages, order, what is as written, and small counts.

Outside sources: HMAC-SHA256 as `openssl dgst` computes it; the age limit of 45 CFR 164.514(b)(2)(i)(C), which
gathers ages over 89 into one category of 90 or older.
"""

import csv
import os
import shutil
import stat
import subprocess
from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from export_reads import MADE, exported, manifest_of, note, read_of, reads_of, session, stream
from hypothesis import given, settings
from hypothesis import strategies as st
from test_deidentify_leaks import KEY, deidentifier, phenopackets

from converter.assess import CAUTION
from converter.exports import Common, ExportError, Read, export
from converter.exports.allowed import CHOICES, Allowed
from converter.exports.deidentified import DeidentifiedTarget
from converter.exports.pseudonyms import Pseudonyms, read_key
from converter.model import Note
from converter.words import shipped_vocabulary

KNEE = "Left KJ absent, right KJ 2+."
ALLOWED = Allowed(shipped_vocabulary())


def changed(*notes: Note, key: bytes = KEY) -> list[Note]:
    """Notes of one patient, changed."""
    reads, _ = deidentifier(key).patient([read_of(one) for one in notes])
    return [about for about, _, _ in reads]


# ---------------------------------------------------------------- the key


def key_file(folder: Path, content: bytes = KEY, mode: int = 0o600) -> Path:
    file = folder / "study.key"
    file.write_bytes(content)
    file.chmod(mode)
    return file


def test_a_key_that_only_its_owner_can_read_is_taken(tmp_path: Path) -> None:
    read = read_key(key_file(tmp_path))
    assert read.name("patient", "p1") == Pseudonyms(KEY).name("patient", "p1")


def test_a_line_end_behind_the_key_is_no_part_of_it(tmp_path: Path) -> None:
    content = b"0123456789abcdef0123456789abcdef"
    one, two = tmp_path / "one", tmp_path / "two"
    one.mkdir()
    two.mkdir()
    assert read_key(key_file(one, content)).check() == read_key(key_file(two, content + b"\r\n")).check()


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620, 0o602, 0o610, 0o644, 0o666, 0o777])
def test_a_key_that_others_may_use_is_refused(tmp_path: Path, mode: int) -> None:
    with pytest.raises(ExportError, match="chmod 600"):
        read_key(key_file(tmp_path, mode=mode))


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give a file to somebody else")
def test_a_key_of_somebody_else_is_refused(tmp_path: Path) -> None:
    file = key_file(tmp_path)
    os.chown(file, 54321, 54321)
    with pytest.raises(ExportError, match="belongs to somebody else"):
        read_key(file)


@pytest.mark.parametrize("content", [b"", b"secret", b"0123456789abcdef0123456789abcde", b"\n" * 40])
def test_a_short_key_is_refused(tmp_path: Path, content: bytes) -> None:
    with pytest.raises(ExportError, match="needs 32 at least"):
        read_key(key_file(tmp_path, content))


@pytest.mark.parametrize("content", [b"a" * 64, b"password" * 8, bytes(32)])
def test_a_key_that_repeats_itself_is_refused(tmp_path: Path, content: bytes) -> None:
    with pytest.raises(ExportError, match="can be guessed"):
        read_key(key_file(tmp_path, content))


def test_what_is_no_file_is_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe", 0o600)
    for name in (tmp_path, tmp_path / "pipe"):
        with pytest.raises(ExportError, match="no ordinary file"):
            read_key(name)
    with pytest.raises(FileNotFoundError):
        read_key(tmp_path / "missing")


def test_a_huge_file_is_no_key(tmp_path: Path) -> None:
    with pytest.raises(ExportError, match="too long"):
        read_key(key_file(tmp_path, os.urandom(5000)))


def test_no_message_shows_the_key(tmp_path: Path) -> None:
    with pytest.raises(ExportError) as caught:
        read_key(key_file(tmp_path, b"hunter2"))
    assert "hunter2" not in str(caught.value)


# ---------------------------------------------------------------- pseudonyms


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not installed")
@pytest.mark.parametrize(
    ("kind", "parts", "said"),
    [
        ("patient", ["P-001"], '["patient","P-001"]'),
        ("note", [None, "n1"], '["note",null,"n1"]'),
        ("note", ["urn:x", 'a"b\u00e9'], '["note","urn:x","a\\"b\\u00e9"]'),
    ],
)
def test_a_pseudonym_is_the_hmac_that_openssl_computes(kind: str, parts: list[Any], said: str) -> None:
    command = ["openssl", "dgst", "-sha256", "-mac", "HMAC", "-macopt", f"hexkey:{KEY.hex()}", "-r"]
    done = subprocess.run(command, input=said.encode(), capture_output=True, check=True)
    expected = done.stdout.decode().split()[0]
    assert Pseudonyms(KEY).digest(kind, *parts) == expected
    assert Pseudonyms(KEY).name(kind, *parts) == f"{kind[0]}-{expected[:32]}"


def test_the_same_name_has_one_pseudonym_by_one_key_and_another_by_another() -> None:
    one, two = Pseudonyms(KEY), Pseudonyms(KEY[::-1])
    assert one.name("patient", "p1") == Pseudonyms(KEY).name("patient", "p1")
    assert len({one.name("patient", "p1"), two.name("patient", "p1"), one.name("patient", "p2")}) == 3
    assert one.name("patient", "x")[2:] != one.name("author", "x")[2:]
    assert one.name("note", "a", "b") != one.name("note", "a,b") != one.name("note", None, "b")


def test_a_blank_identifier_is_none() -> None:
    """Else all notes without a name of the patient would be of one person."""
    (about,) = changed(note(KNEE, patient=" ", encounter="", author="\t", facility="\n"))
    assert (about.patient, about.encounter, about.author, about.facility) == (None, None, None, None)


def test_a_lone_surrogate_has_a_pseudonym_too() -> None:
    (about,) = changed(note(KNEE, patient="p\ud800"))
    assert about.patient is not None
    about.patient.encode("ascii")


# ---------------------------------------------------------------- dates


DAYS = st.dates(date(1970, 1, 1), date(2060, 12, 31))


@settings(deadline=None)
@given(st.lists(DAYS, min_size=2, max_size=5), st.text(min_size=1, max_size=8).filter(str.strip))
def test_intervals_of_a_patient_are_kept_and_every_date_is_moved(days: list[date], patient: str) -> None:
    notes = [Note(id=str(n), text="", hash="", patient=patient, authored=str(d)) for n, d in enumerate(days)]
    moved = _days(notes)
    shifts = {(day - new).days for day, new in zip(days, moved, strict=True)}
    assert len(shifts) == 1
    assert 1 <= shifts.pop() <= 365


def _days(notes: Sequence[Note]) -> list[date]:
    reads: list[Read] = []
    for one in notes:
        _, reading, assessments = read_of(one)
        reads.append((one, reading, assessments))
    after, _ = deidentifier().patient(reads)
    return [date.fromisoformat(about.authored or "") for about, _, _ in after]


def test_patients_are_moved_by_different_numbers_of_days() -> None:
    shifts = Counter(Pseudonyms(KEY).days("patient", f"p{number}") for number in range(2000))
    assert min(shifts) >= 1
    assert max(shifts) <= 365
    assert len(shifts) > 340  # of 365, each missing with probability (364/365)^2000 = 0.4 %


def test_notes_without_a_patient_are_moved_each_by_itself() -> None:
    moved = {changed(note(KNEE, f"n{number}", patient=None))[0].authored for number in range(20)}
    assert len(moved) > 15


@pytest.mark.parametrize(
    ("authored", "precision"),
    [("2031-05", "month"), ("2031", "year"), ("", "day"), ("yesterday", "day"), ("0001-01-01", "day")],
)
def test_a_date_that_cannot_be_moved_by_days_is_removed(authored: str, precision: str) -> None:
    read = read_of(note(KNEE, authored=authored, authored_precision=precision))
    ((about, _, _),), counts = deidentifier().patient([read])
    assert (about.authored, about.authored_precision) == (None, None)
    assert counts["dates removed"] == 1


def test_a_note_without_a_date_has_none() -> None:
    (about,) = changed(note(KNEE, authored=None, authored_precision=None))
    assert (about.authored, about.authored_precision) == (None, None)


def test_the_time_of_day_is_removed() -> None:
    late, early = changed(
        note(KNEE, "n1", authored="2031-05-04T23:59:00+02:00", authored_precision="minute"),
        note(KNEE, "n2", authored="2031-05-05T00:01:00+02:00", authored_precision="minute"),
    )
    assert late.authored_precision == early.authored_precision == "day"
    assert late.authored is not None
    assert early.authored is not None
    assert (date.fromisoformat(early.authored) - date.fromisoformat(late.authored)).days == 1


# ---------------------------------------------------------------- ages


@pytest.mark.parametrize(
    ("about", "age"),
    [
        ({"age": 89}, 89),
        ({"age": 90}, 90),
        ({"age": 104}, 90),
        ({"age": 0}, 0),
        ({"age": -3}, None),
        ({"birth_date": "1941-05-04"}, 90),  # turned 90 on the day of the note
        ({"birth_date": "1941-05-05"}, 89),  # the day before
        ({"birth_date": "1967-02-03"}, 64),
        ({"birth_date": "1967"}, None),  # 63 or 64
        ({"birth_date": "1941"}, None),  # 89 or 90
        ({"birth_date": "1930"}, 90),  # 100 or 101
        ({"birth_date": "1967-02"}, 64),
        ({"birth_date": "2040-01-01"}, None),
        ({"birth_date": "1967-02-30"}, None),
        ({"birth_date": "unknown"}, None),
        ({}, None),
    ],
)
def test_ages_over_89_are_one_group_and_the_birth_date_is_gone(
    about: dict[str, Any], age: int | None
) -> None:
    (found,) = changed(note(KNEE, authored="2031-05-04", **about))
    assert (found.age, found.birth_date) == (age, None)


def test_the_age_is_that_before_dates_are_moved() -> None:
    """Else the moved date would fall before the birthday and make everybody younger."""
    ages = [changed(note(KNEE, patient=f"p{n}", birth_date="1967-05-03"))[0].age for n in range(20)]
    assert set(ages) == {64}


def test_an_age_that_would_tell_another_one_over_89_is_removed() -> None:
    """85 years at one note and a second note ten years later would make 95."""
    first, second = changed(
        note(KNEE, "n1", authored="2021-05-04", age=85), note(KNEE, "n2", authored="2031-05-04", age=95)
    )
    assert (first.age, second.age) == (None, 90)


# ---------------------------------------------------------------- what passes


@pytest.mark.parametrize(
    "written",
    [
        *("2+", "++", "+2", "0", "2+/4", "1-2+", "1+ to 2+", "II/IV", "2+/2+", "x3", "3 beats", "4-5 beats"),
        *("brisk", "absent", "hyperactive", "upgoing", "not elicitable", "areflexia", "trace/trace"),
    ],
)
def test_a_value_wholly_of_the_vocabulary_passes(written: str) -> None:
    assert ALLOWED.as_written(written) == written


@pytest.mark.parametrize(
    "written",
    [
        *("absent Miller", "Miller", "Dr Brisk", "brisk (Quillfeather)", "2+ Okonkwo", "Norm Sharp"),
        *("2031", "12/31", "3/4/5", "3/4/31", "12-31", "04711", "2031-05-04", "10", "555 0199"),
        *("brisk\nMiller", "brisk\u202eMiller", "2+ at Thornmere", "", " ", "x" * 50, "brisk " * 10),
        *("2+;p4711", "bri\u0455k", "\ud800", "a" * 100_000),
    ],
)
def test_a_value_that_could_hold_a_name_or_a_date_does_not_pass(written: str) -> None:
    assert ALLOWED.as_written(written) is None


def test_a_word_comes_out_in_small_letters() -> None:
    assert ALLOWED.as_written("Sharp") == "sharp"


@pytest.mark.parametrize("value", [None, 3, 2.5, True, b"2+", ["2+"]])
def test_what_is_no_text_is_no_value_as_written(value: object) -> None:
    assert ALLOWED.as_written(value) is None


@pytest.mark.parametrize(("said", "kept"), [("Previously", "previously"), ("at last visit", "at last visit")])
def test_a_usual_wording_for_the_past_passes(said: str, kept: str) -> None:
    assert ALLOWED.time(said) == kept


@pytest.mark.parametrize(
    "said", ["on 3 March", "3/4/31", "at Thornmere", "by Dr Miller", "in 2029", "x" * 99]
)
def test_a_stated_time_that_names_something_does_not_pass(said: str) -> None:
    assert ALLOWED.time(said) is None


@pytest.mark.parametrize(
    ("reason", "kept"),
    [
        ("cast", "cast"),
        ("refusal", "refusal"),
        ("excepted", "excepted"),
        ("cast of Miller", None),
        ("x", None),
    ],
)
def test_only_a_canonical_reason_passes(reason: str, kept: str | None) -> None:
    assert ALLOWED.reason(reason) == kept


def test_grades_are_numbers_in_bounds() -> None:
    good = [2, 2.5, -4.0, 0]
    bad = [19671204, 2.25, float("nan"), float("inf"), True, "2", None, 11]
    assert [ALLOWED.grade(one) for one in good] == [2.0, 2.5, -4.0, 0.0]
    assert [ALLOWED.grade(one) for one in bad] == [None] * len(bad)


def test_the_choices_hold_what_the_reader_gives() -> None:
    """Every value of such a field in the readings of a broad note passes."""
    text = (
        "Reflexes: L biceps 1-2+, R biceps brisk. KJ 2+/3+ L brisker than R. AJ absent even with Jendrassik. "
        "Plantars equivocal. 3 beats of clonus at the ankles. Father has KJ absent. Right AJ not tested. "
        "Possibly brisk left triceps. BRJ only with reinforcement. Abdominals absent."
    )
    _, reading, _ = read_of(note(text))
    assert len(reading.findings) > 8
    for finding in reading.findings:
        assert ALLOWED.reinforcement(finding.reinforcement) == finding.reinforcement
        for field in CHOICES.keys() - {"reinforcement"}:
            value = getattr(finding, field)
            assert value in (None, "none") or ALLOWED.choice(field, value) == value, field


# ---------------------------------------------------------------- order and small counts


def test_notes_are_ranked_by_pseudonym_with_those_of_nobody_last() -> None:
    by = deidentifier()
    ranks = {patient: by.rank(patient, None, "n1") for patient in ("p1", "p2", "p3", "p4", "p5")}
    assert sorted(ranks, key=lambda patient: ranks[patient]) != sorted(ranks)
    assert by.rank("p1", None, "n1") == by.rank("p1", "urn:x", "n2")
    assert max(ranks.values()) < by.rank(None, None, "n1")
    assert by.rank(" ", None, "n1") == by.rank(None, None, "n1")


def summary(folder: Path) -> dict[tuple[str, str, str], str]:
    with (folder / "cohort-summary.csv").open(encoding="utf-8", newline="") as lines:
        return {(row["reflex"], row["side"], row["value"]): row["patients"] for row in csv.DictReader(lines)}


def test_counts_of_fewer_than_ten_patients_are_not_shown(tmp_path: Path) -> None:
    notes = [note("Left KJ absent.", f"n{n}", patient=f"p{n}") for n in range(10)]
    notes += [note("Left AJ absent.", f"a{n}", patient=f"p{n}") for n in range(9)]
    notes += [note("Left KJ absent.", f"again{n}", patient="p0") for n in range(20)]
    notes += [note("Right KJ absent.", f"nobody{n}", patient=None) for n in range(30)]
    ordered = sorted(reads_of(*notes), key=lambda read: (read[0].patient is None, read[0].patient or ""))
    exported(DeidentifiedTarget(phenopackets(), deidentifier()), ordered, tmp_path / "out", part_notes=7)
    assert summary(tmp_path / "out") == {
        ("patellar", "left", "absent"): "10",
        ("achilles", "left", "absent"): "fewer than 10",
    }
    how_often = manifest_of(tmp_path / "out")["deidentified"]["how_often"]
    assert how_often["dates moved"] == 69
    assert "9" not in how_often.values()


def test_a_key_is_told_apart_without_being_told(tmp_path: Path) -> None:
    """An interrupted export goes on only with the same key."""
    one = DeidentifiedTarget(phenopackets(), deidentifier())
    two = DeidentifiedTarget(phenopackets(), deidentifier(KEY[::-1]))
    assert one.options != two.options
    assert one.options == DeidentifiedTarget(phenopackets(), deidentifier()).options


def test_the_same_key_and_notes_give_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one", "two"):
        target = DeidentifiedTarget(phenopackets(), deidentifier())
        exported(target, reads_of(note(KNEE), note(KNEE, "n2", patient="p2")), tmp_path / name)
    files = [sorted((tmp_path / name).iterdir()) for name in ("one", "two")]
    assert [file.read_bytes() for file in files[0]] == [file.read_bytes() for file in files[1]]


def test_an_interrupted_set_goes_on_to_the_same_bytes(tmp_path: Path) -> None:
    """Counts, the summary and the manifest know what was written before the interruption."""
    reads = reads_of(*(note(KNEE, f"n{number}", patient=f"p{number}") for number in range(12)))
    exported(DeidentifiedTarget(phenopackets(), deidentifier()), reads, tmp_path / "whole")

    class Stop(Exception):  # noqa: N818 - stands for a power cut
        pass

    def breaking() -> Iterator[Read]:
        yield from reads[:7]
        raise Stop

    words = session()
    common = Common(
        program=words.program, vocabulary=words.vocabulary.fingerprint, caution=CAUTION, made=MADE
    )
    target = DeidentifiedTarget(phenopackets(), deidentifier())
    with pytest.raises(Stop):
        export(target, lambda skip: breaking(), tmp_path / "out", common, part_notes=2)
    manifest = export(target, stream(reads), tmp_path / "out", common, part_notes=2)
    assert manifest.resumed_after == 6
    for file in sorted((tmp_path / "whole").iterdir()):
        assert (tmp_path / "out" / file.name).read_bytes() == file.read_bytes(), file.name


def test_an_interrupted_set_is_begun_anew_with_another_key(tmp_path: Path) -> None:
    reads = reads_of(*(note(KNEE, f"n{number}", patient=f"p{number}") for number in range(6)))

    class Stop(Exception):  # noqa: N818 - stands for a power cut
        pass

    def breaking() -> Iterator[Read]:
        yield from reads[:5]
        raise Stop

    common = Common(program="p", vocabulary="v", caution=CAUTION, made=MADE)
    first = DeidentifiedTarget(phenopackets(), deidentifier())
    with pytest.raises(Stop):
        export(first, lambda skip: breaking(), tmp_path / "out", common, part_notes=2)
    other = DeidentifiedTarget(phenopackets(), deidentifier(KEY[::-1]))
    manifest = export(other, stream(reads), tmp_path / "out", common, part_notes=2)
    assert manifest.resumed_after == 0


def test_names_of_the_sites_own_vocabulary_are_listed() -> None:
    assert Allowed(session().vocabulary).own_names == []


def test_the_mode_of_a_key_file_is_what_the_tests_set(tmp_path: Path) -> None:
    assert stat.S_IMODE(key_file(tmp_path).stat().st_mode) == 0o600
