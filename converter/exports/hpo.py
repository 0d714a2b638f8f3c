"""The part of the Human Phenotype Ontology that speaks of reflexes: labels, what is what, and leaf terms.

Takes `hpo.csv`, drawn from the HPO release named here; gives terms by identifier and their ancestors. The
table holds every term under Abnormal reflex, Abnormal pyramidal sign and Frontal release signs, and the
clinical modifiers that the rules use; `leaf` says whether the whole ontology has nothing below a term.
"""

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType

RELEASE = "2025-01-16"
"""The release that the table was drawn from; a test holds the table against that release."""

LEFT, RIGHT, BILATERAL = "HP:0012835", "HP:0012834", "HP:0012832"
LATERALITY = frozenset({LEFT, RIGHT, BILATERAL})

_TABLE = Path(__file__).parent / "hpo.csv"


@dataclass(frozen=True, slots=True)
class Term:
    """One term.

    Attributes:
        term: e.g. `HP:0009072`.
        label: the term's own label.
        parents: the terms directly above it, as far as the table holds them.
        leaf: whether no term of the ontology stands below it.
    """

    term: str
    label: str
    parents: tuple[str, ...]
    leaf: bool


@cache
def terms() -> Mapping[str, Term]:
    """Every term of the table by its identifier."""
    with _TABLE.open(encoding="utf-8", newline="") as lines:
        rows = [
            Term(row["term"], row["label"], tuple(row["parents"].split()), row["leaf"] == "yes")
            for row in csv.DictReader(lines)
        ]
    return MappingProxyType({row.term: row for row in rows})


@cache
def ancestors(term: str) -> frozenset[str]:
    """Every term above a term, without itself; none for a term that the table does not hold."""
    known = terms().get(term)
    if known is None:
        return frozenset()
    return frozenset(known.parents).union(*(ancestors(parent) for parent in known.parents))
