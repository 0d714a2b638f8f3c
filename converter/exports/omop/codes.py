"""The codes under which a site maps findings to concepts: what was examined, and the value.

Takes a finding; gives `patellar-left`, `primitive-moro-left`, `bedside:3`, `not-extensor`. Reflexes, sides
and values are those of our FHIR code systems; a variant stands between the reflex and the side, and a grade
behind its scale, since the same numeral means different things.
"""

from collections.abc import Iterator

from converter.exports.said import Said
from converter.model import Finding
from converter.words import Vocabulary

SIDES = ("left", "right", "both")
_FIXED_VALUES = frozenset(
    {"present", "sustained", "not-sustained", "off-scale", "denied"}
    | {"flexor", "extensor", "not-extensor", "equivocal", "withdrawal", "mute", "absent"}
    | {
        f"{more}-than-{other}"
        for more in ("greater", "less")
        for other in ("other-side", "other-limb", "before")
    }
    | {"equal", "unchanged"}
)


def hyphened(text: str) -> str:
    """A name as a code, e.g. `crossed_adductor` -> `crossed-adductor`."""
    return text.replace("_", "-")


def code_of(finding: Finding) -> str:
    """What was examined, with its side where the note states it, e.g. `patellar-left`."""
    return _joined(finding, side=True)


def codes_of(finding: Finding) -> tuple[str, ...]:
    """The codes under which a map may hold a finding, the narrowest first."""
    return tuple(dict.fromkeys((_joined(finding, side=True), _joined(finding, side=False))))


def value_code(said: Said) -> str | None:
    """The value of a finding in one code, a grade behind its scale; None where it has none.

    Clonus whose beats were counted is present; the number travels by itself.
    """
    if said.scale is not None:
        return f"{said.scale}:{said.value}"
    if said.beats_low is not None:
        return "present"
    return None if said.value is None else hyphened(said.value)


def is_code(code: str, vocabulary: Vocabulary) -> bool:
    """Whether a code can be one of a finding."""
    return (
        any(code == one or code.startswith(f"{one}-") for one in _names(vocabulary)) or code == "unspecified"
    )


def is_value(value: str, vocabulary: Vocabulary) -> bool:
    """Whether a code can be one of a value."""
    scale, colon, grade = value.partition(":")
    if colon:
        known = vocabulary.scales.get(scale)
        return known is not None and all(_is_grade(end) for end in _ends(grade))
    words = {hyphened(word) for word in vocabulary.descriptors}
    qualities = {hyphened(row.meaning) for row in vocabulary.rows if row.role == "quality"}
    return value.removeprefix("not-") in words or value in words | qualities | _FIXED_VALUES


def _joined(finding: Finding, side: bool) -> str:
    root = finding.root.lower() if finding.root and finding.site == "unspecified" else None
    sided = finding.side if side and finding.side in SIDES else None
    return "-".join(hyphened(part) for part in (finding.site, finding.which, root, sided) if part)


def _names(vocabulary: Vocabulary) -> Iterator[str]:
    for site in vocabulary.reflexes:
        yield hyphened(site)


def _ends(grade: str) -> list[str]:
    """The ends of a grade or range; a minus before a number is its sign."""
    head, minus, tail = grade[1:].partition("-")
    return [grade[:1] + head, *([tail] if minus else [])]


def _is_grade(text: str) -> bool:
    try:
        return float(float(text) * 2).is_integer()
    except ValueError:
        return False
