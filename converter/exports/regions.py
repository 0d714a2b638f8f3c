"""Abnormal reflexes that only a statement about a region gives, put back together as they were said.

Takes the abnormalities of one exam; gives them with those of single reflexes joined where one statement about
a region, such as "areflexia in the legs", is all they rest on and all reflexes of the region are among them.
The term is then the region's own. Where an exception was made, or a reflex named, each keeps its own term.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from converter.model import Abnormality, Finding
from converter.words import Vocabulary
from converter.words.anatomy import HpoTerm, shipped_knowledge


def as_said(
    abnormalities: Iterable[Abnormality], findings: Mapping[str, Finding], vocabulary: Vocabulary
) -> list[Abnormality]:
    """The abnormalities, with those of single reflexes joined where one statement about a region gives them.

    Args:
        abnormalities: of one exam.
        findings: by identifier.
        vocabulary: says which reflexes a region covers.
    """
    groups: dict[tuple[object, ...], list[Abnormality]] = defaultdict(list)
    for one in abnormalities:
        single = len(one.sites) == 1
        groups[(one.code, one.side, one.level, one.certainty, one.rests_on) if single else (one,)].append(one)
    return [one for group in groups.values() for one in _joined(group, findings, vocabulary)]


def _joined(
    group: Sequence[Abnormality], findings: Mapping[str, Finding], vocabulary: Vocabulary
) -> Sequence[Abnormality]:
    first = group[0]
    rests_on = [findings[name] for name in first.rests_on if name in findings]
    regions = {finding.site for finding in rests_on}
    if len(regions) != 1 or first.code not in shipped_knowledge().codes:
        return group
    region = regions.pop()
    covers = vocabulary.reflexes[region].covers if region in vocabulary.reflexes else ()
    if not covers or {site for one in group for site in one.sites} != set(covers):
        return group
    term = _term(first, region, rests_on, vocabulary)
    if term is None:
        return group
    return [replace(first, sites=(region,), hpo=term.term, hpo_label=term.label)]


def _term(
    one: Abnormality, region: str, rests_on: Sequence[Finding], vocabulary: Vocabulary
) -> HpoTerm | None:
    """The region's own term for what is abnormal, else that of its limb, else the general one."""
    words = {finding.descriptor for finding in rests_on}
    word = words.pop() if len(words) == 1 else None
    for key in (region, f"limb:{vocabulary.reflexes[region].limb}", "*"):
        for term in shipped_knowledge().codes[one.code].hpo:
            fits = term.level in (None, one.level) and term.descriptor in (None, word)
            if term.site == key and fits:
                return term
    return None
