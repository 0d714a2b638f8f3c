"""The audit from notes to figures.

Takes notes with their readings and assessments, as an archive gives them back; gives an Audit for a report.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from converter.audit.counting import count, patients_named
from converter.audit.facts import Read, facts_of
from converter.audit.figures import figures_for, published
from converter.audit.values import Audit, Figure, NoteFacts
from converter.words import Vocabulary

MIN_COUNT = 10
CAUTION = (
    "For records work, not a diagnosis, and not a judgement of anyone's work: figures come from what "
    "notes say, as a program read them. Confirm findings with a licensed clinician, and follow local "
    "policy."
)
_MIX = (
    "Examiners, places and months differ in the patients they see. A figure that stands out is a reason "
    "to read the notes, not a result."
)
_NAMED = (
    "This report names single notes and hides no small numbers: people can be picked out in it. It is for "
    "those who may see the notes, and is to be kept as the notes are kept."
)
_UNHIDDEN = "Small numbers are not hidden in this report: people may be picked out in it."
_UNNAMED = (
    "Some notes name no patient. Each of them counts as a patient of its own, so a number may rest on "
    "fewer people than the smallest allowed."
)
_TEXTLESS = (
    "The archive holds no text of notes. Figures that need it are left out, and notes with an examination "
    "but without reflexes cannot be told apart from others."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditOptions:
    """How to audit.

    Attributes:
        min_count: the smallest number of patients that a number may rest on; 1 hides nothing.
        name_notes: whether to list the notes behind each figure; they are named only where nothing is hidden.
        quotes: whether to show the words of the findings beside them.
        made: when the report is made, ISO 8601.
        program: name and version of the program.
    """

    min_count: int = MIN_COUNT
    name_notes: bool = False
    quotes: bool = False
    made: str = ""
    program: str = ""


def audit_notes(
    read: Iterable[Read], vocabulary: Vocabulary, options: AuditOptions, *, has_text: bool
) -> Audit:
    """Audit how the examinations in notes are documented.

    Args:
        read: notes with their current readings and assessments.
        vocabulary: the words, scales and reflexes.
        options: what to hide and to name.
        has_text: whether the notes come with their text.

    Raises:
        ValueError: notes are to be named although small numbers are to be hidden.
    """
    if options.name_notes and options.min_count > 1:
        raise ValueError("a report that names notes cannot hide small numbers")
    vocabularies: dict[str, None] = {}
    noted = _noting(read, vocabularies)
    words = options.quotes and has_text
    facts = facts_of(noted, vocabulary, has_text=has_text, words=words)
    figures = figures_for(vocabulary, has_text=has_text)
    return Audit(
        results=count(facts, figures, options.min_count, has_text),
        published=published(),
        min_count=options.min_count,
        made=options.made,
        program=options.program,
        vocabularies=tuple(vocabularies),
        has_text=has_text,
        patients_named=patients_named(facts),
        behind=_behind(facts, figures) if options.name_notes else {},
        cautions=tuple(_cautions(facts, options, has_text=has_text)),
    )


def _noting(read: Iterable[Read], vocabularies: dict[str, None]) -> Iterator[Read]:
    for one in read:
        vocabularies[one[1].vocabulary] = None
        yield one


def _behind(facts: list[NoteFacts], figures: Iterable[Figure]) -> dict[str, tuple[NoteFacts, ...]]:
    """The notes behind each share, those of all notes left out: they need no list."""
    shares = [figure for figure in figures if figure.is_share and figure.of]
    return {
        share.figure: tuple(one for one in facts if {share.figure, share.of} <= one.marks) for share in shares
    }


def _cautions(facts: list[NoteFacts], options: AuditOptions, *, has_text: bool) -> Iterator[str]:
    yield CAUTION
    yield _MIX
    if options.name_notes:
        yield _NAMED
    elif options.min_count <= 1:
        yield _UNHIDDEN
    elif not patients_named(facts):
        yield _UNNAMED
    if not has_text:
        yield _TEXTLESS
