"""Which sections of a clinical document are read: those of an examination, by LOINC code or by title.

Takes the sections of a document in order, each with its code, its title and the section that it stands in;
gives which of them are read, and says what was passed over. Codes and titles decide; the words of a section
are looked at for one thing: whether one that is passed over speaks of reflexes, since that is said.

Source of the codes: LOINC 29545-1 as C-CDA's Physical Exam Section has it, 8705-6 and 11384-5 as LOINC names
them; 61149-1, 10210-3, 34117-2, 11506-3, 11488-4 and 34109-9 from memory of C-CDA's section and note types.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from converter.model import Diagnostic
from converter.sources.fields import Place
from converter.sources.troubles import information, warning

EXAMINATION, EVERY = "examination", "all"
"""Words of the setting: the sections named here, and all sections."""

_CODES = frozenset(
    (
        "29545-1",  # physical findings
        "8705-6",  # physical findings of the nervous system
        "11384-5",  # physical examination by organ systems
        "10210-3",  # general status
        "61149-1",  # objective
        "34117-2",  # history and physical note
        "11506-3",  # progress note
        "11488-4",  # consultation note
        "34109-9",  # note
    )
)
_TITLE = re.compile(
    r"\b(?:physical|exam|exams|examination|examinations|objective|neuro\w*|reflex|reflexes|dtrs?|h\s?&\s?p"
    r"|history\s+(?:and|&)\s+physical|progress\s+notes?|consult|consults|consultation|consultations"
    r"|musculoskeletal|extremity|extremities|limbs?|general\s+status)\b|^\W*(?:pe|o/e)\W*$",
    re.IGNORECASE,
)
_REFLEX_TALK = re.compile(
    r"\b(?:reflex(?:es|ia)?|(?:hyper|hypo|a)reflexi[ac]|dtrs?|(?:knee|ankle|biceps|triceps)\s+jerks?"
    r"|babinski|plantars|clonus|hoffmann?'?s?)\b",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Section:
    """A section of a document.

    Attributes:
        code: its LOINC code, or empty.
        title: its title, or empty.
        text: its own words, without those of sections in it.
        inside: number of the section that it stands in, or None.
        line: where it stands in the file, as far as that is known.
    """

    code: str
    title: str
    text: str
    inside: int | None = None
    line: int | None = None


def chosen(sections: Sequence[Section], wanted: Sequence[str]) -> list[bool]:
    """Of each section, whether it is read; all of them where none is of an examination.

    Args:
        sections: in the order of the document, a section before those in it.
        wanted: `examination`, `all`, further LOINC codes, and words of further titles.
    """
    if EVERY in wanted:
        return [True] * len(sections)
    found: list[bool] = []
    for section in sections:
        inherited = section.inside is not None and found[section.inside]
        found.append(inherited or _is_wanted(section, wanted))
    return found if any(found) else [True] * len(sections)


def passed_over(
    sections: Sequence[Section], read: Sequence[bool], wanted: Sequence[str], place: Place
) -> Iterator[Diagnostic]:
    """What is said of the sections that are not read, or were read for want of an examination."""
    left = [section for section, taken in zip(sections, read, strict=True) if not taken]
    if not left:
        if sections and EVERY not in wanted and not any(_is_wanted(one, wanted) for one in sections):
            yield information(
                "no-examination-section",
                "No section is an examination by its code or title, so all of them were read.",
                place.source,
                place.line,
            )
        return
    yield information("sections-passed-over", _counted(left, len(sections)), place.source, place.line)
    for section in left:
        if _REFLEX_TALK.search(section.text):
            yield warning(
                "reflexes-passed-over",
                f"A section that is no examination{_named(section)} speaks of reflexes and was passed over.",
                place.source,
                section.line or place.line,
                hint="To read it, add its code or title to sections under [notes] in plexor.toml.",
            )


def _is_wanted(section: Section, wanted: Sequence[str]) -> bool:
    """By code or title; a wording of the setting counts anywhere in a title, whatever its letter case."""
    usual = EXAMINATION in wanted and (section.code in _CODES or _TITLE.search(section.title))
    title = " ".join(section.title.casefold().split())
    return bool(usual) or any(
        name == section.code or name.casefold() in title for name in wanted if name != EXAMINATION
    )


def _counted(left: Sequence[Section], of: int) -> str:
    codes = sorted({section.code for section in left if section.code})
    named = f" (LOINC {', '.join(codes)})" if codes else ""
    return f"Passed over as no part of an examination: {len(left)} of {of} sections{named}."


def _named(section: Section) -> str:
    return f" (LOINC {section.code})" if section.code else ""
