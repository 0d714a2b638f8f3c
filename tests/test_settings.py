"""`plexor.toml` is checked key by key, and every mistake is one sentence that names the file and the key."""

import subprocess
import sys
from dataclasses import fields, replace
from pathlib import Path

import pytest

from converter.api import open_session
from converter.assess import AssessOptions
from converter.settings import (
    AssessSettings,
    Settings,
    SettingsError,
    find_settings,
    load_settings,
    settings_from,
)
from converter.words import VocabularyError, shipped_vocabulary

FULL = """
[notes]
system = "https://clinic.example/notes"
encoding = "cp1252"
columns = { text = "NOTE_TEXT", patient = "MRN" }

[vocabulary]
files = ["words.csv"]

[reading]
default_scale = "ninds"
pair_order = "left-right"

[assess]
side_difference = 2
marked = 3
change = 1.5
leave_out = ["level", "change-over-time"]
absent_ankle_age_note = false
ankle_age = 70
infant_age = 1
brief_clonus_beats = 3
abnormal_clonus_beats = 4

[fhir]
canonical = "https://clinic.example/fhir/"
status = "final"
subject = "literal"
patient_ids = "ids.csv"
zone = "Australia/Hobart"
quotes = false

[profiles]
folders = ["profiles"]

[archive]
file = "findings.duckdb"
quotes = false
"""


def settings_file(folder: Path, text: str) -> Path:
    file = folder / "plexor.toml"
    file.write_text(text, encoding="utf-8")
    return file


def full_settings(folder: Path) -> Path:
    (folder / "words.csv").write_text("phrase,role,meaning,flags,source\n", encoding="utf-8")
    (folder / "ids.csv").write_text("patient,id\np1,100\np2,200\n", encoding="utf-8")
    (folder / "profiles").mkdir()
    return settings_file(folder, FULL)


def sentences(file: Path) -> tuple[str, ...]:
    with pytest.raises(SettingsError) as caught:
        load_settings(file)
    return caught.value.sentences


def test_every_key_is_read_and_reaches_its_stage(tmp_path: Path) -> None:
    session = open_session(load_settings(full_settings(tmp_path)), time="2031-05-02T00:00:00Z")
    assert (session.reading.default_scale, session.reading.pair_order) == ("ninds", "left-right")
    assert session.assess == AssessOptions(
        side_difference=2,
        marked=3,
        change=1.5,
        rules_left_out=frozenset({"level", "change-over-time"}),
        absent_ankle_age_note=False,
        ankle_age=70,
        infant_age=1,
        brief_clonus_beats=3,
        abnormal_clonus_beats=4,
    )
    assert session.fhir.base == "https://clinic.example/fhir"
    assert (session.fhir.status, session.fhir.zone, session.fhir.quotes) == (
        "final",
        "Australia/Hobart",
        False,
    )
    assert (session.fhir.subject, session.fhir.patient_ids) == ("literal", {"p1": "100", "p2": "200"})
    assert session.fhir.recorded == "2031-05-02T00:00:00Z"
    assert session.settings.notes.columns == {"text": "NOTE_TEXT", "patient": "MRN"}
    assert session.settings.archive.file == "findings.duckdb"
    assert session.vocabulary.fingerprint != shipped_vocabulary().fingerprint


def test_without_a_file_everything_has_its_default(tmp_path: Path) -> None:
    assert find_settings(folder=tmp_path) == Settings()
    session = open_session()
    assert session.fhir.status == "preliminary"
    assert session.assess == AssessOptions()
    assert session.vocabulary.fingerprint == shipped_vocabulary().fingerprint


def test_the_file_of_the_working_folder_is_found_and_a_named_one_counts_before_it(tmp_path: Path) -> None:
    settings_file(tmp_path, '[fhir]\nstatus = "final"\n')
    other = tmp_path / "other.toml"
    other.write_text('[reading]\npair_order = "left-right"\n', encoding="utf-8")
    assert find_settings(folder=tmp_path).fhir.status == "final"
    found = find_settings(other, folder=tmp_path)
    assert (found.fhir.status, found.reading.pair_order) == ("preliminary", "left-right")


