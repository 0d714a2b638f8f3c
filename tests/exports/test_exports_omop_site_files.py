"""The site's maps: what is wrong in them is told with file and line; and the keys that stay."""

import sys
from pathlib import Path

import pytest
from omop_samples import Site, small_site

from converter.exports import ExportError, omop
from converter.exports.omop.concepts import read_concepts
from converter.exports.omop.keys import giving, prepare_keys
from converter.exports.omop.site_files import read_ids
from converter.words import shipped_vocabulary

HEADER = "code,value,concept_id,domain,value_concept_id\n"
NOTE = {
    "id": "n1",
    "text": "Knee jerks 2+ bilaterally. Ankle jerks 1+ bilaterally.",
    "patient": "p1",
    "authored": "2031-03-04",
}


@pytest.mark.parametrize(
    ("rows", "sentence"),
    [
        ("patelar,,2000000001,Measurement,\n", "line 2: there is no code 'patelar'; did you mean patellar"),
        ("patellar,,-1,Measurement,\n", "line 2: concept_id is '-1'; a concept id is a whole number"),
        ("patellar,,2147483648,Measurement,\n", "line 2: concept_id is '2147483648'"),
        (
            "patellar,,2000000001,Condition,\n",
            "line 2: the domain is 'Condition'; only concepts of the domains",
        ),
        ("patellar,,2000000001,,\n", "line 2: the domain is ''"),
        ("patellar,,,Measurement,\n", "line 2: code patellar needs a concept_id; 0 where no concept fits"),
        ("patellar,brisc,2000000001,Measurement,\n", "line 2: there is no value 'brisc'"),
        ("patellar,bed:3,2000000001,Measurement,\n", "line 2: there is no value 'bed:3'"),
        ("*,,,,2000000001\n", "line 2: a row for every code (*) needs a value"),
        ("language,x,4,,\n", "line 2: code language has no values"),
        (
            "patellar,,2000000001,Measurement,\n\npatellar,,2000000002,Measurement,\n",
            "line 4: code patellar with value (any) stands in line 2 already",
        ),
        ("a,,1,Measurement,\n" * 7, "; and 2 more."),
    ],
)
def test_a_wrong_row_is_told_with_its_line(tmp_path: Path, rows: str, sentence: str) -> None:
    file = tmp_path / "map.csv"
    file.write_text(HEADER + rows)
    with pytest.raises(ExportError) as caught:
        read_concepts(file, shipped_vocabulary())
    assert str(caught.value).startswith(f"{file}: ")
    assert sentence in str(caught.value)


def test_rows_of_every_form_are_taken(tmp_path: Path) -> None:
    file = tmp_path / "map.csv"
    rows = [
        "patellar-left,ninds:2.5,2000000001,Measurement,",
        "plantar-chaddock-left,not-extensor,2000000001,Observation,",
        "clonus-unspecified,sustained,2000000001,Observation,", "hoffmann,absent,2000000001,Observation,",
        "biceps,nine-step:-4--2,2000000001,Observation,", "biceps,not-brisk,2000000001,Observation,",
        "jaw,pendular,2000000001,Observation,", "unspecified-c5-left,,2000000001,Observation,",
        "achilles,less-than-other-side,0,,", "*,extensor,,,2000000002", "language,,2000000003,,",
        "note-kind:progress,,2000000004,,", "unit:beats,,2000000005,,",
    ]  # fmt: skip
    file.write_text(HEADER + "\n".join(rows) + "\n")
    assert len(read_concepts(file, shipped_vocabulary()).rows) == len(rows)


def test_the_documented_example_is_a_map(tmp_path: Path) -> None:
    file = Path(omop.__file__).with_name("example-map.csv")
    rows = read_concepts(file, shipped_vocabulary()).rows
    assert len(rows) == 16
    invented = {concept.concept or concept.value or 0 for concept in rows.values()}
    assert min(invented) > 2_000_000_000, "ids that no vocabulary has"


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        ("person_id\n7\n", "there is no column patient"),
        ("patient,person_id,name\np1,7,x\n", "there is no use for a column 'name'"),
        ("patient,person_id\np1,x\n", "line 2: person_id is no whole number"),
        ("patient,person_id\np1,0\n", "line 2: person_id is no whole number from 1"),
        ("patient,person_id\np1,7\np1,8\n", "line 3: this patient has another person_id further up"),
        ("patient,person_id\np1,7,8\n", "line 2 has more cells than the header"),
        ("patient,person_id\n,7\n", "line 2: patient is empty"),
        ('patient,person_id\n"p1,7\n', "this is no CSV file"),
    ],
)
def test_a_wrong_map_of_patients_is_told(tmp_path: Path, content: str, sentence: str) -> None:
    file = tmp_path / "persons.csv"
    file.write_text(content)
    with pytest.raises(ExportError) as caught:
        read_ids(file, "patient", "person_id")
    assert sentence in str(caught.value)


