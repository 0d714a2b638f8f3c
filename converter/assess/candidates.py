"""Which single roots and nerves would explain the reduced reflexes of a limb.

Takes an ExamView; gives candidates that serve every reduced reflex of the limb and are not the primary root,
or the nerve, of a preserved one. Never one answer where several fit. Says where references differ, and the
published ceiling of localising by reflexes alone.
"""

from collections.abc import Iterable, Mapping, Sequence

from converter.assess.counted import LOW, Counted, counted_of
from converter.assess.exam_view import ExamView, Place
from converter.assess.making import Draft, Found, abnormality, listed, named, side_of, sorted_sites
from converter.assess.segments import number_of
from converter.assess.strength import Strength
from converter.model.candidates import Candidate, CandidateSet
from converter.words.anatomy import ReflexAnatomy, Root

_LIMB_WORDS = {"upper": "arm", "lower": "leg"}
_CEILING = {"upper": "cord", "lower": "lumbar"}
_MANY = 3
"""Limbs with reduced reflexes from which no single root or nerve is looked for."""


def root_and_nerve_candidates(view: ExamView) -> Found:
    """One abnormality for each limb with candidates, both sides together where alike; uncertain by nature."""
    alike: dict[tuple[object, ...], list[CandidateSet]] = {}
    for found in candidate_sets(view):
        if found.candidates:
            alike.setdefault((found.limb, found.reduced, found.candidates), []).append(found)
    return Found(tuple(abnormality(view, _draft(view, sets)) for sets in alike.values()))


def candidate_sets(view: ExamView) -> tuple[CandidateSet, ...]:
    """Candidates for each limb that has reduced reflexes.

    None where three limbs or more have them, or arm and leg of one side: nothing single serves those.
    """
    by_limb = _reduced_by_limb(view, counted_of(view))
    if _widespread(by_limb) or any(_both_limbs(key, places) for key, places in by_limb.items()):
        return ()
    return tuple(_set(view, limb, side, places) for (limb, side), places in sorted(by_limb.items()))


def _widespread(by_limb: Mapping[tuple[str, str], object]) -> bool:
    kinds, sides = {kind for kind, _ in by_limb}, {side for _, side in by_limb}
    return len(by_limb) >= _MANY or (len(kinds) == 2 and len(sides) == 1)


def _reduced_by_limb(view: ExamView, counted: Counted) -> dict[tuple[str, str], dict[Place, Strength]]:
    lone = {place: strength for place, strength in counted.one_sided.items() if strength.level in LOW}
    by_limb: dict[tuple[str, str], dict[Place, Strength]] = {}
    for place, strength in {**counted.reduced, **lone}.items():
        limb = view.limb(place[0])
        if limb in _LIMB_WORDS and place[0] in view.knowledge.reflexes:
            by_limb.setdefault((limb, place[1]), {})[place] = strength
    return by_limb


def _both_limbs(key: tuple[str, str], places: Mapping[Place, Strength]) -> bool:
    """A region without a side speaks of both limbs: nothing single is looked for."""
    return key[1] == "unspecified" and any(strength.region for strength in places.values())


def _set(view: ExamView, limb: str, side: str, places: Mapping[Place, Strength]) -> CandidateSet:
    reduced = sorted_sites(view, (site for site, _ in places))
    preserved = sorted_sites(
        view,
        (
            site
            for (site, each), strength in view.strengths.items()
            if each == side
            and view.limb(site) == limb
            and site in view.knowledge.reflexes
            and strength.level in ("normal", "high", "clonus")
        ),
    )
    anatomy = view.knowledge.reflexes
    served = [anatomy[site] for site in reduced]
    spared = [anatomy[site] for site in preserved]
    return CandidateSet(
        exam=view.exam,
        limb=limb,
        side=side,
        reduced=reduced,
        preserved=preserved,
        candidates=(*_ranked(_roots(served, spared)), *_ranked(_nerves(served, spared))),
        disagreements=tuple(f"{view.name(r.site)}: {r.disagreement}" for r in served if r.disagreement),
        ceiling=view.knowledge.ceilings[_CEILING[limb]].text,
        rests_on=tuple(identifier for strength in places.values() for identifier in strength.rests_on),
    )