def test_paths_start_from_the_folder_of_the_file(tmp_path: Path) -> None:
    assert load_settings(full_settings(tmp_path)).path("words.csv") == tmp_path / "words.csv"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[note]\n", "there is no section [note]; known are notes,"),
        ("folder = 'x'\n", "there is no section [folder]"),
        ("[fhir]\nstate = 'final'\n", "[fhir] has no key state; known are canonical,"),
        ("[fhir]\nstatus = 'draft'\n", "[fhir] status: it should be 'preliminary' or 'final', not 'draft'"),
        ("[fhir]\nzone = 'Hobart'\n", "[fhir] zone: there is no time zone Hobart"),
        ("[fhir]\nquotes = 1\n", "[fhir] quotes: it should be a valid boolean, not 1"),
        ("[fhir]\ncanonical = 'clinic'\n", "[fhir] canonical: it must be a whole URI"),
        ("[notes]\nsystem = 'a b'\n", "[notes] system: it must be a whole URI"),
        ("[notes]\nencoding = 'utf-9'\n", "[notes] encoding: there is no encoding utf-9"),
        (
            "[notes]\ncolumns = { texts = 'A' }\n",
            "[notes.columns] texts: there is no such field; known are id, text,",
        ),
        ("[notes]\ncolumns = { text = 3 }\n", "[notes] columns.text: it should be a valid string, not 3"),
        (
            "[reading]\npair_order = 'rl'\n",
            "[reading] pair_order: it should be 'right-left' or 'left-right', not 'rl'",
        ),
        ("[assess]\nmarked = -1\n", "[assess] marked: it should be greater than 0, not -1"),
        (
            "[assess]\nside_difference = true\n",
            "[assess] side_difference: it should be a valid number, not True",
        ),
        ("[assess]\nchange = nan\n", "[assess] change: it should be a finite number"),
        (
            "[assess]\nside_difference = 3\n",
            "[assess] marked: it must be at least side_difference, which is 3; it is 2",
        ),
        (
            "[assess]\nleave_out = ['levels']\n",
            "[assess] leave_out: there is no rule levels; known are side-",
        ),
        ("[assess]\nleave_out = 'level'\n", "[assess] leave_out: it should be a valid list, not 'level'"),
        (
            "[assess]\nabsent_ankle_age_note = 'no'\n",
            "[assess] absent_ankle_age_note: it should be a valid boolean, not 'no'",
        ),
        ("[assess]\nankle_age = 60.5\n", "[assess] ankle_age: it should be a valid integer, not 60.5"),
        (
            "[assess]\ninfant_age = -1\n",
            "[assess] infant_age: it should be greater than or equal to 0, not -1",
        ),
        (
            "[assess]\nbrief_clonus_beats = 5\n",
            "[assess] abnormal_clonus_beats: it must be more than brief_clonus_beats, which is 5; it is 5",
        ),
        (
            "[assess]\nrules_left_out = ['level']\n",
            "[assess] has no key rules_left_out; known are side_difference, marked, change, leave_out,",
        ),
        ("[vocabulary]\nfiles = ['none.csv']\n", "[vocabulary] files: there is no file"),
        ("[profiles]\nfolders = ['none']\n", "[profiles] folders: there is no folder"),
        ("[fhir]\npatient_ids = 'none.csv'\n", "[fhir] patient_ids: there is no file"),
        ("notes = 3\n", "[notes]"),
        (
            "[notes\n",
            "this is not TOML: expected ']' at the end of a table declaration (at line 1, column 7)",
        ),
    ],
)
def test_a_mistake_is_one_sentence_with_file_and_key(tmp_path: Path, text: str, words: str) -> None:
    file = settings_file(tmp_path, text)
    (sentence,) = sentences(file)
    assert sentence.startswith(f"{file}: {words}")
    assert "\n" not in sentence


def test_all_mistakes_are_said_at_once(tmp_path: Path) -> None:
    assert len(sentences(settings_file(tmp_path, "[fhir]\nstatus = 'draft'\nquotes = 'no'\n"))) == 2


def test_names_that_only_the_vocabulary_knows_are_checked_too(tmp_path: Path) -> None:
    file = settings_file(tmp_path, "[reading]\ndefault_scale = 'mine'\n")
    with pytest.raises(SettingsError) as caught:
        open_session(load_settings(file))
    assert caught.value.sentences == (f"{file}: [reading] default_scale: the vocabulary has no scale mine",)