def test_patients_of_two_systems_are_told_apart(tmp_path: Path) -> None:
    file = tmp_path / "persons.csv"
    file.write_text("system,patient,person_id\nurn:a,17,1\nurn:b,17,2\n,18,3\n")
    persons = read_ids(file, "patient", "person_id")
    asked = [("urn:a", "17"), ("urn:b", "17"), ("urn:c", "17"), ("urn:c", "18")]
    assert [persons.find(*one) for one in asked] == [1, 2, None, 3]


def test_keys_count_up_and_stay(tmp_path: Path) -> None:
    file = tmp_path / "keys.sqlite"
    assert prepare_keys(file, "run-1", 100) == "run-1"
    with giving(file) as keys:
        first = [
            keys.key("note", None, "a"),
            keys.key("note", "urn:x", "a"),
            keys.key("note_nlp", None, "a", "f"),
        ]
    with giving(file) as keys:
        again = [
            keys.key("note", None, "a"),
            keys.key("note", None, "b"),
            keys.key("note_nlp", None, "a", "f"),
        ]
    assert (first, again) == ([100, 101, 100], [100, 102, 100])
    assert prepare_keys(file, "run-2") == "run-1"
    with pytest.raises(ExportError, match="begin at 100"):
        prepare_keys(file, "run-2", 5)
    assert file.stat().st_mode & 0o077 == 0, "only its owner reads identifiers"


def test_keys_that_were_not_finished_are_forgotten(tmp_path: Path) -> None:
    file = tmp_path / "keys.sqlite"
    prepare_keys(file, "run-1")

    class StoppedError(Exception):
        pass

    def stopped() -> None:
        with giving(file) as keys:
            keys.key("note", None, "a")
            raise StoppedError

    with pytest.raises(StoppedError):
        stopped()
    with giving(file) as keys:
        assert keys.known("note", None, "a") is None
        assert keys.key("note", None, "b") == 1


def test_keys_run_out_before_they_overflow(tmp_path: Path) -> None:
    file = tmp_path / "keys.sqlite"
    prepare_keys(file, "run-1", 2_147_483_647)
    with giving(file) as keys:
        assert keys.key("note", None, "a") == 2_147_483_647
        with pytest.raises(ExportError, match="no numbers left"):
            keys.key("note", None, "b")


def test_a_file_that_holds_no_keys_is_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "keys.sqlite"
    file.write_text("my diary")
    with pytest.raises(ExportError, match="this is no file of keys"):
        prepare_keys(file, "run-1")
    assert file.read_text() == "my diary"


def test_keys_stay_when_the_note_is_read_anew(tmp_path: Path) -> None:
    """A finding that is gone gives its number to nobody; one that is new gets a new one."""
    site = small_site(tmp_path, [NOTE])
    assert site.export("first").status == 0
    again = small_site(
        tmp_path, [{**NOTE, "text": "Knee jerks 2+ bilaterally. Biceps jerks 3+ bilaterally."}]
    )
    assert again.export("second").status == 0
    assert numbers(site, "first") == {"patellar-both": "1", "achilles-both": "2"}
    assert numbers(again, "second") == {"patellar-both": "1", "biceps-both": "3"}


def test_what_omop_needs_is_asked_for(tmp_path: Path) -> None:
    from omop_samples import plexor

    site = small_site(tmp_path, [NOTE])
    ran = plexor("export", site.archive, "--to", "omop", "--out", tmp_path / "out")
    assert (ran.status, ran.err) == (
        2,
        "fatal --to omop needs --persons; `plexor export --help` says what it is.\n",
    )
    ran = plexor("export", site.archive, "--to", "fhir", "--out", tmp_path / "out", "--persons", "x.csv")
    assert (ran.status, ran.err) == (2, "fatal --persons: does not belong to --to fhir; leave it out.\n")


def test_postgres_without_its_extra_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = small_site(tmp_path, [NOTE])
    monkeypatch.setitem(sys.modules, "psycopg", None)
    ran = site.export("out", "--postgres")
    assert (ran.status, ran.err) == (
        2,
        "fatal PostgreSQL is reached through an extra of plexor: install plexor[omop].\n",
    )
    assert not (site.folder / "out").exists()


def numbers(site: Site, out: str) -> dict[str, str]:
    """The number of each row of NOTE_NLP by its code."""
    return {
        row["term_modifiers"].split("code=")[1].split(";")[0]: row["note_nlp_id"]
        for row in site.rows(out, "note_nlp")
    }
