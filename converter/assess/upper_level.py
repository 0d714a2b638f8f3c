"""At or above which level increased reflexes point.

Said only where something beside brisk reflexes speaks for it: a companion sign, a sure side difference,
reduced reflexes above, a brisk jaw or pectoral reflex. Symmetric increase alone is also found in states
without any lesion of the way from the brain (JNNP 2020;91(3):278; serotonin toxicity), so it names no
level.
"""

from collections.abc import Iterator, Mapping

from converter.assess.counted import HIGH, Counted, counted_of
from converter.assess.exam_view import SIDES, ExamView, Place
from converter.assess.level_pattern import turns_of
from converter.assess.making import Draft, Found, abnormality, listed, named, side_of, sorted_sites
from converter.assess.segments import name_of, number_of
from converter.assess.strength import Strength
from converter.model.candidates import LevelCandidate


def upper_levels(view: ExamView) -> Found:
    """One abnormality for each level candidate; uncertain by nature."""
    return Found(tuple(abnormality(view, _draft(view, found)) for found in level_candidates(view)))


def level_candidates(view: ExamView) -> tuple[LevelCandidate, ...]:
    """Candidates for the level, the highest first; none where the age rule holds."""
    if view.age.holds:
        return ()
    counted = counted_of(view)
    found = [*_by_published_figures(view), *_by_segments(view, counted)]
    return tuple(sorted(found, key=lambda c: (number_of(c.at_or_above), c.side)))


def _by_published_figures(view: ExamView) -> Iterator[LevelCandidate]:
    """A brisk jaw or pectoral reflex, both of which are normally absent or slight."""
    for site, known in view.knowledge.reflexes.items():
        brisk = [s for side in SIDES if (s := view.strengths.get((site, side))) and s.level in HIGH]
        if known.above is not None and brisk:
            yield _published(view, brisk)


def _published(view: ExamView, strengths: list[Strength]) -> LevelCandidate:
    above = view.knowledge.reflexes[strengths[0].site].above
    assert above is not None
    return LevelCandidate(
        exam=view.exam,
        side=side_of(strength.side for strength in strengths),
        sites=(strengths[0].site,),
        at_or_above=above.segment,
        figures=above.figures,
        ceiling=view.knowledge.ceilings["cord"].text,
        source=above.source,
        rests_on=tuple(identifier for strength in strengths for identifier in strength.rests_on),
    )


def _by_segments(view: ExamView, counted: Counted) -> Iterator[LevelCandidate]:
    increased = {
        place: strength
        for place, strength in counted.increased.items()
        if view.limb(place[0]) in ("upper", "lower") and place[0] in view.knowledge.reflexes
    }
    reduced_at = _reduced_segments(view, counted)
    if not increased or not (counted.companions or reduced_at or _asymmetric(view, increased)):
        return
    signs = [sign.finding.finding for sign in counted.companions]
    yield LevelCandidate(
        exam=view.exam,
        side=side_of(side for _, side in increased),
        sites=sorted_sites(view, (site for site, _ in increased)),
        at_or_above=name_of(min(_highest_root(view, site) for site, _ in increased)),
        spared_to=_spared_to(view),
        reduced_at=reduced_at,
        ceiling=view.knowledge.ceilings["cord"].text,
        source=view.knowledge.ceilings["cord"].source,
        rests_on=(*(i for s in increased.values() for i in s.rests_on), *signs),
    )


def _asymmetric(view: ExamView, increased: Mapping[Place, Strength]) -> bool:
    return any(c.outcome == "sure" for site, _ in increased if (c := view.compared.get(site)) is not None)


def _reduced_segments(view: ExamView, counted: Counted) -> tuple[str, ...]:
    """Roots of the reflexes that are reduced above the increased ones, highest first."""
    turns = [t for t in turns_of(view, counted).values() if t.code == "reduced-above-increased"]
    roots = {
        root.root for turn in turns for site, _ in turn.upper for root in view.knowledge.reflexes[site].roots
    }
    return tuple(sorted(roots, key=number_of))


def _highest_root(view: ExamView, site: str) -> int:
    return min(number_of(root.root) for root in view.knowledge.reflexes[site].roots)


def _spared_to(view: ExamView) -> str | None:
    """The segment below the lowest arm reflex, where arm reflexes are documented and all are normal."""
    known = view.knowledge.reflexes
    arms = [s for (site, _), s in view.strengths.items() if view.limb(site) == "upper" and site in known]
    if not arms or any(strength.level != "normal" for strength in arms):
        return None
    lowest = max(number_of(root.root) for s in arms for root in view.knowledge.reflexes[s.site].roots)
    return name_of(lowest + 1)


def _draft(view: ExamView, found: LevelCandidate) -> Draft:
    where = f"{found.at_or_above} or above, up to the brain"
    reasons = []
    if found.reduced_at:
        reasons.append(f"reflexes of {listed(found.reduced_at)} are reduced above them")
    if found.spared_to:
        reasons.append(
            f"normal arm reflexes fit a level from {found.spared_to} to {found.at_or_above} "
            "but do not rule out a higher one"
        )
    if found.figures:
        reasons.append(found.figures)
    because = f" ({'; '.join(reasons)})" if reasons else ""
    return Draft(
        code="at-or-above-level",
        sites=found.sites,
        side=found.side,
        sentence=f"Candidate level for the increased {named(view, found.sites)}: {where}{because}. "
        f"Ceiling: {found.ceiling}.",
        rests_on=found.rests_on,
        certain=False,
        source=found.source,
    )