@pytest.mark.parametrize("key", ["file", "folder"])
def test_what_is_kept_beside_the_sections_cannot_be_set(tmp_path: Path, key: str) -> None:
    file = settings_file(tmp_path, f"{key} = 'a'\n")
    assert sentences(file)[0].startswith(f"{file}: there is no section [{key}]")


@pytest.mark.parametrize("name", ["base64", "rot13", "zip", "a\\u0000b", "no-such"])
def test_a_name_that_is_no_encoding_of_text_is_refused(tmp_path: Path, name: str) -> None:
    file = settings_file(tmp_path, f'[notes]\nencoding = "{name}"\n')
    assert "there is no encoding" in sentences(file)[0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("canonical = 'urn:oid:2.999'", "[fhir] canonical: 'urn:oid:2.999' is no web address"),
        ("patient_ids = 'ids.csv'", "[fhir] patient_ids: '', for patient 'p2', is no FHIR id"),
    ],
)
def test_what_only_resources_cannot_bear_is_said_with_its_file(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "ids.csv").write_text("patient,id\np1,a1\np2,\n", encoding="utf-8")
    file = settings_file(tmp_path, f"[fhir]\n{text}\n")
    with pytest.raises(SettingsError) as caught:
        open_session(load_settings(file))
    assert caught.value.sentences[0].startswith(f"{file}: {said}")


def test_every_option_of_the_assessment_can_be_set() -> None:
    options = {field.name for field in fields(AssessOptions)}
    named = {
        "rules_left_out" if name == "leave_out" else name
        for name in (field.name for field in fields(AssessSettings))
    }
    assert named == options


def test_a_file_that_cannot_be_read_is_said(tmp_path: Path) -> None:
    assert "cannot be read" in sentences(tmp_path / "none.toml")[0]
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe")
    assert "not written in UTF-8" in sentences(tmp_path / "bytes.toml")[0]


def test_patient_ids_that_are_no_table_are_said(tmp_path: Path) -> None:
    (tmp_path / "ids.csv").write_text("who,id\np1,1\n", encoding="utf-8")
    file = settings_file(tmp_path, "[fhir]\npatient_ids = 'ids.csv'\n")
    with pytest.raises(SettingsError, match="no CSV file with the columns patient and id"):
        open_session(load_settings(file))


def test_a_word_list_that_collides_is_refused_with_both_places(tmp_path: Path) -> None:
    (tmp_path / "words.csv").write_text(
        "phrase,role,meaning,flags,source\nknee jerk,site,achilles,,ours\n", encoding="utf-8"
    )
    settings = load_settings(settings_file(tmp_path, "[vocabulary]\nfiles = ['words.csv']\n"))
    with pytest.raises(VocabularyError, match=r"words\.csv:2.*already means.*sites\.csv"):
        open_session(settings)


def test_a_file_can_set_every_value_and_nothing_else() -> None:
    for section in (field.name for field in fields(Settings) if field.name not in ("folder", "file")):
        values = {field.name for field in fields(getattr(Settings(), section))}
        with pytest.raises(SettingsError) as caught:
            settings_from({section: {"nonsense": 1}})
        (sentence,) = caught.value.sentences
        assert sentence.startswith(f"[{section}] has no key nonsense; known are ")
        assert set(sentence.partition("known are ")[2].split(", ")) == values


def test_what_a_table_does_not_say_has_the_default_of_its_section() -> None:
    sections = [field.name for field in fields(Settings) if field.name not in ("folder", "file")]
    assert settings_from({}) == settings_from({section: {} for section in sections}) == Settings()
    found = settings_from({"reading": {"pair_order": "left-right"}})
    assert found == replace(Settings(), reading=replace(Settings().reading, pair_order="left-right"))


def test_without_a_file_no_checker_of_files_is_imported(tmp_path: Path) -> None:
    code = "import sys; from converter.settings import find_settings; find_settings(); print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=tmp_path
    )
    assert not {"pydantic", "converter.settings_file"} & set(done.stdout.split())
