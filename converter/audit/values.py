"""The values of an audit: what a figure is, what one note adds to it, and what was counted.

Frozen values without behaviour of their own; counting is in `counting`, hiding small numbers in `protection`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

DIMENSIONS = {
    "examiner": "Examiner",
    "facility": "Facility",
    "note_type": "Note type",
    "month": "Month",
}
"""What notes are grouped by, and what people call it."""

NOT_STATED = "not stated"
"""The group of the notes that do not say."""

YES = "yes"
"""The one category of a figure that is a share."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One figure of the audit.

    Attributes:
        figure: identifier, e.g. `side-unstated`.
        topic: the heading it stands under.
        title: what is counted.
        meaning: exactly what counts.
        of: the figure that is the denominator of a share; None for all notes, and for a distribution over
            notes the figure whose notes are told apart.
        unit: what is counted: `notes` or `grades`.
        categories: identifier and label of each category; a share has the one category `yes`.
        text: whether it can be counted only from the text of the notes.
    """

    figure: str
    topic: str
    title: str
    meaning: str
    of: str | None = None
    unit: str = "notes"
    categories: Mapping[str, str] = field(default_factory=lambda: {YES: "yes"})
    text: bool = False

    @property
    def is_share(self) -> bool:
        """Whether it counts one thing out of a denominator, and does not tell several apart."""
        return YES in self.categories


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteFacts:
    """What one note adds to the audit.

    Attributes:
        system, id: identity of the note.
        patient: the source's patient identifier, or None.
        groups: the group in each dimension, in the order of `DIMENSIONS`.
        authored: the time as the source gave it, or None.
        marks: the shares that the note counts in.
        spreads: (figure, category, how often) of the distributions.
        wording: fingerprint of the reflex wording, or None where it is too short or there is none.
        other_exam: fingerprint of the other parts of the examination, or None where there is none.
        words: the words of its findings, where a report is to show them.
    """

    system: str | None
    id: str
    patient: str | None
    groups: tuple[str, ...]
    authored: str | None
    marks: frozenset[str]
    spreads: tuple[tuple[str, str, int], ...] = ()
    wording: str | None = None
    other_exam: str | None = None
    words: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A figure in one group.

    Attributes:
        dimension: a name of `DIMENSIONS`, or `all`.
        group: the group; `all` for all notes.
        counts: how many, by category; None where the number is hidden or cannot be counted.
        of: the denominator; None where it is hidden or cannot be counted.
    """

    dimension: str
    group: str
    counts: Mapping[str, int | None]
    of: int | None

    def share(self, category: str = YES) -> float | None:
        """The share of a category, 0 to 1, or None where it is not known."""
        count = self.counts.get(category)
        return count / self.of if count is not None and self.of else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """A figure as counted.

    Attributes:
        figure: what it counts.
        counted: whether the archive holds what it needs.
        rows: all notes first, then group by group in the order of the dimensions.
    """

    figure: Figure
    counted: bool
    rows: tuple[Row, ...] = ()

    def total(self) -> Row | None:
        """The row of all notes."""
        return self.rows[0] if self.rows else None

    def of_dimension(self, dimension: str) -> tuple[Row, ...]:
        """The rows of one dimension."""
        return tuple(row for row in self.rows if row.dimension == dimension)


@dataclass(frozen=True, slots=True, kw_only=True)
class Published:
    """A figure from the literature, in our own words."""

    beside: tuple[str, ...]
    text: str
    source: str
    checked: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Audit:
    """Everything that a report shows.

    Attributes:
        results: the figures, in the order of the report.
        published: figures from the literature.
        min_count: the smallest number of patients that a number may rest on.
        made: when the report was made, ISO 8601.
        program: name and version of the program.
        vocabularies: fingerprints of the vocabularies that read the notes.
        has_text: whether the archive holds the text of the notes.
        patients_named: whether every note names its patient; where not, each such note counts as a patient.
        behind: the notes behind each figure, where that was asked for.
        cautions: what every report carries.
    """

    results: tuple[Result, ...]
    published: tuple[Published, ...]
    min_count: int
    made: str
    program: str
    vocabularies: tuple[str, ...]
    has_text: bool
    patients_named: bool
    behind: Mapping[str, tuple[NoteFacts, ...]]
    cautions: tuple[str, ...]
