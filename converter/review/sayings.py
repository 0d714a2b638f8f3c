"""A finding in plain words, for a person who judges it against the note.

Takes a finding and the vocabulary; gives a headline and named details. A sentence for a record is made
elsewhere; here every field that a person can correct is told, and nothing is left to be guessed.
"""

from dataclasses import dataclass

from converter.model import Finding
from converter.words import Vocabulary

SIDES = {"left": "left", "right": "right", "both": "both sides", "unspecified": "side not stated"}
STATUSES = {
    "current": "found at this examination",
    "historical": "found at an earlier time",
    "hypothetical": "planned or supposed, not found",
    "not_tested": "not tested",
    "family": "of another person",
}
RESPONSES = {
    "flexor": "flexor (down)",
    "extensor": "extensor (up)",
    "not_extensor": "not extensor",
    "equivocal": "equivocal",
    "withdrawal": "withdrawal",
    "mute": "mute",
    "absent": "absent",
}
COMPARISONS = {
    "greater_than_other_side": "greater than on the other side",
    "less_than_other_side": "less than on the other side",
    "equal": "equal on both sides",
    "greater_than_before": "greater than before",
    "less_than_before": "less than before",
    "unchanged": "unchanged",
    "greater_than_other_limb": "greater than in the other limb",
    "less_than_other_limb": "less than in the other limb",
}
PLUSES = {"none": "no plus", "trailing": "plus after the number (2+)", "leading": "plus before it (+2)"}
_MORE = ("reinforcement", "manoeuvre", "position", "technique", "quality", "root")


@dataclass(frozen=True, slots=True)
class Saying:
    """A finding in words.

    Attributes:
        reflex: which reflex, with its variant.
        side: which side.
        value: what was found.
        details: further named details, each as (name, words).
    """

    reflex: str
    side: str
    value: str
    details: tuple[tuple[str, str], ...]

    @property
    def headline(self) -> str:
        """All in one line: `Achilles reflex, left: absent`."""
        return f"{self.reflex}, {self.side}: {self.value}"


def saying_of(finding: Finding, vocabulary: Vocabulary) -> Saying:
    """The finding in words."""
    return Saying(
        reflex=reflex_words(finding.site, finding.which, vocabulary),
        side=SIDES.get(finding.side, finding.side),
        value=value_words(finding),
        details=tuple(_details(finding, vocabulary)),
    )


def reflex_words(site: str, which: str | None, vocabulary: Vocabulary) -> str:
    """A reflex, with its variant where it has one, as a person would name it."""
    known = vocabulary.reflexes.get(site)
    label = known.label if known is not None else plain(site)
    return label if which is None else f"{label} ({plain(which)})"


def value_words(finding: Finding) -> str:
    """What was found, in words."""
    if finding.status == "not_tested":
        return "not tested" + (f" ({plain(finding.reason)})" if finding.reason else "")
    said = _grade(finding) or _response(finding) or _descriptor(finding) or _compared(finding)
    said = said or ("off the scale, not coded" if finding.as_written else "no value")
    return f"denied: {said}" if finding.negated and not _is_denial(finding) else said


def grade_words(low: float | None, high: float | None, plus: str = "none") -> str:
    """A grade or a range as it is written: `2+`, `1-2`."""
    if low is None or high is None:
        return ""
    number = f"{low:g}" if low == high else f"{low:g}-{high:g}"
    return {"trailing": f"{number}+", "leading": f"+{number}"}.get(plus, number)


def plain(word: str) -> str:
    """A canonical word as people write it."""
    return word.replace("_", " ").replace("-", " ")


def _grade(finding: Finding) -> str:
    return grade_words(finding.grade_low, finding.grade_high, finding.plus)


def _response(finding: Finding) -> str:
    return RESPONSES.get(finding.response, finding.response) if finding.response else ""


def _descriptor(finding: Finding) -> str:
    said = [plain(finding.descriptor)] if finding.descriptor else []
    if finding.sustained is not None:
        said.append("sustained" if finding.sustained else "not sustained")
    if finding.beats:
        said.append(f"{finding.beats} beats")
    return ", ".join(said)


def _compared(finding: Finding) -> str:
    return COMPARISONS.get(finding.comparison, plain(finding.comparison)) if finding.comparison else ""


def _is_denial(finding: Finding) -> bool:
    """Whether the value itself says that the sign was not there."""
    return finding.descriptor == "absent" or finding.response in ("not_extensor", "absent")


def _details(finding: Finding, vocabulary: Vocabulary) -> list[tuple[str, str]]:
    details = []
    if finding.status != "current":
        details.append(("Status", STATUSES.get(finding.status, plain(finding.status))))
    if finding.certainty != "stated":
        details.append(("Certainty", "the note is not sure"))
    if finding.as_written:
        details.append(("As written", finding.as_written))
    if finding.grade_low is not None:
        details.append(("Scale", _scale(finding, vocabulary)))
    if finding.level is not None:
        details.append(("Level", finding.level))
    if finding.comparison and finding.comparison != value_words(finding):
        details.append(("Compared", _compared(finding)))
    if finding.reason and finding.status != "not_tested":
        details.append(("Reason", plain(finding.reason)))
    details += [(name.capitalize(), plain(said)) for name in _MORE if (said := getattr(finding, name))]
    return details


def _scale(finding: Finding, vocabulary: Vocabulary) -> str:
    known = vocabulary.scales.get(finding.scale or "")
    title = known.title if known is not None else finding.scale or "none"
    return f"{title} (assumed)" if finding.scale_basis == "assumed" else title
