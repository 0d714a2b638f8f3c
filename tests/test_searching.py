"""FHIR searches of the archive, held against the direct query, the resources of the notes, and our checker.

What a searchset holds: FHIR R4, https://hl7.org/fhir/R4/bundle.html#searchset and
https://hl7.org/fhir/R4/search.html (self link, total, mode).
"""

from functools import cache
from pathlib import Path
from typing import Any

import pytest
from archive_session import loaded, notes, session

from converter.api import assess, convert, open_checker, read
from converter.archive import ArchiveError, FindQuery, open_archive, query_from_fhir
from converter.check import Checker
from converter.loading import Loading
from converter.searching import count, fhir_search, find
from converter.settings import settings_from

Json = dict[str, Any]


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return loaded(tmp_path_factory.mktemp("searching"))


def matches(bundle: Json) -> list[Json]:
    return [entry["resource"] for entry in bundle.get("entry", []) if entry["search"]["mode"] == "match"]


def codes(resource: Json) -> set[str]:
    return {coding["code"] for coding in resource["code"]["coding"]}


@cache
def expanded() -> dict[str, Json]:
    """Every Observation of the notes, made from the texts anew and not from the archive, by its id."""
    from dataclasses import replace

    here = session()
    here = replace(here, fhir=replace(here.fhir, expand=True))
    made: dict[str, Json] = {}
    for note in notes():
        reading = read(note, here)
        made |= {one["id"]: one for one in convert(note, reading, assess(note, reading, here), here)[0]}
    return made


def test_a_searchset_says_what_was_asked_and_how_much_answers(archive: Path) -> None:
    search = "Observation?code=achilles-left&component-code-value-quantity=grade-ordinal$le1"
    bundle = fhir_search(archive, search, session())
    assert (bundle["resourceType"], bundle["type"]) == ("Bundle", "searchset")
    assert bundle["link"] == [{"relation": "self", "url": f"https://plexor.example/fhir/{search}"}]
    assert bundle["total"] == len(bundle["entry"]) == 1
    (entry,) = bundle["entry"]
    assert entry["search"] == {"mode": "match"}
    assert entry["fullUrl"].endswith(f"/Observation/{entry['resource']['id']}")
    assert codes(entry["resource"]) == {"achilles", "achilles-left"}


SEARCHES = (
    "Observation",
    "Observation?category=exam",
    "Observation?category=plantar",
    "Observation?code=patellar-left",
    "Observation?code=patellar-left,achilles-right",
    "Observation?code=achilles-left&component-code-value-concept=level$absent",
    "Observation?code=biceps-right&patient.identifier=p1",
    "Observation?component-code-value-quantity=grade-ordinal$ge2",
    "Observation?component-code-value-concept=scale$bedside&component-code-value-quantity=grade-ordinal$1",
    "Observation?date=ge2031-03-04&date=lt2031-03-05",
    "Observation?date=lt2031",
    "Observation?code=all-limbs",
)


@pytest.mark.parametrize("search", SEARCHES)
def test_the_answer_is_the_direct_query_and_the_resources_of_the_notes(archive: Path, search: str) -> None:
    here = session()
    bundle = fhir_search(archive, search, here)
    rows = list(find(archive, query_from_fhir(search, here.vocabulary, here.fhir.default_system)))
    found = matches(bundle)
    assert {finding_of(one) for one in found} <= {row.finding for row in rows}
    assert {row.finding for row in rows if row.id != "n5"} <= {finding_of(one) for one in found}
    assert all(one == expanded()[one["id"]] for one in found)
    assert len({one["id"] for one in found}) == len(found) == bundle["total"]
    asked = search.partition("code=")[2].partition("&")[0].split(",") if "?code=" in search else []
    assert all(codes(one) & set(asked) for one in found if asked)


@cache
def checker() -> Checker:
    checker, problems = open_checker(session())
    assert problems == ()
    return checker


def finding_of(resource: Json) -> str:
    (words,) = [one for one in resource["extension"] if one["url"].endswith("/source-words")]
    (name,) = [one["valueString"] for one in words["extension"] if one["url"] == "finding"]
    assert isinstance(name, str)
    return name


@pytest.mark.parametrize("search", SEARCHES)
def test_our_checker_finds_no_fault_with_an_answer(archive: Path, search: str) -> None:
    assert list(checker().check(fhir_search(archive, search, session()))) == []


