"""One exam as the rules see it: what was found of each reflex on each side, and the signs.

Takes the findings of one exam, its note and the vocabulary; gives an ExamView that every rule reads. Only
current, tested findings of the patient count. Facts that several rules need (side differences, which low and
high reflexes count) are worked out here once, so that leaving a rule out changes no other rule.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from converter.assess.age import AgeRule, age_rule
from converter.assess.options import AssessOptions
from converter.assess.signs import Sign, signs_of
from converter.assess.strength import Compared, Strength, compare, merge, mixes_plus
from converter.model import Diagnostic, Finding, Note, Severity
from converter.words import Vocabulary, expand
from converter.words.anatomy import Knowledge, shipped_knowledge

Place = tuple[str, str]
"""A reflex and a side."""

SIDES = ("left", "right", "unspecified")
OTHER = {"left": "right", "right": "left"}
SIGN_SITES = frozenset({"hoffmann", "crossed_adductor"})
UNEQUAL = frozenset({"greater_than_other_side", "less_than_other_side"})


@dataclass(frozen=True, slots=True)
class ExamView:
    """Everything the rules read.

    Attributes:
        exam: number of the exam.
        note: the note it stands in.
        vocabulary: words, scales and reflexes.
        knowledge: anatomy, codes and tables.
        options: the settings.
        findings: current, tested findings, in order of place.
        strengths: by reflex and side.
        compared: left against right, by reflex with a value on both sides.
        signs: signs that are present or absent.
        mixed: scales on which the exam mixes `n` and `n+`.
        age: the age rule.
        diagnostics: what is doubtful about the values themselves.
    """

    exam: int
    note: Note
    vocabulary: Vocabulary
    knowledge: Knowledge
    options: AssessOptions
    findings: tuple[Finding, ...]
    strengths: Mapping[Place, Strength]
    compared: Mapping[str, Compared]
    signs: tuple[Sign, ...]
    mixed: frozenset[str]
    age: AgeRule
    diagnostics: tuple[Diagnostic, ...]

    def limb(self, site: str) -> str | None:
        """The limb of a reflex."""
        return self.vocabulary.reflexes[site].limb

    def order(self, site: str) -> int:
        """Place of a reflex on the way from the brain down; unknown ones last."""
        known = self.knowledge.reflexes.get(site)
        return known.order if known else 99

    def name(self, site: str) -> str:
        """How a person would name a reflex, in the middle of a sentence."""
        if site == "unspecified":
            return "reflex whose place is not stated"
        label = self.vocabulary.reflexes[site].label
        return label if label.startswith(("Achilles", "Hoffmann")) else label[0].lower() + label[1:]


def view_of(
    exam: int, findings: Iterable[Finding], note: Note, vocabulary: Vocabulary, options: AssessOptions
) -> ExamView:
    """The view of one exam, from all findings of the note."""
    known, unknown = _by_known_site(findings, exam, vocabulary)
    of_exam = sorted(known, key=lambda f: (f.start, f.end, f.finding))
    current = tuple(f for f in of_exam if f.status == "current")
    without_value = tuple(f for f in of_exam if says_nothing(f))
    knowledge = shipped_knowledge()
    mixed = mixes_plus(f for f in current if gives_strength(f))
    strengths, diagnostics = _strengths(current, without_value, vocabulary)
    return ExamView(
        exam=exam,
        note=note,
        vocabulary=vocabulary,
        knowledge=knowledge,
        options=options,
        findings=current,
        strengths=MappingProxyType(strengths),
        compared=MappingProxyType(_compared(strengths, mixed, knowledge, options)),
        signs=signs_of(current, options),
        mixed=mixed,
        age=age_rule(note, current, options.infant_age),
        diagnostics=(*unknown, *diagnostics),
    )


def _by_known_site(
    findings: Iterable[Finding], exam: int, vocabulary: Vocabulary
) -> tuple[list[Finding], list[Diagnostic]]:
    """The exam's findings about reflexes that the vocabulary has, and a diagnostic for each of the others."""
    of_exam = [finding for finding in findings if finding.exam == exam]
    unknown = [
        Diagnostic(
            code="unknown-site",
            severity=Severity.WARNING,
            message=f"The vocabulary has no reflex called {finding.site}; the finding was not assessed",
            start=finding.start,
            end=finding.end,
        )
        for finding in sorted(of_exam, key=lambda f: (f.start, f.end, f.finding))
        if finding.site not in vocabulary.reflexes
    ]
    return [finding for finding in of_exam if finding.site in vocabulary.reflexes], unknown


