"""Candidates for the place that reflex findings point to: never an answer, always several or none."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A single root or nerve that serves every reduced reflex of a limb.

    Attributes:
        kind: `root` or `nerve`.
        name: e.g. `C7`, `radial`.
        rank: 1 for the best; equal ranks are equally good.
        explains: each reduced reflex with the candidate's part: `primary`, `contributing` or `supply`.
        also_serves: preserved reflexes to which it contributes, which speak against it without ruling it out.
        sources: short names of the references, `M` from memory.
    """

    kind: str
    name: str
    rank: int
    explains: tuple[tuple[str, str], ...]
    also_serves: tuple[str, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CandidateSet:
    """What would explain the reduced reflexes of one limb.

    Attributes:
        exam: number of the exam.
        limb: `upper` or `lower`.
        side: `left`, `right` or `unspecified`.
        reduced: the reduced reflexes.
        preserved: the reflexes of that limb that are normal or increased.
        candidates: best first; empty where no single root or nerve serves all.
        disagreements: where references differ about these reflexes.
        ceiling: how well reflexes alone tell the place, as published.
        rests_on: identifiers of findings.
    """

    exam: int
    limb: str
    side: str
    reduced: tuple[str, ...]
    preserved: tuple[str, ...]
    candidates: tuple[Candidate, ...]
    disagreements: tuple[str, ...]
    ceiling: str
    rests_on: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelCandidate:
    """The level at or above which increased reflexes point.

    Attributes:
        exam: number of the exam.
        side: side of the increased reflexes.
        sites: the increased reflexes.
        at_or_above: the lowest segment that fits, e.g. `L2`, or `pons`.
        spared_to: the first segment below preserved arm reflexes, e.g. `T1`, or None.
        reduced_at: segments of reduced reflexes above the increased ones, e.g. `C5`, `C6`.
        figures: published figures, or None.
        certain: False, always: a candidate is never sure.
        ceiling: how well reflexes alone tell the place, as published.
        source: where the inference comes from.
        rests_on: identifiers of findings.
    """

    exam: int
    side: str
    sites: tuple[str, ...]
    at_or_above: str
    spared_to: str | None = None
    reduced_at: tuple[str, ...] = ()
    figures: str | None = None
    certain: bool = False
    ceiling: str
    source: str
    rests_on: tuple[str, ...]
