"""Reads our Observations back into findings, the same as those they were made of.

Takes Observations of ours, of R4 or R5; gives Findings. What a note says stands in the elements that FHIR has
for it; the few fields that no element holds exactly stand under `kept` in the extension of the source words.
Abnormalities, whole examinations and what was derived from a wider statement are no findings.
"""

import json
from collections.abc import Mapping
from dataclasses import fields
from operator import attrgetter
from typing import Any

from converter.fhir.text import kebab
from converter.model import Finding
from converter.model.record import finding_from_record, plain_number

Json = Mapping[str, Any]
_SOURCE_WORDS = "/StructureDefinition/source-words"
_BODY_POSITION = "http://hl7.org/fhir/StructureDefinition/observation-bodyPosition"
_FIELDS = tuple(entry.name for entry in fields(Finding))
_COMPARED = tuple(name for name in _FIELDS if name != "spans")
_COMPARED_VALUES = attrgetter(*_COMPARED)
_DEFAULTS = {entry.name: entry.default for entry in fields(Finding)}
_WORDS = {
    # field of the finding: component
    "scale_basis": "scale-basis",
    "level": "level",
    "comparison": "comparison",
    "quality": "quality",
    "reinforcement": "reinforcement",
    "manoeuvre": "manoeuvre",
    "technique": "technique",
    "which": "variant",
}
_NOT_TESTED = frozenset({"asked-declined", "not-applicable", "not-performed"})


def finding_of(observation: Json) -> Finding | None:
    """The finding that an Observation was made of, or None where it was made of none.

    Raises:
        ValueError: it claims to be one of ours but is not complete.
    """
    words = _source_words(observation)
    if words is None or _is_derived(observation) or observation.get("status") == "entered-in-error":
        return None
    try:
        return finding_from_record(_record(observation, words) | _kept(words))
    except (KeyError, TypeError, IndexError, AttributeError, ValueError) as error:
        raise ValueError(f"is not complete ({type(error).__name__})") from error


def kept_parts(observation: Json, finding: Finding, quotes: bool) -> list[dict[str, Any]]:
    """Parts of the source words for the fields that the other elements do not hold exactly.

    Args:
        observation: as built, without these parts.
        finding: what it was made of.
        quotes: whether words of the note may stand in it.
    """
    read = _read(observation, observation["extension"][0]["extension"])
    said = zip(_COMPARED, _COMPARED_VALUES(finding), strict=True)
    return [_part(name, one) for name, one in said if read[name] != one and (quotes or name != "quote")]


def _part(name: str, value: Any) -> dict[str, Any]:
    written = json.dumps(plain_number(value) if isinstance(value, float) else value)
    field, said = {"url": "field", "valueCode": kebab(name)}, {"url": "value", "valueString": written}
    return {"url": "kept", "extension": [field, said]}


def _source_words(observation: Json) -> list[dict[str, Any]] | None:
    for extension in observation.get("extension", ()):
        if str(extension.get("url", "")).endswith(_SOURCE_WORDS):
            parts: list[dict[str, Any]] = extension["extension"]
            return parts
    return None


def _is_derived(observation: Json) -> bool:
    return any(tag.get("code") == "derived" for tag in observation.get("meta", {}).get("tag", ()))


def _kept(words: list[dict[str, Any]]) -> dict[str, Any]:
    pairs = [part["extension"] for part in words if part["url"] == "kept"]
    return {_field(field["valueCode"]): json.loads(said["valueString"]) for field, said in pairs}


def _field(code: str) -> str:
    return code.replace("-", "_")


def _record(observation: Json, words: list[dict[str, Any]]) -> dict[str, Any]:
    """The finding record, as far as the elements hold it."""
    read = _read(observation, words) | {"spans": _spans(words)}
    return {name: read[name] for name in _FIELDS}


def _read(observation: Json, words: list[dict[str, Any]]) -> dict[str, Any]:
    """The same without the spans, its fields in any order."""
    parts = {part["code"]["coding"][0]["code"]: part for part in observation.get("component", ())}
    record = {**_DEFAULTS, **_where(words), **_reflex(observation), **_value(observation, parts)}
    record |= {name: _word(parts[code]) for name, code in _WORDS.items() if code in parts}
    record |= {name: value for name, value in _others(observation, parts).items() if value is not None}
    return record