def test_a_covered_reflex_is_answered_by_the_derived_observation(archive: Path) -> None:
    (found,) = matches(fhir_search(archive, "Observation?code=biceps-left&patient.identifier=p1", session()))
    assert found["meta"]["tag"][0]["code"] == "derived"
    assert codes(found) == {"biceps", "biceps-left"}


def test_both_sides_are_answered_as_said_or_by_the_side(archive: Path) -> None:
    said, left = (
        matches(fhir_search(archive, f"Observation?code={code}&patient.identifier=p3", session()))
        for code in ("achilles-both", "achilles-left")
    )
    assert [codes(one) for one in said] == [{"achilles", "achilles-both"}]
    assert [codes(one) for one in left] == [{"achilles", "achilles-left"}]
    assert "tag" not in said[0]["meta"]
    assert left[0]["derivedFrom"] == [{"reference": f"Observation/{said[0]['id']}"}]


def test_a_limit_bounds_the_entries_and_not_the_total(archive: Path) -> None:
    whole = fhir_search(archive, "Observation?code=patellar-left", session())
    part = fhir_search(archive, "Observation?code=patellar-left&_count=1", session())
    none = fhir_search(archive, "Observation?code=patellar-left&_count=0", session())
    assert whole["total"] == part["total"] == none["total"] == 3
    assert part["entry"] == whole["entry"][:1]
    assert "entry" not in none


def test_nothing_found_is_an_answer_without_entries(archive: Path) -> None:
    bundle = fhir_search(archive, "Observation?code=jaw", session())
    assert (bundle["total"], "entry" in bundle) == (0, False)


def test_an_archive_without_words_gives_observations_without_words(tmp_path: Path) -> None:
    bundle = fhir_search(loaded(tmp_path, Loading(quotes=False)), "Observation", session())
    assert bundle["total"] > 0
    assert "throughout" not in str(bundle)
    assert list(checker().check(bundle)) == []


def test_a_site_has_its_own_base_in_links_and_addresses(archive: Path) -> None:
    here = session(settings=settings_from({"fhir": {"canonical": "https://rehab.example/fhir"}}))
    bundle = fhir_search(archive, "Observation?code=patellar-left", here)
    assert bundle["link"][0]["url"] == "https://rehab.example/fhir/Observation?code=patellar-left"
    assert all(
        one["fullUrl"].startswith("https://rehab.example/fhir/Observation/") for one in bundle["entry"]
    )


def test_what_is_not_understood_is_refused(archive: Path) -> None:
    with pytest.raises(ArchiveError, match="_sort"):
        fhir_search(archive, "Observation?_sort=date", session())


def test_counts_are_of_the_rows_that_are_found(archive: Path) -> None:
    query = FindQuery(sites=("patellar",))
    rows = list(find(archive, query))
    counted = list(count(archive, query, ("side",)))
    assert {one.group[0]: one.rows for one in counted} == {
        side: sum(row.side == side for row in rows) for side in ("left", "right")
    }


def test_an_archive_is_closed_after_each_answer(archive: Path) -> None:
    fhir_search(archive, "Observation", session())
    list(find(archive, FindQuery()))
    with open_archive(archive):
        pass


def test_findings_of_a_past_exam_are_counted_and_make_no_observation(tmp_path: Path) -> None:
    from dataclasses import replace

    from converter.archive import RunInfo
    from converter.archive import load as store

    here = session()
    (note,) = [note for note in notes() if note.id == "n4"]
    reading = read(note, here)
    past = replace(reading, exams=tuple(replace(exam, status="historical") for exam in reading.exams))
    run = RunInfo(run="r1", program="p", started="2031", finished=lambda: "2031")
    with open_archive(tmp_path / "a.duckdb") as opened:
        store(opened, [(note, past, ())], run, here.vocabulary)
    bundle = fhir_search(tmp_path / "a.duckdb", "Observation", here)
    assert bundle["total"] == 0
    (entry,) = bundle["entry"]
    assert entry["search"] == {"mode": "outcome"}
    assert entry["resource"]["issue"][0]["diagnostics"].startswith(
        "2 findings that match make no Observation"
    )
    assert list(checker().check(bundle)) == []
