"""Grades and words for strength as codes: what a numeral, a half step or a denied word is called.

The same functions name the codes in the shipped CodeSystems and in the resources, so the two cannot part.
"""

from decimal import Decimal
from typing import Any

from converter.fhir.terms import UCUM, code_system, coding
from converter.fhir.text import kebab, plain_words, sentence_case
from converter.words import Scale, Vocabulary

ORDINAL_VALUE = "http://hl7.org/fhir/StructureDefinition/ordinalValue"


def exact_number(number: float) -> int | Decimal:
    """A number as it is to be written: whole ones without a fraction, others exactly."""
    return int(number) if float(number).is_integer() else Decimal(repr(float(number)))


def grade_code(grade: float) -> str:
    """The code of a grade on its scale, e.g. `2`, `2.5`, `-1`."""
    return str(exact_number(grade))


def grade_display(scale: Scale, grade: float) -> str:
    """What a grade means on its scale; a half step lies between its neighbours."""
    if grade in scale.grades:
        return sentence_case(scale.grades[grade].meaning)
    below, above = scale.grades[grade - 0.5], scale.grades[grade + 0.5]
    return sentence_case(f"between {below.meaning} and {above.meaning}")


def half_steps(scale: Scale) -> list[float]:
    """Every grade of a scale with the half steps between neighbours, in order."""
    between = [grade + 0.5 for grade in scale.grades if grade + 1 in scale.grades]
    return sorted([*scale.grades, *between])


def has_code(scale: Scale, grade: float) -> bool:
    """Whether a grade has a code on its scale."""
    return grade in scale.grades or (grade - 0.5 in scale.grades and grade + 0.5 in scale.grades)


def scale_system(base: str, scale: str) -> str:
    """Canonical URL of the CodeSystem of a scale's grades."""
    return code_system(base, f"scale-{kebab(scale)}")


def grade_coding(base: str, scale: Scale, grade: float) -> dict[str, Any]:
    """The Coding of a grade, with its number in the standard ordinalValue extension."""
    ordinal = {"url": ORDINAL_VALUE, "valueDecimal": exact_number(grade)}
    named = coding(scale_system(base, scale.scale), grade_code(grade), grade_display(scale, grade))
    return {"extension": [ordinal], **named}


def score(number: float) -> dict[str, Any]:
    """A number on an ordinal scale as a Quantity in the UCUM unit `{score}`."""
    return {"value": exact_number(number), "unit": "score", "system": UCUM, "code": "{score}"}


def descriptor_display(descriptor: str, denied: bool = False) -> str:
    """What a word for strength, or its denial, is called."""
    words = plain_words(descriptor)
    return f"Not {words}" if denied else sentence_case(words)


def descriptor_coding(
    base: str, descriptor: str, vocabulary: Vocabulary, denied: bool = False
) -> dict[str, Any] | None:
    """The Coding of a word for strength, or of its denial; None where the vocabulary lacks the word."""
    if descriptor not in vocabulary.descriptors:
        return None
    code = f"not-{kebab(descriptor)}" if denied else kebab(descriptor)
    return coding(code_system(base, "descriptor"), code, descriptor_display(descriptor, denied))
