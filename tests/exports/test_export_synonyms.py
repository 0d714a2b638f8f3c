"""Names that HPO gives its reflex terms, read as a note says them, come out as the term or in line with it.

Outside source: labels and exact synonyms of the Human Phenotype Ontology, release 2025-01-16 (found through
PLEXOR_OUTSIDE).
"""

import csv
import re
from pathlib import Path

import pytest
from export_reads import note, read_of, session

from converter.exports.hpo import ancestors, terms
from converter.exports.phenotypes import phenotype_of

BESIDE = {
    "Generalized hyperreflexia": "the word hyperactive has a term of its own, a sibling; both are written",
    "Generalised hyperreflexia": "the same",
}
"""Names that come out as their own term and another one beside it."""
NOT_YET_READ = {
    "Proximal hyperreflexia": "the reader does not take proximal as a place, so the general term comes out",
    "Hyperreflexia proximally": "the same",
    "Brachioradialis hyperreflexia": "the reader does not join a muscle and hyperreflexia",
    "Triceps hyperreflexia": "the same",
    "Biceps hyperreflexia": "the same",
    "Jaw hyperreflexia": "the same",
    "Hyporeflexia/areflexia in lower limbs": "the reader takes the second of two words",
    "Decreased/absent ankle reflexes": "two words with a stroke are read as a pair, right and left",
}
"""Names that come out as a term that is not in line with theirs; each for a reason of the reader."""


@pytest.fixture(scope="module")
def names(outside: Path) -> list[tuple[str, str]]:
    """Each term of the table with its label and each exact synonym."""
    file = outside / "facts" / "hpo_reflex_terms.tsv"
    if not file.is_file():
        pytest.skip(f"{file.name} is not there")
    with file.open(encoding="utf-8", newline="") as lines:
        rows = [row for row in csv.DictReader(lines, delimiter="\t") if row["id"] in terms()]
    exact = [(row["id"], name) for row in rows for name in re.findall(r"([^|]+) \[EXACT\]", row["synonyms"])]
    return [*((row["id"], row["label"]) for row in rows), *exact]


def written(text: str) -> tuple[set[str], set[str]]:
    """The terms that are present and excluded in the packet of a note."""
    _, reading, assessments = read_of(note(text))
    found = [
        feature
        for one in assessments
        for feature in phenotype_of(reading, one, session().vocabulary).features
    ]
    return (
        {feature.term for feature in found if not feature.excluded},
        {feature.term for feature in found if feature.excluded},
    )


def in_line(term: str, other: str) -> bool:
    return term == other or term in ancestors(other) or other in ancestors(term)


@pytest.mark.parametrize("sentence", ["{}.", "Examination: {} on the left."])
def test_a_name_comes_out_as_its_term_or_one_in_line_with_it(
    names: list[tuple[str, str]], sentence: str
) -> None:
    same = 0
    for term, name in names:
        present, _ = written(sentence.format(name))
        same += present == {term}
        if name in NOT_YET_READ:
            continue
        strange = {one for one in present if not in_line(term, one)}
        assert not strange or (name in BESIDE and term in present), (name, strange)
    assert same >= 50  # of 137; what may be normal, or is no finding, comes out as nothing


def test_a_name_of_something_abnormal_excludes_nothing(names: list[tuple[str, str]]) -> None:
    for _, name in names:
        assert written(f"{name}.")[1] == set(), name