def _roots(served: Sequence[ReflexAnatomy], spared: Sequence[ReflexAnatomy]) -> Iterable[Candidate]:
    parts = [{root.root: root for root in reflex.roots} for reflex in served]
    shared = set.intersection(*(set(part) for part in parts)) if parts else set()
    for name in sorted(shared, key=number_of):
        preserved = {
            reflex.site: root.part for reflex in spared for root in reflex.roots if root.root == name
        }
        if "primary" in preserved.values():
            continue
        if len(served) > 1 and not any(
            _well_named(each, part[name]) for each, part in zip(served, parts, strict=True)
        ):
            continue
        yield Candidate(
            kind="root",
            name=name,
            rank=0,
            explains=tuple(
                (reflex.site, part[name].part) for reflex, part in zip(served, parts, strict=True)
            ),
            also_serves=tuple(preserved),
            sources=tuple(sorted({source for part in parts for source in part[name].sources})),
        )


def _well_named(reflex: ReflexAnatomy, root: Root) -> bool:
    """The root is primary, or named by a third of the references or more.

    A root that few references name may explain one reflex, but does not tie several together.
    """
    references = {source for each in reflex.roots for source in each.sources}
    return root.part == "primary" or len(root.sources) * 3 >= len(references)


def _nerves(served: Sequence[ReflexAnatomy], spared: Sequence[ReflexAnatomy]) -> Iterable[Candidate]:
    supplies = [{nerve.nerve: nerve for nerve in reflex.nerves} for reflex in served]
    shared = set.intersection(*(set(supply) for supply in supplies)) if supplies else set()
    blocked = {nerve.nerve for reflex in spared for nerve in reflex.nerves}
    nearest_first = [nerve.nerve for nerve in served[0].nerves] if served else []
    for name in (nerve for nerve in nearest_first if nerve in shared - blocked):
        yield Candidate(
            kind="nerve",
            name=name,
            rank=0,
            explains=tuple((reflex.site, "supply") for reflex in served),
            also_serves=(),
            sources=tuple(sorted({source for supply in supplies for source in supply[name].sources})),
        )


def _ranked(candidates: Iterable[Candidate]) -> tuple[Candidate, ...]:
    """Best first: primary for more reflexes, then serving fewer preserved ones; equals share a rank."""
    ordered = sorted(candidates, key=_merit)
    merits = sorted({_merit(candidate) for candidate in ordered})
    return tuple(
        Candidate(
            kind=c.kind,
            name=c.name,
            rank=merits.index(_merit(c)) + 1,
            explains=c.explains,
            also_serves=c.also_serves,
            sources=c.sources,
        )
        for c in ordered
    )


def _merit(candidate: Candidate) -> tuple[int, int]:
    return (
        -sum(part == "primary" for _, part in candidate.explains),
        len(candidate.also_serves),
    )


def _draft(view: ExamView, sets: Sequence[CandidateSet]) -> Draft:
    found, side = sets[0], side_of(each.side for each in sets)
    limb = _LIMB_WORDS[found.limb]
    where = {"unspecified": f"a {limb} (side not stated)", "both": f"each {limb}"}.get(
        side, f"the {side} {limb}"
    )
    roots = [_in_words(view, c) for c in found.candidates if c.kind == "root"]
    nerves = [c.name for c in found.candidates if c.kind == "nerve"]
    kinds = [f"root {listed(roots, 'or')}"] if roots else []
    kinds += [f"nerve {listed(nerves, 'or')}"] if nerves else []
    one_side = " A single root or nerve explains one side only." if side == "both" else ""
    differ = f" References differ: {'; '.join(found.disagreements)}." if found.disagreements else ""
    return Draft(
        code="root-or-nerve-candidates",
        sites=found.reduced,
        side=side,
        sentence=f"Candidates that would explain the reduced {named(view, found.reduced)} of {where}: "
        f"{'; '.join(kinds)}.{one_side}{differ} Ceiling: {found.ceiling}.",
        rests_on=(identifier for each in sets for identifier in each.rests_on),
        certain=False,
    )


def _in_words(view: ExamView, candidate: Candidate) -> str:
    parts = {part for _, part in candidate.explains}
    part = next(iter(parts)) if len(parts) == 1 else "primary for some, contributing to others"
    spared = named(view, candidate.also_serves)
    against = f", though it also serves the preserved {spared}" if spared else ""
    return f"{candidate.name} ({part}{against})"