def _where(words: list[dict[str, Any]]) -> dict[str, Any]:
    """Where it stands in the note."""
    alone = {part["url"]: part for part in words if "extension" not in part}
    return {
        "finding": alone.get("finding", {}).get("valueString", ""),
        "exam": alone["exam"]["valueInteger"],
        "start": alone["start"]["valueInteger"],
        "end": alone["end"]["valueInteger"],
        "quote": alone.get("quote", {}).get("valueString", ""),
        "denominator": alone.get("denominator", {}).get("valueInteger"),
        "negated": alone.get("negated", {}).get("valueBoolean", False),
    }


def _spans(words: list[dict[str, Any]]) -> list[dict[str, Any]]:
    spans = [
        {one["url"]: next(value for key, value in one.items() if key != "url") for one in part["extension"]}
        for part in words
        if part["url"] == "span"
    ]
    return [{**span, "role": _field(span["role"])} for span in spans]


def _reflex(observation: Json) -> dict[str, Any]:
    """Which reflex, on which side, and of which kind."""
    code = observation["code"]
    codings = code.get("coding", ())
    site = _field(codings[0]["code"]) if codings else code["text"].replace(" ", "_")
    kinds = [
        coding["code"]
        for category in observation["category"]
        for coding in category.get("coding", ())
        if coding["system"].endswith("/CodeSystem/observation-kind")
    ]
    return {"site": site, "side": _side(observation), "kind": kinds[0] if kinds else "stretch"}


def _side(observation: Json) -> str:
    for extension in observation.get("bodySite", {}).get("extension", ()):
        for coding in extension.get("valueCodeableConcept", {}).get("coding", ()):
            if coding["system"].endswith("/CodeSystem/side"):
                return str(coding["code"])
    return "unspecified"


def _value(observation: Json, parts: Json) -> dict[str, Any]:
    """The grade or the word, as far as it is one, and how it was written."""
    low = _number(parts.get("grade-low") or parts.get("grade-ordinal"))
    high = _number(parts.get("grade-high") or parts.get("grade-ordinal"))
    value, responds = observation.get("valueCodeableConcept", {}), "plantar-response" in parts
    word = _word(parts["descriptor"]) if "descriptor" in parts else _descriptor(value)
    return {
        "grade_low": low,
        "grade_high": high,
        "grade_basis": "number" if low is not None else "word" if word or responds else None,
        "scale": _plain(parts["scale"]["valueCodeableConcept"]) if "scale" in parts else None,
        "plus": _word(parts["plus-sign"]) if "plus-sign" in parts else "none",
        "descriptor": word,
        "as_written": value.get("text"),
    }


def _descriptor(value: Json) -> str | None:
    for coding in value.get("coding", ()):
        if coding["system"].endswith("/CodeSystem/descriptor"):
            return _field(coding["code"].removeprefix("not-"))
    return None


def _others(observation: Json, parts: Json) -> dict[str, Any]:
    """What is said under names of its own; None where it is not said."""
    absent = observation.get("dataAbsentReason", {})
    codes = {coding["code"] for coding in absent.get("coding", ())}
    notes = observation.get("note", ())
    return {
        "status": "not_tested" if codes & _NOT_TESTED else None,
        "reason": absent.get("text") or (notes[0]["text"] if notes else None),
        "response": _word(parts["plantar-response"]) if "plantar-response" in parts else None,
        "beats": _beats(parts.get("clonus-beats")),
        "sustained": _word(parts["clonus-duration"]) == "sustained" if "clonus-duration" in parts else None,
        "root": _plain(parts["nerve-root"]["valueCodeableConcept"]) if "nerve-root" in parts else None,
        "certainty": _word(parts["certainty"]) if "certainty" in parts else None,
        "position": next(
            (
                _field(_plain(extension["valueCodeableConcept"]))
                for extension in observation["extension"]
                if extension["url"] == _BODY_POSITION
            ),
            None,
        ),
    }


def _number(part: Json | None) -> float | None:
    return None if part is None else float(part["valueQuantity"]["value"])


def _beats(part: Json | None) -> str | None:
    if part is None:
        return None
    if "valueRange" in part:
        return f"{part['valueRange']['low']['value']}-{part['valueRange']['high']['value']}"
    return part.get("valueString") or str(part["valueQuantity"]["value"])


def _word(part: Json) -> str:
    """A value of the finding record: its code, else its words."""
    return _field(_plain(part["valueCodeableConcept"])).replace(" ", "_")


def _plain(concept: Json) -> str:
    codings = concept.get("coding", ())
    return str(codings[0]["code"] if codings else concept["text"])
