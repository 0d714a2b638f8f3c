"""A finding as a person gives it: the answers of a form, checked, as a Finding.

Takes answers by field, the finding they correct or the place they add to, and the vocabulary; gives a Finding, or
what is wrong with which answer. Nothing that was not answered is made up: a grade needs a scale, a number
stays on it, and words must stand in the note.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from converter.model import Finding, Note, Span
from converter.model.record import plain_number
from converter.review.choices import NO_VALUE, reflex_code, value_code
from converter.review.places import Place, places_of
from converter.review.sayings import COMPARISONS, PLUSES, RESPONSES, SIDES, STATUSES
from converter.words import Vocabulary

_SIGNS = frozenset({"clonus", "primitive"})
_SIGN_SITES = frozenset({"hoffmann", "crossed_adductor"})
_BEATS = re.compile(r"\d{1,3}(-\d{1,3})?")
_CANONICAL = re.compile(r"[\w .:-]{1,60}")


@dataclass(frozen=True, slots=True)
class Mistake:
    """What is wrong with one answer.

    Attributes:
        field: name of the answer.
        sentence: what to do about it.
        places: where the words stand, when a person has to choose among several places.
    """

    field: str
    sentence: str
    places: tuple[Place, ...] = ()


class MistakesError(Exception):
    """The answers cannot be used; `mistakes` says why, in the order of the form."""

    def __init__(self, mistakes: list[Mistake]) -> None:
        super().__init__("; ".join(mistake.sentence for mistake in mistakes))
        self.mistakes = mistakes


def answers_of(finding: Finding) -> dict[str, str]:
    """The answers that describe a finding as it is."""
    ranged = finding.grade_high is not None and finding.grade_high != finding.grade_low
    return {
        "reflex": reflex_code(finding),
        "side": finding.side,
        "value": value_code(finding),
        "up_to": f"grade:{finding.grade_high:g}" if ranged else "",
        "plus": finding.plus,
        "scale": finding.scale or "",
        "beats": finding.beats or "",
        "sustained": {True: "yes", False: "no", None: ""}[finding.sustained],
        "denied": "yes" if finding.negated else "",
        "comparison": finding.comparison or "",
        "status": finding.status,
        "certainty": finding.certainty,
        "reason": finding.reason or "",
        "words": finding.quote,
        "as_written": finding.as_written or "",
    }


def corrected(read: Finding, answers: Mapping[str, str], note: Note, vocabulary: Vocabulary) -> Finding:
    """The finding as the person has it.

    Its identifier, exam and everything that the form does not ask for stay as they were read.

    Args:
        read: the finding as it was read.
        answers: by the fields that `answers_of` gives; one that is missing stays as it was.
        note: its text is empty where the archive keeps none; then words cannot be changed.
        vocabulary: knows reflexes, scales and words.

    Raises:
        MistakesError: an answer cannot be used.
    """
    filled = answers_of(read) | {name: answer.strip() for name, answer in answers.items()}
    mistakes: list[Mistake] = []
    fields = _fields(filled, vocabulary, mistakes, read)
    if note.text and filled["words"].split() != read.quote.split():
        fields |= _words(filled, note, read.start, mistakes)
    if note.text:
        fields["as_written"] = _as_written(filled, fields.get("quote", read.quote), read, mistakes)
    if mistakes:
        raise MistakesError(mistakes)
    return replace(read, **fields)


def added(
    answers: Mapping[str, str], note: Note, exam: int, near: int, vocabulary: Vocabulary
) -> Finding:
    """A finding that was missed.

    Args:
        answers: by field; `words` are the words of the note that say it.
        note: the note.
        exam: number of the exam it belongs to.
        near: the place a person was looking at.
        vocabulary: knows reflexes, scales and words.

    Raises:
        MistakesError: an answer cannot be used.
    """
    filled = EMPTY | {name: answer.strip() for name, answer in answers.items()}
    mistakes: list[Mistake] = []
    words = _words(filled, note, near, mistakes)
    fields = _fields(filled, vocabulary, mistakes, None)
    fields["as_written"] = _as_written(filled, words.get("quote", ""), None, mistakes)
    if mistakes:
        raise MistakesError(mistakes)
    return Finding(finding="added", exam=exam, **(fields | words))


EMPTY = {
    "reflex": "", "side": "", "value": "", "up_to": "", "plus": "none", "scale": "", "beats": "", "sustained": "",
    "denied": "", "comparison": "", "status": "current", "certainty": "stated", "reason": "", "words": "",
    "as_written": "",
}  # fmt: skip
"""The answers of an empty form."""


def _fields(
    answers: Mapping[str, str], vocabulary: Vocabulary, mistakes: list[Mistake], read: Finding | None
) -> dict[str, Any]:
    """The fields of a finding that the answers give."""
    site, _, which = answers["reflex"].partition(":")
    kind = _kind(site, vocabulary, mistakes)
    _one_of(answers, "side", SIDES, "Choose a side; where the note names none, choose “side not stated”.", mistakes)
    _one_of(answers, "status", STATUSES, "Choose a status.", mistakes)
    _one_of(answers, "certainty", ("stated", "uncertain"), "Choose whether the note is sure.", mistakes)
    _one_of(answers, "comparison", ("", *COMPARISONS), "Choose a comparison of the list.", mistakes)
    value = _value(answers, site, kind, vocabulary, mistakes)
    if answers["status"] == "not_tested":
        value = dict(_NOTHING)
    elif read is not None and not _value_changed(read, answers):
        value = {name: getattr(read, name) for name in (*_NOTHING, "negated")} | _clonus(answers, kind, mistakes)
    elif read is not None and read.scale is not None and value.get("scale") == read.scale:
        value |= {"scale_basis": read.scale_basis, "denominator": read.denominator}
    if answers["reason"] and not _CANONICAL.fullmatch(answers["reason"]):
        mistakes.append(Mistake("reason", "Give the reason in a few plain words."))
    return {
        "site": site,
        "which": which or None,
        "side": answers["side"],
        "kind": kind,
        "root": read.root if read is not None and read.site == site else None,
        "comparison": answers["comparison"] or None,
        "status": answers["status"],
        "certainty": answers["certainty"],
        "reason": answers["reason"] or None,
        **value,
    }


_NOTHING: dict[str, Any] = {
    "grade_low": None, "grade_high": None, "grade_basis": None, "plus": "none", "denominator": None,
    "scale": None, "scale_basis": None, "level": None, "descriptor": None, "response": None, "beats": None,
    "sustained": None,
}  # fmt: skip
"""The fields that carry a value, when there is none."""


def _value_changed(read: Finding, answers: Mapping[str, str]) -> bool:
    """Whether another value, or another reflex for which it may mean something else, was answered."""
    before = answers_of(read)
    names = ("reflex", "value", "up_to", "plus", "scale", "denied")
    same_kind = before["reflex"].partition(":")[0] == answers["reflex"].partition(":")[0]
    changed = [name for name in names if before[name] != answers[name]]
    return bool(changed) and not (changed == ["reflex"] and same_kind) or read.status == "not_tested"


def _kind(site: str, vocabulary: Vocabulary, mistakes: list[Mistake]) -> str:
    known = vocabulary.reflexes.get(site)
    if known is None:
        mistakes.append(Mistake("reflex", "Choose a reflex."))
        return ""
    return known.kind


def _one_of(
    answers: Mapping[str, str], name: str, known: Any, sentence: str, mistakes: list[Mistake]
) -> None:
    if answers[name] not in known:
        mistakes.append(Mistake(name, sentence))


def _value(
    answers: Mapping[str, str], site: str, kind: str, vocabulary: Vocabulary, mistakes: list[Mistake]
) -> dict[str, Any]:
    sort, _, said = answers["value"].partition(":")
    denied = answers["denied"] == "yes"
    if answers["value"] == NO_VALUE or answers["status"] == "not_tested":
        return _NOTHING | {"negated": denied} | _clonus(answers, kind, mistakes)
    if sort == "grade" and kind in ("stretch", "superficial"):
        return _NOTHING | {"negated": denied} | _grade(answers, vocabulary, mistakes)
    if sort == "response" and kind == "plantar" and said in RESPONSES:
        return _NOTHING | {"grade_basis": "word", "negated": said == "not_extensor", "response": said}
    if sort == "word" and kind in ("clonus", "primitive") and said in ("present", "absent"):
        level = "clonus" if kind == "clonus" and said == "present" else None
        word = {"grade_basis": "word", "descriptor": said, "level": level, "negated": said == "absent"}
        return _NOTHING | word | _clonus(answers, kind, mistakes)
    if sort == "word" and kind in ("stretch", "superficial") and said in vocabulary.descriptors:
        negated = denied or (site in _SIGN_SITES and said == "absent")
        compares = "_than_" in answers["comparison"] and said != "absent"
        level = None if negated or compares else vocabulary.descriptors[said].level
        return _NOTHING | {"grade_basis": "word", "descriptor": said, "level": level, "negated": negated}
    mistakes.append(Mistake("value", "Choose a value that fits the reflex."))
    return dict(_NOTHING)


def _grade(answers: Mapping[str, str], vocabulary: Vocabulary, mistakes: list[Mistake]) -> dict[str, Any]:
    low = _number(answers["value"])
    high = _number(answers["up_to"]) if answers["up_to"] else low
    scale = vocabulary.scales.get(answers["scale"])
    if scale is None:
        mistakes.append(Mistake("scale", "A grade needs a scale: choose the one that the examiner used."))
    elif low is None or high is None or low > high:
        mistakes.append(Mistake("up_to", "The upper end of the range must not lie below the lower end."))
    elif not (scale.holds(low) and scale.holds(high)):
        mistakes.append(Mistake("value", f"This grade does not exist on the scale: {scale.title}."))
    if answers["plus"] not in PLUSES:
        mistakes.append(Mistake("plus", "Say whether a plus was written."))
    if mistakes or scale is None or low is None or high is None:
        return {}
    return {
        "grade_low": plain_number(low),
        "grade_high": plain_number(high),
        "grade_basis": "number",
        "plus": answers["plus"],
        "scale": scale.scale,
        "scale_basis": "assumed",
        "level": scale.level(low, high),
    }


def _clonus(answers: Mapping[str, str], kind: str, mistakes: list[Mistake]) -> dict[str, Any]:
    if kind != "clonus" and not (answers["beats"] or answers["sustained"]):
        return {}
    if answers["beats"] and not _BEATS.fullmatch(answers["beats"]):
        mistakes.append(Mistake("beats", "Give the beats as a number or a range, such as 3 or 4-5."))
    return {
        "beats": answers["beats"] or None,
        "sustained": {"yes": True, "no": False}.get(answers["sustained"]),
    }


def _number(code: str) -> float | None:
    try:
        return float(code.removeprefix("grade:"))
    except ValueError:
        return None


def _words(
    answers: Mapping[str, str], note: Note, near: int, mistakes: list[Mistake]
) -> dict[str, Any]:
    """The place that the words of the note were given for."""
    if not note.text:
        mistakes.append(Mistake("words", "The archive keeps no text, so no words can be pointed at."))
        return {}
    found = places_of(note.text, answers["words"], near)
    chosen = [place for place in found if str(place.start) == answers.get("place")]
    if not found:
        sentence = "Give the words of the note that say this, exactly as they stand there."
        mistakes.append(Mistake("words", sentence))
        return {}
    if len(found) > 1 and not chosen:
        mistakes.append(
            Mistake("words", f"These words stand {len(found)} times in the note: choose a place.", tuple(found))
        )
        return {}
    place = chosen[0] if chosen else found[0]
    span = Span(place.start, place.end, "value")
    return {"spans": (span,), "start": place.start, "end": place.end, "quote": place.words}


def _as_written(
    answers: Mapping[str, str], quote: str, read: Finding | None, mistakes: list[Mistake]
) -> str | None:
    said = answers["as_written"]
    if read is not None and said == (read.as_written or "") and quote == read.quote:
        return read.as_written
    if said and quote and " ".join(said.split()) not in " ".join(quote.split()):
        mistakes.append(Mistake("as_written", "The value as written must stand within the words above."))
    return said or None
