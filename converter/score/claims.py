"""What one labelled or predicted finding claims: where, on which side, and with what value.

Takes findings as plain records, a team's own labels or ours; gives Claims that can be matched. A finding
record of ours is finer than such labels, so several of its values count as one here.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

Words = Callable[[str], str]
"""Gives the canonical word for a descriptor, e.g. `absent` for `nil`."""

_SAME_RESPONSE = {
    "not_extensor": "flexor",
    "withdrawal": "equivocal",
    "absent": "mute",
    "present": "extensor",
}
_SAME_SITE = {"elbow_unspecified": "upper_limb_all"}
_ABSENT_IS_ZERO = frozenset({"stretch", "superficial"})


@dataclass(frozen=True, slots=True)
class Value:
    """The value of a finding, as far as it is compared.

    Attributes:
        kind: `grade`, `word`, `response` or `clonus`.
        low, high: the grade, for `grade`.
        word: the canonical word or response, or `present` or `absent` for a clonus.
        denied: whether the word is denied.
        beats, sustained: for a clonus.
    """

    kind: str
    low: float | None = None
    high: float | None = None
    word: str | None = None
    denied: bool = False
    beats: str | None = None
    sustained: bool | None = None

    def meets(self, gold: "Value") -> bool:
        """Whether a prediction says what the label says; a label without beats leaves the beats open."""
        if self.kind != "clonus" or gold.kind != "clonus":
            return self == gold
        return (
            self.word == gold.word
            and gold.beats in (None, self.beats)
            and gold.sustained in (None, self.sustained)
        )

    def __str__(self) -> str:
        if self.kind == "grade":
            return f"{self.low:g}" if self.low == self.high else f"{self.low:g} to {self.high:g}"
        said = [f"not {self.word}" if self.denied else self.word or "no value"]
        said += [f"{self.beats} beats"] if self.beats else []
        said += [] if self.sustained is None else ["sustained" if self.sustained else "not sustained"]
        return ", ".join(said)


@dataclass(frozen=True, slots=True)
class Claim:
    """One finding on one side, ready to be matched.

    Attributes:
        site: the reflex or region; a primitive reflex with its name.
        side: `left`, `right` or `unspecified`.
        value: its value.
        kind: kind of reflex as the record names it.
        status: `current` unless the record says otherwise.
        quote: the words it rests on, where the record has them.
    """

    site: str
    side: str
    value: Value
    kind: str
    status: str
    quote: str


def claims_of(findings: Iterable[Mapping[str, Any]], lenient: bool, words: Words) -> list[Claim]:
    """The claims of a note's findings; `both` becomes left and right.

    Args:
        findings: records with the fields of the finding record that labels use.
        lenient: take a side that is not stated as both sides.
        words: gives canonical words.
    """
    return [
        Claim(
            site=_site(finding),
            side=side,
            value=_value(finding, words),
            kind=finding.get("kind") or "?",
            status=finding.get("status", "current"),
            quote=finding.get("quote") or "",
        )
        for finding in findings
        for side in _sides(finding.get("side"), lenient)
    ]


def _sides(side: str | None, lenient: bool) -> tuple[str, ...]:
    if side == "both" or (lenient and side == "unspecified"):
        return ("left", "right")
    return (side or "unspecified",)


def _site(finding: Mapping[str, Any]) -> str:
    site = str(finding.get("site"))
    if site != "primitive":
        return _SAME_SITE.get(site, site)
    which = finding.get("which") or str(finding.get("descriptor") or "").partition(":")[0]
    return f"primitive:{str(which).strip().lower()}"


def _value(finding: Mapping[str, Any], words: Words) -> Value:
    site, kind = str(finding.get("site") or ""), finding.get("kind", "stretch")
    if kind == "plantar" or site == "plantar":
        response = finding.get("response")
        return Value("response", word=_SAME_RESPONSE.get(response or "", response))
    descriptor = finding.get("descriptor")
    if site == "primitive":
        before, colon, after = str(descriptor or "").partition(":")
        descriptor = after if colon else before
    word = None if descriptor is None else words(str(descriptor).strip().lower())
    denied = bool(finding.get("negated"))
    if kind == "clonus" or site.endswith("clonus") or site == "clonus_unspecified":
        return _clonus(finding, absent=denied or word == "absent")
    if site == "primitive":
        return Value("word", word="absent" if denied else word or "")
    grade = _grade(finding, zero=word == "absent" and kind in _ABSENT_IS_ZERO and site != "hoffmann")
    return grade or Value("word", word=word, denied=denied and word not in ("absent", None))


def _clonus(finding: Mapping[str, Any], absent: bool) -> Value:
    beats = finding.get("beats")
    return Value(
        "clonus",
        word="absent" if absent else "present",
        beats=None if beats in (None, "") else str(beats).replace("\u2013", "-"),
        sustained=finding.get("sustained"),
    )


def _grade(finding: Mapping[str, Any], zero: bool) -> Value | None:
    """The grade, an absent reflex among them as 0; None where only a word is said."""
    low, high = finding.get("grade_low"), finding.get("grade_high")
    written = [float(end) for end in (low, high) if end is not None]
    if not written:
        return Value("grade", low=0.0, high=0.0) if zero else None
    return Value("grade", low=written[0], high=written[-1])