def says_nothing(finding: Finding) -> bool:
    """Whether a finding only says that a reflex was not tested, or excepts it without a value."""
    return finding.status == "not_tested" or (finding.status == "current" and finding.reason == "excepted")


def only_compares(finding: Finding) -> bool:
    """Whether a finding says only that a reflex differs from another: "brisker on the left" is not brisk.

    A number, or the word absent, says how strong the reflex is even where it is compared.
    """
    if finding.comparison is None or finding.grade_low is not None or finding.descriptor == "absent":
        return False
    return finding.descriptor is None or finding.comparison.startswith(("greater", "less"))


def gives_strength(finding: Finding) -> bool:
    """Whether a finding says how strong a stretch reflex is; one that only compares does not."""
    if finding.kind != "stretch" or finding.negated or finding.site in SIGN_SITES:
        return False
    if only_compares(finding):
        return False
    helped = finding.reinforcement == "only_with" and finding.descriptor == "present"
    return finding.level is not None or finding.grade_low is not None or helped


def _strengths(
    current: tuple[Finding, ...], without_value: tuple[Finding, ...], vocabulary: Vocabulary
) -> tuple[dict[Place, Strength], list[Diagnostic]]:
    by_place: dict[Place, list[Finding]] = defaultdict(list)
    direct: set[Place] = set()
    excepted = _excepted(without_value, vocabulary)
    for row in expand((f for f in current if gives_strength(f)), vocabulary):
        place = (row.site, row.side)
        if vocabulary.reflexes[row.site].covers:
            continue
        if row.basis == "covered" and excepted.get(place, 99) < _breadth(row.finding, vocabulary):
            continue
        by_place[place].append(row.finding)
        if row.basis == "direct":
            direct.add(place)
    strengths, diagnostics = {}, []
    for place in sorted(by_place, key=lambda p: (_site_order(vocabulary)[p[0]], SIDES.index(p[1]))):
        strength, disagree = merge(*place, by_place[place], vocabulary, region=place not in direct)
        strengths[place] = strength
        if disagree:
            diagnostics.append(_disagreement(strength, vocabulary))
    return strengths, diagnostics


def _excepted(without_value: tuple[Finding, ...], vocabulary: Vocabulary) -> dict[Place, int]:
    """Reflexes that the note takes out of a wider statement, with the breadth of their own."""
    places: dict[Place, int] = {}
    for row in expand(without_value, vocabulary):
        if not vocabulary.reflexes[row.site].covers:
            breadth = _breadth(row.finding, vocabulary)
            for side in (row.side,) if row.side != "unspecified" else SIDES:
                places[row.site, side] = min(breadth, places.get((row.site, side), breadth))
    return places


def _breadth(finding: Finding, vocabulary: Vocabulary) -> int:
    return len(vocabulary.reflexes[finding.site].covers) or 1


def _site_order(vocabulary: Vocabulary) -> dict[str, int]:
    return {site: number for number, site in enumerate(vocabulary.reflexes)}


def _disagreement(strength: Strength, vocabulary: Vocabulary) -> Diagnostic:
    first, last = strength.findings[0], strength.findings[-1]
    label = vocabulary.reflexes[strength.site].label
    side = "side not stated" if strength.side == "unspecified" else strength.side
    used = f"only {strength.level} is used" if strength.level else "none of them is used as its level"
    return Diagnostic(
        code="conflicting-values",
        severity=Severity.WARNING,
        message=f"{label} ({side}): the exam gives values that do not agree ({strength.written}); {used}",
        start=min(first.start, last.start),
        end=max(finding.end for finding in strength.findings),
    )


def _compared(
    strengths: Mapping[Place, Strength], mixed: frozenset[str], knowledge: Knowledge, options: AssessOptions
) -> dict[str, Compared]:
    pairs = {
        site: (left, strengths[site, "right"])
        for (site, side), left in strengths.items()
        if side == "left" and (site, "right") in strengths
    }
    return {
        site: Compared("same", why="one-value")
        if left.rests_on == right.rests_on  # one value for both sides says of no difference between them
        else compare(left, right, mixed, knowledge.comparison, options.side_difference)
        for site, (left, right) in pairs.items()
    }
