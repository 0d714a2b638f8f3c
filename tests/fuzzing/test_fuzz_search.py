"""FHIR search text of every kind: a query that the archive can answer, or one plain sentence."""

import re

import pytest
from archive_notes import VOCABULARY, finding, new_archive, note, read
from fuzz_budget import tried
from fuzz_damage import Change, changes, damaged, parted
from hanging import ends_soon
from hypothesis import given
from hypothesis import strategies as st

from converter.archive import Archive, ArchiveError, count, find, query_from_fhir

SEARCHES = [
    "Observation?code=patellar-left&date=ge2020-01-01",
    "Observation?component-code-value-quantity=grade-ordinal$ge3|http://unitsofmeasure.org|{score}",
    "Observation?component-code-value-concept=level$absent,level$high&code=patellar,achilles",
    "Observation?patient.identifier=urn:lake:patient|p2&performer.identifier=urn:lake:practitioner|a2",
    "Observation?category=exam&_count=5",
    "Observation?date=eq2024-02&date=lt2025&_count=0",
]
PIECES = [
    *parted(r"""
    %00 %ff %u1234 ge ne ap 1e999 1e-999 1e999999999 Infinity nan 0000 9999 9999-12-31 0001-01-01 10000 -1
    code date _count patellar && grade-ordinal$ scale$ category == %26 %C3%A9 2024-02-29 2023-02-29 T10:00
    Z :identifier :not :missing=true _sort=date _include=* 2024-W01 level$ _ ? & = | $ , + . : / é ٣ ² ; " '
    """),
    *(" ", "\n", "\x00", "\u2028", "\ud800", "9" * 40, "9" * 5000),
]


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Archive:
    return new_archive(
        tmp_path_factory.mktemp("searched"),
        read(note("n1"), finding("all_limbs", "both", 2)),
        read(note("n2"), finding("patellar", "left", 3)),
    )


@tried(300)
@given(
    st.sampled_from(SEARCHES).flatmap(lambda search: changes(PIECES, 5).map(lambda done: (search, done))),
    st.sampled_from([None, "urn:lake"]),
)
def test_damaged_searches(archive: Archive, drawn: tuple[str, list[Change]], system: str | None) -> None:
    with ends_soon():
        refusal = refused(archive, damaged(*drawn), system)
    assert refusal is None or re.fullmatch(r"[^\n]+[.?]", refusal)


def refused(archive: Archive, search: str, system: str | None) -> str | None:
    """Why a search is refused; None where it was answered."""
    try:
        query = query_from_fhir(search, VOCABULARY, system)
        assert query == query_from_fhir(search, VOCABULARY, system)
        found, counted = list(find(archive, query)), list(count(archive, query))
    except ArchiveError as error:
        return str(error)
    assert len(found) <= sum(row.rows for row in counted)
    return None
