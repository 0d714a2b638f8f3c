"""FHIR search text: what each parameter comes to here (FHIR R4 search, https://hl7.org/fhir/R4/search.html)."""

from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from archive_notes import VOCABULARY, finding, new_archive, note, read
from hypothesis import given
from hypothesis import strategies as st

from converter.archive import Archive, ArchiveError, FindQuery, find, query_from_fhir

OURS = "https://example.org/fhir/CodeSystem/reflex"


def asked(parameters: str, **more: Any) -> FindQuery:
    return query_from_fhir(f"Observation?{parameters}", VOCABULARY, **more)


@pytest.mark.parametrize(
    ("parameters", "reflexes"),
    [
        ("code=patellar", (("patellar", None),)),
        ("code=patellar-left", (("patellar", "left"),)),
        ("code=crossed-adductor", (("crossed_adductor", None),)),
        ("code=crossed-adductor-right,achilles-both", (("crossed_adductor", "right"), ("achilles", "both"))),
        (f"code={OURS}|achilles-left", (("achilles", "left"),)),
        (f"code={OURS}%7Cachilles-left", (("achilles", "left"),)),
    ],
)
def test_codes_name_reflexes_and_sides(parameters: str, reflexes: Any) -> None:
    assert asked(parameters).reflexes == reflexes


@pytest.mark.parametrize(
    ("parameters", "first", "last"),
    [
        ("date=2024", "2024-01-01", "2024-12-31"),
        ("date=eq2024-02", "2024-02-01", "2024-02-29"),
        ("date=ge2020-01-01", "2020-01-01", None),
        ("date=gt2020-01-01", "2020-01-02", None),
        ("date=gt2020", "2021-01-01", None),
        ("date=sa2020-01", "2020-02-01", None),
        ("date=le2020-02", None, "2020-02-29"),
        ("date=lt2020-01-01", None, "2019-12-31"),
        ("date=eb2020", None, "2019-12-31"),
        ("date=ge2020&date=lt2021", "2020-01-01", "2020-12-31"),
        ("date=ge2020&date=ge2019&date=le2024&date=le2025", "2020-01-01", "2024-12-31"),
    ],
)
def test_dates_become_days(parameters: str, first: str | None, last: str | None) -> None:
    query = asked(parameters)
    assert (query.date_from, query.date_to) == (first, last)


GRADES = [0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4]


@pytest.mark.parametrize(
    ("value", "grades"),
    [
        ("grade-ordinal$ge3", [3, 3.5, 4]),
        ("grade-ordinal$gt3", [3.5, 4]),
        ("grade-ordinal$le0.5", [0, 0.5]),
        ("grade-ordinal$lt1", [0, 0.5]),
        # "100" stands for 99.5 up to but not including 100.5 (FHIR R4 search, 3.1.1.4.7 number)
        ("grade-ordinal$3", [2.5, 3]),
        ("grade-ordinal$3.0", [3]),
        ("grade-ordinal$eq3.0", [3]),
        ("grade-ordinal$ge3|http://unitsofmeasure.org|{score}", [3, 3.5, 4]),
        ("grade-ordinal$ge2&component-code-value-quantity=grade-ordinal$lt3", [2, 2.5]),
    ],
)
def test_grades_are_bounded(tmp_path: Path, value: str, grades: list[float]) -> None:
    items = [read(note(f"n{grade}"), finding("patellar", "left", grade)) for grade in GRADES]
    archive = new_archive(tmp_path, *items)
    rows = find(archive, asked(f"component-code-value-quantity={value}"))
    assert sorted(row.grade_low or 0 for row in rows) == grades


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Archive:
    return new_archive(
        tmp_path_factory.mktemp("shared"),
        read(note("n1"), finding("all_limbs", "both", 2), finding("achilles", "left", 0)),
        read(note("n2", patient="p2", system="urn:lake", author="a2"),
             finding("patellar", "left", 3, scale="ninds")),
        read(note("n3", patient="p2"), finding("patellar", "left", 3, negated=True)),
        read(note("n4"), finding("patellar", "left", status="not_tested", reason="cast")),
        read(note("n5"), finding("patellar", "left", 3, status="historical")),
        read(note("n6"), finding("plantar", "left", kind="plantar", response="not_extensor")),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("parameters", "ids"),
    [
        ("code=patellar-left", ["n1", "n2", "n3", "n4"]),
        ("code=patellar-both", ["n1", "n1"]),
        ("code=achilles-left", ["n1"]),
        ("code=achilles-left&component-code-value-quantity=grade-ordinal$ge1", []),
        ("code=patellar-left&component-code-value-quantity=grade-ordinal$ge3", ["n2"]),
        ("component-code-value-concept=scale$ninds", ["n2"]),
        (
            "component-code-value-concept=scale$bedside&component-code-value-quantity=grade-ordinal$le0",
            ["n1"],
        ),
        ("component-code-value-concept=level$absent,level$high&code=patellar,achilles", ["n1", "n2", "n3"]),
        ("component-code-value-concept=plantar-response$not-extensor", ["n6"]),
        ("patient.identifier=p2", ["n2", "n3"]),
        ("patient:identifier=p2", ["n2", "n3"]),
        ("subject:identifier=p2&performer:identifier=a2", ["n2"]),
        ("subject.identifier=urn:lake:patient|p2", ["n2"]),
        ("patient.identifier=urn:lake:patient|p2&performer.identifier=urn:lake:practitioner|a2", ["n2"]),
        ("performer.identifier=a2", ["n2"]),
        ("category=plantar", ["n6"]),
        ("category=exam&patient.identifier=p2", ["n2", "n3"]),
        ("date=lt2024&code=patellar", []),
        ("patient.identifier=p2&_count=1", ["n3"]),
    ],
)
def test_a_search_finds_what_it_says(archive: Archive, parameters: str, ids: list[str]) -> None:
    assert sorted(row.id for row in find(archive, asked(parameters))) == ids


