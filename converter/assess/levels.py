"""Rule: a reflex is absent, reduced, increased or graded as clonus, by the level of its own scale or word.

The level comes from the scale's table or the word's, never from the numeral. Reflexes that may be normal
because both sides agree are said so in a diagnostic, not called abnormal.
"""

from collections.abc import Iterable, Iterator

from converter.assess.counted import Counted, counted_of
from converter.assess.exam_view import ExamView
from converter.assess.making import (
    Draft,
    Found,
    abnormality,
    caution,
    label_and_side,
    named,
    side_of,
    sorted_sites,
)
from converter.assess.strength import Strength
from converter.model import Diagnostic, Finding

_CODE = {
    "absent": "absent-reflex",
    "low": "reduced-reflex",
    "high": "increased-reflex",
    "clonus": "reflex-with-clonus",
}
_IN_WORDS = {
    "absent-reflex": "absent",
    "reduced-reflex": "reduced",
    "reinforced-reflex": "present only with reinforcement",
    "increased-reflex": "increased",
    "reflex-with-clonus": "graded as clonus",
}
_AGE_NOTE = (
    "Absent ankle reflexes are found in 23 % (95 % CI 16 to 30) of healthy people over 60 "
    "(50 studies, 9,996 adults; The meaning of distal sensory loss and absent ankle reflexes in relation "
    "to age, 2006)"
)


def levels(view: ExamView) -> Found:
    """One abnormality for each reflex and level; both sides together where they agree."""
    counted = counted_of(view)
    found = tuple(abnormality(view, _draft(view, group, counted)) for group in _groups(view, counted))
    return Found(found, tuple(_cautions(view, counted)))


def code_of(strength: Strength) -> str:
    """The code of a strength that is abnormal."""
    return "reinforced-reflex" if strength.only_reinforced else _CODE[strength.level or ""]


def _groups(view: ExamView, counted: Counted) -> list[list[Strength]]:
    """The abnormal strengths by reflex, the two sides of one code together."""
    groups: dict[tuple[str, str], list[Strength]] = {}
    helped = {place: s for place, s in counted.may_be_normal.items() if s.only_reinforced}
    for part in (counted.reduced, counted.increased, counted.one_sided, helped):
        for (site, _), strength in part.items():
            if site != "jaw" or strength.level == "low":
                groups.setdefault((site, code_of(strength)), []).append(strength)
    order = {site: number for number, site in enumerate(sorted_sites(view, (site for site, _ in groups)))}
    return [groups[key] for key in sorted(groups, key=lambda key: (order[key[0]], key[1]))]


def _draft(view: ExamView, group: list[Strength], counted: Counted) -> Draft:
    code, site = code_of(group[0]), group[0].site
    side = side_of(strength.side for strength in group)
    shared = any((site, strength.side) in counted.may_be_normal for strength in group)
    alone = any((site, strength.side) in counted.one_sided for strength in group)
    written, word = "; ".join(dict.fromkeys(strength.short for strength in group)), _IN_WORDS[code]
    shown = "" if written.lower() == word else f" ({written})"
    remark = "; the other side is not documented" if alone else ""
    words = {word for strength in group for word in strength.words}
    return Draft(
        code=code,
        sites=(site,),
        side=side,
        sentence=f"{label_and_side(view, site, side)}: {word}{shown}{remark}.",
        rests_on=(identifier for strength in group for identifier in strength.rests_on),
        level=group[0].level,
        certain=not shared and all(strength.certain for strength in group),
        descriptor=_hpo_word(group, words),
    )


def _hpo_word(group: list[Strength], words: set[str]) -> str | None:
    """The word that decides between the HPO terms for brisk and hyperactive: 3+ is conventionally brisk."""
    if words == {"hyperactive"}:
        return "hyperactive"
    return "brisk" if group[0].level == "high" and words <= {"brisk"} else None


def _cautions(view: ExamView, counted: Counted) -> Iterator[Diagnostic]:
    normal = [s for s in counted.may_be_normal.values() if s.site != "jaw" or s.level != "absent"]
    for level, word in (("low", "Low"), ("high", "Brisk"), ("absent", "Absent")):
        group = [strength for strength in normal if strength.level == level]
        if group:
            yield _may_be_normal(view, word, group)
    if view.options.absent_ankle_age_note and _absent_ankles_in_age(view, counted):
        yield caution("absent-ankle-age", _AGE_NOTE, _findings(_ankles(counted)))


def _may_be_normal(view: ExamView, word: str, group: list[Strength]) -> Diagnostic:
    sites = named(view, (strength.site for strength in group))
    unsided = any(strength.side == "unspecified" for strength in group)
    why = "no side difference is stated" if unsided else "both sides agree"
    return caution(
        "may-be-normal",
        f"{word}, but not called abnormal since {why}: {sites}",
        _findings(group),
        hint="1+ to 3+ may all be normal when the sides agree (Blumenfeld; Walker)",
    )


def _absent_ankles_in_age(view: ExamView, counted: Counted) -> bool:
    age = view.age.age
    sides = {strength.side for strength in _ankles(counted)}
    return age is not None and age > view.options.ankle_age and ("unspecified" in sides or len(sides) == 2)


def _ankles(counted: Counted) -> list[Strength]:
    return [s for (site, _), s in counted.reduced.items() if site == "achilles" and s.level == "absent"]


def _findings(group: Iterable[Strength]) -> list[Finding]:
    return [finding for strength in group for finding in strength.findings]
