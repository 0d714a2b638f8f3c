"""What one exam says in terms of the Human Phenotype Ontology: features that are present or excluded.

Takes a reading, its assessment of one exam and the vocabulary; gives Features. Present is what the rules call
abnormal without doubt and HPO has a term for; of two terms of which one includes the other, the more specific
stands. Excluded says that a term and everything below it was looked for and not found, so only leaf terms are
excluded, only where the reflex was tested and normal on both sides, and only where nothing doubtful is said
of it.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from converter.exports.hpo import BILATERAL, LATERALITY, LEFT, RIGHT, ancestors, terms
from converter.exports.normality import normal_reflexes
from converter.model import Abnormality, Assessment, Finding, Reading
from converter.words import Vocabulary

EXCLUDED_BY_REFLEX: dict[str, tuple[str, ...]] = {
    "biceps": ("HP:0033230", "HP:0033201", "HP:0033205"),
    "brachioradialis": ("HP:0033229", "HP:0033202", "HP:0033203"),
    "triceps": ("HP:0033228", "HP:0033200", "HP:0033204"),
    "patellar": ("HP:0006844", "HP:0011808", "HP:0007083"),
    "achilles": ("HP:0003438", "HP:0009072", "HP:0033206"),
    "jaw": ("HP:0012392", "HP:0033683"),
    "plantar": ("HP:0003487",),
    "plantar:chaddock": ("HP:0010875",),
    "plantar:oppenheim": ("HP:0030180",),
    "plantar:gordon": ("HP:0030181",),
    "hoffmann": ("HP:0031993",),
    "ankle_clonus": ("HP:0011448",),
    "knee_clonus": ("HP:0011449",),
    "abdominal": ("HP:0031827",),
    "cremasteric": ("HP:0031829",),
    "primitive:palmomental": ("HP:0030902",),
    "primitive:grasp": ("HP:0030903",),
    "primitive:palmar_grasp": ("HP:0030903",),
    "primitive:glabellar": ("HP:0030904",),
    "primitive:snout": ("HP:0030905",),
    "primitive:suck": ("HP:0030906",),
}
"""What a reflex that is normal on both sides excludes: leaf terms about that reflex alone. A name is that of
the reflex, or of the reflex and the variant or primitive reflex."""

_SIDE_OF_NOBODY = frozenset({"side-difference"})
"""Codes whose side is that of the weaker reflex, which need not be the abnormal one."""
_SIDES = {LEFT: frozenset({LEFT}), RIGHT: frozenset({RIGHT}), BILATERAL: frozenset({LEFT, RIGHT})}
_TOLD_APART = frozenset({"plantar", "primitive"})
"""Sites whose signs have names and leaf terms of their own."""
_BASIS_ASSUMED = "assumed"


@dataclass(frozen=True, slots=True)
class Feature:
    """One phenotypic feature.

    Attributes:
        term: HPO term.
        excluded: whether it was looked for and not found.
        modifiers: clinical modifiers, in order.
        assumed_scale: whether it rests on a grade whose scale the note does not name.
    """

    term: str
    excluded: bool = False
    modifiers: tuple[str, ...] = ()
    assumed_scale: bool = False


@dataclass(frozen=True, slots=True)
class Phenotype:
    """What one exam says.

    Attributes:
        features: present ones, then excluded ones.
        touched: every term that the exam finds present or in doubt; none of these is excluded.
        counts: what did not become a feature, and why.
    """

    features: tuple[Feature, ...]
    touched: frozenset[str]
    counts: Counter[str]


def phenotype_of(
    reading: Reading, assessment: Assessment, vocabulary: Vocabulary, *, covered: bool = False
) -> Phenotype:
    """The phenotypic features of one current exam.

    Args:
        reading: the reading that holds the exam.
        assessment: the exam's assessment.
        vocabulary: says which reflexes a region covers.
        covered: whether a reflex that only a region names counts as tested.
    """
    counts: Counter[str] = Counter()
    findings = {finding.finding: finding for finding in reading.findings}
    present = most_specific(_present(assessment.abnormalities, findings, counts), counts)
    touched = _touched(assessment.abnormalities, vocabulary) | {feature.term for feature in present}
    excluded = _excluded(reading, assessment, vocabulary, touched, covered=covered)
    return Phenotype((*present, *excluded), touched, counts)


def most_specific(features: Iterable[Feature], counts: Counter[str] | None = None) -> tuple[Feature, ...]:
    """Present features without those that another one includes; in the order of their terms.

    A feature is included in another whose term is the same or stands below its own, as far as that one's
    sides reach. What is left out is counted as `implied`.
    """
    every = sorted(
        set(features), key=lambda feature: (feature.term, feature.modifiers, feature.assumed_scale)
    )
    kept = tuple(feature for feature in every if not _implied(feature, every))
    if counts is not None:
        counts["implied"] += len(every) - len(kept)
    return kept


def _present(
    abnormalities: Iterable[Abnormality], findings: dict[str, Finding], counts: Counter[str]
) -> Iterator[Feature]:
    for one in abnormalities:
        if one.hpo is None or one.hpo not in terms():
            counts["no-term"] += 1
        elif one.certainty != "stated":
            counts["uncertain"] += 1
        else:
            modifiers = [name for name in one.modifiers if name in terms()]
            if one.code in _SIDE_OF_NOBODY:
                modifiers = [name for name in modifiers if name not in LATERALITY]
            rests_on = [findings[name] for name in one.rests_on if name in findings]
            yield Feature(one.hpo, modifiers=tuple(modifiers), assumed_scale=_assumed(rests_on))


def _implied(feature: Feature, every: Sequence[Feature]) -> bool:
    below = [other for other in every if feature.term in ancestors(other.term)]
    reached = frozenset().union(*(_sides(other) for other in below))
    if below and _sides(feature) <= reached:
        return True
    return any(_says_more(other, feature) for other in every if other.term == feature.term)


def _says_more(other: Feature, feature: Feature) -> bool:
    """Whether another feature of the same term says all that this one says, and more.

    Of two that differ only in whether the scale is assumed, the one on a stated scale stays.
    """
    mine, its = _sides(feature), _sides(other)
    pattern, its_pattern = _pattern(feature), _pattern(other)
    if not (mine <= its and pattern <= its_pattern):
        return False
    if (mine, pattern) != (its, its_pattern):
        return True
    return feature.assumed_scale and not other.assumed_scale


def _sides(feature: Feature) -> frozenset[str]:
    return frozenset().union(*(_SIDES.get(name, frozenset()) for name in feature.modifiers))


def _pattern(feature: Feature) -> frozenset[str]:
    return frozenset(feature.modifiers) - LATERALITY


def _touched(abnormalities: Iterable[Abnormality], vocabulary: Vocabulary) -> frozenset[str]:
    """The leaf terms that speak of a reflex which a rule finds abnormal, be it with doubt."""
    touched: set[str] = set()
    for one in abnormalities:
        for site in one.sites:
            term = terms().get(one.hpo or "")
            if site in _TOLD_APART and term is not None and term.leaf:
                touched.add(term.term)  # this sign alone: a snout reflex says nothing of the glabellar one
                continue
            for name in EXCLUDED_BY_REFLEX:
                if _may_be_about(site, name.partition(":")[0], vocabulary):
                    touched.update(EXCLUDED_BY_REFLEX[name])
    return frozenset(touched)


def _may_be_about(site: str, reflex: str, vocabulary: Vocabulary) -> bool:
    """Whether what is said of a site can be about a reflex; a place that is not stated can be any."""
    known, other = vocabulary.reflexes.get(site), vocabulary.reflexes.get(reflex)
    if known is None or other is None or site == reflex or reflex in known.covers:
        return True
    return site.endswith("unspecified") and known.kind == other.kind


def _excluded(
    reading: Reading,
    assessment: Assessment,
    vocabulary: Vocabulary,
    touched: frozenset[str],
    *,
    covered: bool,
) -> list[Feature]:
    of_exam = [finding for finding in reading.findings if finding.exam == assessment.exam]
    features = {}
    for name, rests_on in normal_reflexes(of_exam, vocabulary, covered=covered).items():
        for term in EXCLUDED_BY_REFLEX.get(name, ()):
            if terms()[term].leaf and term not in touched:
                features[term] = Feature(term, excluded=True, assumed_scale=_assumed(rests_on))
    return [features[term] for term in sorted(features)]


def _assumed(findings: Iterable[Finding]) -> bool:
    return any(finding.scale_basis == _BASIS_ASSUMED for finding in findings)