def test_notes_without_a_system_are_found_under_the_default_one(archive: Archive) -> None:
    query = asked("patient.identifier=urn:home:patient|p2", default_system="urn:home")
    assert [row.id for row in find(archive, query)] == ["n3"]


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("Patient?name=x", "Only Observations can be searched: begin with Observation?"),
        ("Observation?patient=p1", "write patient:identifier= instead of patient=."),
        ("Observation?name=x", "does not know the search parameter 'name'; known are code, date,"),
        ("Observation?code:text=knee", "does not know the search parameter 'code:text'"),
        ("Observation?code=knee", "names no reflex: 'knee'"),
        ("Observation?code=", "'code' has an empty value"),
        ("Observation?code=http://snomed.info/sct|123", "plexor's own CodeSystem"),
        ("Observation?code=patellar&code=achilles", "'code' can be given once"),
        ("Observation?date=yesterday", "'date' takes a date"),
        ("Observation?date=2024-02-30", "'date' takes a date"),
        ("Observation?date=ge2024-01-01T10:00:00Z", "'date' takes a date"),
        ("Observation?date=ne2024", "cannot be searched with 'ne'"),
        ("Observation?component-code-value-quantity=clonus-beats$3", "takes grade-ordinal"),
        ("Observation?component-code-value-quantity=grade-ordinal$three", "takes a number"),
        ("Observation?component-code-value-quantity=grade-ordinal$nan", "takes a number"),
        ("Observation?component-code-value-quantity=grade-ordinal$geInfinity", "takes a number"),
        ("Observation?component-code-value-quantity=grade-ordinal$ap3", "cannot be searched with 'ap'"),
        (
            "Observation?component-code-value-quantity=grade-ordinal$3|http://unitsofmeasure.org|mm",
            "in {score}",
        ),
        ("Observation?component-code-value-concept=colour$red", "takes one of level,"),
        ("Observation?component-code-value-concept=scale$a,scale$b", "of scales only one"),
        ("Observation?patient.identifier=urn:lake|p2", "followed by /patient or :patient"),
        ("Observation?category=laboratory", "takes exam"),
        ("Observation?_count=many", "'_count' takes a number"),
    ],
)
def test_what_is_not_understood_is_refused(text: str, complaint: str) -> None:
    with pytest.raises(ArchiveError) as caught:
        query_from_fhir(text, VOCABULARY)
    assert complaint in str(caught.value)


@given(
    st.text(max_size=30),
    st.sampled_from(["", "code=", "date=", "component-code-value-quantity=grade-ordinal$"]),
)
def test_any_text_is_a_query_or_a_plain_refusal(text: str, start: str) -> None:
    with suppress(ArchiveError):
        assert isinstance(asked(start + text), FindQuery)
