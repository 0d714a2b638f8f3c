"""The components of a finding: each further thing the note says, under a code of its own.

One number is `grade-ordinal`; a range is `grade-low` and `grade-high`, so that a server can search both
ends as quantities. A grade that is off its scale, or denied, has no number.
"""

import re
from typing import Any

from converter.fhir.grades import descriptor_coding, exact_number, score
from converter.fhir.terms import UCUM, code_system, coding, concept, known_term, term
from converter.fhir.text import fhir_string, kebab
from converter.fhir.value import scale_of
from converter.model import Finding
from converter.words import Vocabulary
from converter.words.denial import clonus_duration, is_denied, plantar_response

_ONE = re.compile(r"\d+")
_RANGE = re.compile(r"(\d+)\s*-\s*(\d+)")
_ROOT = re.compile(r"C[1-8]|T(?:[1-9]|1[0-2])|L[1-5]|S[1-5]")

_VALUES = (
    # component, field of the finding
    ("level", "level"),
    ("comparison", "comparison"),
    ("quality", "quality"),
)
_WAYS = (
    ("reinforcement", "reinforcement"),
    ("manoeuvre", "manoeuvre"),
    ("technique", "technique"),
    ("variant", "which"),
)


def components_of(finding: Finding, base: str, vocabulary: Vocabulary) -> list[dict[str, Any]]:
    """The components of a finding, in a fixed order."""
    values = [] if finding.status == "not_tested" else _values(finding, base, vocabulary)
    ways = [_term(base, code, getattr(finding, field)) for code, field in _WAYS]
    doubt = None if finding.certainty == "stated" else finding.certainty
    parts = [*values, *ways, _root(finding, base), _term(base, "certainty", doubt)]
    return [part for part in parts if part is not None]


def component(base: str, code: str, value: dict[str, Any]) -> dict[str, Any]:
    """A component with a code of ours and a value element."""
    return {"code": known_term(base, "finding-component", code), **value}


def concept_component(base: str, code: str, value: dict[str, Any] | None) -> dict[str, Any] | None:
    """A component whose value is a concept, or None without one."""
    return None if value is None else component(base, code, {"valueCodeableConcept": value})


def _values(finding: Finding, base: str, vocabulary: Vocabulary) -> list[dict[str, Any] | None]:
    if is_denied(finding, vocabulary):
        duration = _term(base, "clonus-duration", clonus_duration(finding))
        return [duration, component(base, "denied", {"valueBoolean": True})]
    return [
        *_grade(finding, base, vocabulary),
        *_words(finding, base, vocabulary),
        *_clonus(finding, base),
        *(_term(base, code, getattr(finding, field)) for code, field in _VALUES),
    ]


def _term(base: str, code: str, value: str | None) -> dict[str, Any] | None:
    return None if value is None else concept_component(base, code, term(base, code, value))


def _grade(finding: Finding, base: str, vocabulary: Vocabulary) -> list[dict[str, Any] | None]:
    scale = scale_of(finding, vocabulary)
    if scale is None:
        return []
    low, high = finding.grade_low, finding.grade_high
    if low is not None and high is not None:
        low, high = sorted((low, high))  # "3 to 2" is the range from 2 to 3
    ends = {"grade-ordinal": low} if low == high else {"grade-low": low, "grade-high": high}
    numbers = [
        component(base, code, {"valueQuantity": score(grade)})
        for code, grade in ends.items()
        if grade is not None
    ]
    named = coding(code_system(base, "grading-scale"), kebab(scale.scale), scale.title)
    plus = None if finding.plus == "none" else finding.plus
    return [
        *numbers,
        concept_component(base, "scale", concept(named)),
        _term(base, "scale-basis", finding.scale_basis),
        _term(base, "plus-sign", plus),
    ]


def _words(finding: Finding, base: str, vocabulary: Vocabulary) -> list[dict[str, Any] | None]:
    """The word beside a grade or a response, and the plantar response."""
    parts = []
    graded = finding.grade_low is not None or finding.grade_high is not None
    if finding.descriptor is not None and (graded or finding.response is not None):
        word = descriptor_coding(base, finding.descriptor, vocabulary)
        parts.append(concept_component(base, "descriptor", None if word is None else concept(word)))
    parts.append(_term(base, "plantar-response", plantar_response(finding)))
    return parts


def _clonus(finding: Finding, base: str) -> list[dict[str, Any] | None]:
    beats = _beats(finding.beats)
    counted = None if beats is None else component(base, "clonus-beats", beats)
    return [counted, _term(base, "clonus-duration", clonus_duration(finding))]


def _beats(text: str | None) -> dict[str, Any] | None:
    """A number of beats as a Quantity, a range as a Range, anything else as it is written."""
    said = fhir_string(text)
    if said is None:
        return None
    if _ONE.fullmatch(said.strip()):
        return {"valueQuantity": _quantity(said)}
    match = _RANGE.fullmatch(said.strip())
    if match is None or int(match[1]) > int(match[2]):
        return {"valueString": said}
    return {"valueRange": {"low": _quantity(match[1]), "high": _quantity(match[2])}}


def _quantity(number: str) -> dict[str, Any]:
    return {"value": exact_number(int(number)), "unit": "beats", "system": UCUM, "code": "{beats}"}


def _root(finding: Finding, base: str) -> dict[str, Any] | None:
    if finding.root is None:
        return None
    known = _ROOT.fullmatch(finding.root)
    named = [coding(code_system(base, "nerve-root"), finding.root, finding.root)] if known else []
    return concept_component(base, "nerve-root", concept(*named, text=None if known else finding.root))
