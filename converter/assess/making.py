"""Makes the values that rules give: abnormalities with their code, source and HPO term, and diagnostics.

Takes what a rule found; gives an Abnormality. Keeps wording that every rule shares.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from converter.assess.exam_view import ExamView
from converter.assess.hpo import About, hpo_term, modifiers
from converter.model import Abnormality, Diagnostic, Finding, Severity

SIDE_WORDS = {
    "left": "on the left",
    "right": "on the right",
    "both": "on both sides",
    "unspecified": "(side not stated)",
}

QUOTED_EXAM = "quoted-exam"
"""Code of the diagnostic that says that an exam was not assessed, since the note quotes it from earlier."""


@dataclass(frozen=True, slots=True)
class Found:
    """What one rule found in one exam."""

    abnormalities: tuple[Abnormality, ...] = ()
    diagnostics: tuple[Diagnostic, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """An abnormality before its code's label, source and HPO term are added.

    Attributes:
        code: a code of `abnormalities.toml`.
        sites: reflexes, from the head down.
        side: `left`, `right`, `both` or `unspecified`.
        sentence: one plain sentence.
        rests_on: identifiers of findings.
        level: level, or None.
        size: grades, or None.
        certain: False where the note or the rule leaves a doubt.
        which: variant of a sign.
        region: `arms`, `legs`, `side`, `all` or None, for HPO.
        descriptor: the examiner's word, for HPO.
        hpo_level: level of every reflex of the region, for HPO, where it differs from `level`.
        pattern: HPO modifiers of the pattern.
        source: overrides the code's source.
    """

    code: str
    sites: tuple[str, ...]
    side: str
    sentence: str
    rests_on: Iterable[str]
    level: str | None = None
    size: float | None = None
    certain: bool = True
    which: str | None = None
    region: str | None = None
    descriptor: str | None = None
    hpo_level: str | None = None
    pattern: tuple[str, ...] = ()
    source: str | None = None


def abnormality(view: ExamView, draft: Draft) -> Abnormality:
    """The finished abnormality; its identifier names code, reflex, side and exam."""
    code = view.knowledge.codes[draft.code]
    about = About(
        keys=_keys(view, draft),
        side=draft.side,
        level=draft.hpo_level or draft.level,
        descriptor=draft.descriptor,
        pattern=draft.pattern,
    )
    term = hpo_term(code, about)
    place = "-".join(draft.sites) if len(draft.sites) <= 2 else f"{len(draft.sites)}-reflexes"
    parts = (draft.code, place, draft.which, draft.side, str(view.exam))
    return Abnormality(
        abnormality="-".join(part for part in parts if part),
        exam=view.exam,
        rule=code.rule,
        code=code.code,
        sites=draft.sites,
        side=draft.side,
        level=draft.level,
        size=draft.size,
        certainty="stated" if draft.certain else "uncertain",
        sentence=draft.sentence,
        rests_on=_in_order(view, set(draft.rests_on)),
        source=draft.source or code.source,
        hpo=term.term if term else None,
        hpo_label=term.label if term else None,
        modifiers=modifiers(about) if term else (),
    )


def caution(code: str, message: str, findings: Sequence[Finding] = (), hint: str | None = None) -> Diagnostic:
    """A diagnostic about the exam, spanning the findings it speaks of."""
    return Diagnostic(
        code=code,
        severity=Severity.INFORMATION,
        message=message,
        hint=hint,
        start=min((finding.start for finding in findings), default=None),
        end=max((finding.end for finding in findings), default=None),
    )


def sorted_sites(view: ExamView, sites: Iterable[str]) -> tuple[str, ...]:
    """Sites without repeats, from the head down."""
    ranks = {site: number for number, site in enumerate(view.vocabulary.reflexes)}
    return tuple(sorted(set(sites), key=lambda site: (view.order(site), ranks[site])))


def named(view: ExamView, sites: Iterable[str]) -> str:
    """`biceps, triceps and patellar reflexes`, from the head down."""
    names = [view.name(site) for site in sorted_sites(view, sites)]
    if len(names) > 1 and all(name.endswith(" reflex") for name in names):
        return listed([name.removesuffix(" reflex") for name in names]) + " reflexes"
    return listed(names)


def listed(parts: Sequence[str], last: str = "and") -> str:
    """`a, b and c`."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} {last} {parts[-1]}"


def label_and_side(view: ExamView, site: str, side: str) -> str:
    """`Patellar reflex on the left`; a reflex of the middle line has no side."""
    reflex = view.vocabulary.reflexes[site]
    return f"{reflex.label} {SIDE_WORDS[side]}" if reflex.paired else reflex.label


def side_of(sides: Iterable[str]) -> str:
    """One side word for several: `both` where left and right are among them."""
    found = set(sides)
    if {"left", "right"} <= found or "both" in found:
        return "both"
    return next((side for side in ("left", "right") if side in found), "unspecified")


def start_upper(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]


def grades(number: float) -> str:
    """`1 grade`, `2 grades`, `1.5 grades`."""
    return f"{number:g} grade" if number == 1 else f"{number:g} grades"


def _in_order(view: ExamView, identifiers: set[str]) -> tuple[str, ...]:
    """Identifiers in the order in which their findings stand in the note."""
    return tuple(finding.finding for finding in view.findings if finding.finding in identifiers)


def _keys(view: ExamView, draft: Draft) -> tuple[str, ...]:
    keys = [draft.which] if draft.which else []
    if len(draft.sites) == 1:
        keys += [draft.sites[0], f"limb:{view.limb(draft.sites[0])}"]
    if draft.region:
        keys.append(f"region:{draft.region}")
    return tuple(keys)
