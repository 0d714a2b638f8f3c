"""CodeSystems: reflexes, one per grading scale, the words for strength, the abnormalities, and our terms."""

from collections.abc import Iterable
from typing import Any

from converter.fhir.abnormality_codes import abnormality_table
from converter.fhir.definitions.parts import definition
from converter.fhir.grades import (
    ORDINAL_VALUE,
    descriptor_display,
    exact_number,
    grade_code,
    grade_display,
    half_steps,
)
from converter.fhir.place import SIDES, sided_code, sided_display
from converter.fhir.terms import TermList, term_lists
from converter.fhir.text import kebab
from converter.words import Reflex, Scale, Vocabulary

ROOTS = (
    *(f"C{number}" for number in range(1, 9)),
    *(f"T{number}" for number in range(1, 13)),
    *(f"L{number}" for number in range(1, 6)),
    *(f"S{number}" for number in range(1, 6)),
)


def code_systems(base: str, vocabulary: Vocabulary) -> list[dict[str, Any]]:
    """Every CodeSystem of ours."""
    return [
        reflexes(base, vocabulary.reflexes.values()),
        *(scale(base, one) for one in vocabulary.scales.values()),
        grading_scales(base, vocabulary.scales.values()),
        descriptors(base, vocabulary.descriptors),
        abnormalities(base),
        nerve_roots(base),
        *(_terms(base, one) for one in term_lists().values()),
    ]


def reflexes(base: str, known: Iterable[Reflex]) -> dict[str, Any]:
    """Each reflex, and under it the reflex with its side."""
    concepts = [_reflex(reflex) for reflex in known]
    description = "Reflexes and regions that a finding can be about, each also with its side."
    system = definition(base, "CodeSystem", "reflex", "Reflexes", description)
    kind = {
        "code": "kind",
        "description": "stretch, plantar, clonus, superficial or primitive",
        "type": "code",
    }
    return _with_concepts(system, concepts, {"hierarchyMeaning": "is-a"}, [kind])


def scale(base: str, one: Scale) -> dict[str, Any]:
    """The grades of one scale with the half steps between them; each carries its number."""
    concepts = [
        {
            "extension": [{"url": ORDINAL_VALUE, "valueDecimal": exact_number(grade)}],
            "code": grade_code(grade),
            "display": grade_display(one, grade),
        }
        for grade in half_steps(one)
    ]
    description = f"Grades of the scale: {one.title}. Meanings: {one.source}."
    return _code_system(base, f"scale-{kebab(one.scale)}", f"Grades: {one.title}", description, concepts)


def grading_scales(base: str, scales: Iterable[Scale]) -> dict[str, Any]:
    """The scales themselves."""
    concepts = [{"code": kebab(one.scale), "display": one.title, "definition": one.source} for one in scales]
    description = "The scales that can read a grade; the same numeral means different things on each."
    return _code_system(base, "grading-scale", "Grading scales", description, concepts)


def descriptors(base: str, words: Iterable[str]) -> dict[str, Any]:
    """The words for strength, and the denial of each."""
    concepts = [
        {
            "code": f"not-{kebab(word)}" if denied else kebab(word),
            "display": descriptor_display(word, denied),
        }
        for denied in (False, True)
        for word in words
    ]
    description = "Words for the strength of a reflex where no number is given, and the denial of each."
    return _code_system(base, "descriptor", "Words for the strength of a reflex", description, concepts)


def abnormalities(base: str) -> dict[str, Any]:
    """What the rules can find."""
    concepts = [
        {"code": code, "display": entry["label"], "definition": entry["definition"]}
        for code, entry in abnormality_table().items()
    ]
    description = "What rules find in reflex findings. They speak of findings, never of a diagnosis."
    return _code_system(base, "abnormality", "Abnormalities of reflex findings", description, concepts)


def nerve_roots(base: str) -> dict[str, Any]:
    """The spinal roots, as a note names them."""
    concepts = [{"code": root, "display": root} for root in ROOTS]
    description = "Spinal nerve roots that a note names instead of a reflex."
    return _code_system(base, "nerve-root", "Spinal nerve roots", description, concepts)


def _reflex(reflex: Reflex) -> dict[str, Any]:
    kind = [{"code": "kind", "valueCode": reflex.kind}]
    code = kebab(reflex.site)
    found: dict[str, Any] = {"code": code, "display": reflex.label, "property": kind}
    if reflex.paired:
        found["concept"] = [
            {
                "code": sided_code(reflex.site, side),
                "display": sided_display(reflex.label, side),
                "property": kind,
            }
            for side in SIDES
        ]
    return found


def _terms(base: str, terms: TermList) -> dict[str, Any]:
    concepts = [{"code": code, "display": display} for code, display in terms.codes.items()]
    return _code_system(base, terms.name, terms.title, terms.description, concepts)


def _code_system(
    base: str, name: str, title: str, description: str, concepts: list[dict[str, Any]]
) -> dict[str, Any]:
    system = definition(base, "CodeSystem", name, title, description)
    return _with_concepts(system, concepts, {}, [])


def _with_concepts(
    system: dict[str, Any],
    concepts: list[dict[str, Any]],
    hierarchy: dict[str, Any],
    properties: list[dict[str, Any]],
) -> dict[str, Any]:
    count = len(concepts) + sum(len(one.get("concept", ())) for one in concepts)
    rest = {"caseSensitive": True, **hierarchy, "content": "complete", "count": count}
    known = {"property": properties} if properties else {}
    return {**system, **rest, **known, "concept": concepts}
