"""What can be asked of the archive, and what comes back: queries, patterns, found rows and counts.

Plain frozen values. Fields of several values are alternatives; different fields must all hold.
"""

from dataclasses import dataclass, field
from typing import NamedTuple, TypeAlias

from converter.archive.values import FindingKey


@dataclass(frozen=True, slots=True)
class Asymmetry:
    """In one exam the two sides of a reflex differ by at least so many grades of one scale.

    Ranges count by their nearest ends, so that the difference is certain. Grades obtained with reinforcement
    are compared only with grades obtained with it.

    Attributes:
        at_least: grades.
        site: the reflex, or None for any.
    """

    at_least: float
    site: str | None = None


@dataclass(frozen=True, slots=True)
class Sign:
    """A reflex of certain levels.

    Attributes:
        site: the reflex.
        levels: any of these: absent, low, normal, high, clonus.
    """

    site: str
    levels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Together:
    """In one exam two signs stand side by side, e.g. an absent ankle with a brisk knee.

    Attributes:
        first, second: the signs.
        same_side: whether both must be on one side.
    """

    first: Sign
    second: Sign
    same_side: bool = True


@dataclass(frozen=True, slots=True)
class Change:
    """A grade of one patient differs between two exams by at least so many grades of one scale.

    Only grades on the same scale, of the same reflex and side, both with or both without reinforcement, in
    notes dated to the day are compared. Raters differ, so a change of one grade is often noise.

    Attributes:
        at_least: grades.
        within_days: days between the two exams at most.
        site: the reflex, or None for any.
        side: left or right, or None for any.
        direction: `up`, `down` or `any`, from the earlier to the later exam.
    """

    at_least: float
    within_days: int
    site: str | None = None
    side: str | None = None
    direction: str = "any"


Pattern: TypeAlias = Asymmetry | Together | Change

ABSENT_ANKLE_BRISK_KNEE = Together(Sign("achilles", ("absent",)), Sign("patellar", ("high", "clonus")))


@dataclass(frozen=True, slots=True, kw_only=True)
class FindQuery:
    """What to look for.

    Where `sites` or `reflexes` are named, or `spread` is set, findings are seen reflex by reflex and side by
    side, and a statement about a region answers for the reflexes it covers. Otherwise each finding is one
    row, as said.

    Attributes:
        systems, notes: identity of the note; None stands for notes without a system.
        patients, authors, facilities, note_kinds: of the note.
        sites: reflexes or regions.
        sides: left, right, both, unspecified; `both` only without `sites`, since there sides are told apart.
        reflexes: pairs of a site and a side, or None for any side; with the side `both`, what the note says
            of both sides.
        kinds: stretch, plantar, clonus, superficial, primitive.
        scale: grades on this scale only.
        grade_from, grade_to: on `scale`; a range of grades matches where all of it lies inside.
        any_scale: let `grade_from` and `grade_to` stand without a scale; the numerals of different scales
            mean different things.
        levels: absent, low, normal, high, clonus, on whatever scale.
        descriptors: canonical words.
        responses: of a plantar reflex.
        statuses: current unless said otherwise; empty for all.
        certainties: stated, uncertain.
        negated: True or False, or None for both.
        date_from, date_to: ISO 8601 (partial) dates; a note matches where all that its date can mean lies
            inside. A note without a date never matches.
        abnormalities: codes of abnormalities; the findings they rest on are found.
        exact: leave out what is only covered by a statement about a region.
        spread: one row for each reflex and side, even where no site is named.
        patterns: the exam shows every one of them. Without sites or reflexes the rows are those they
            rest on.
        limit: rows at most, or None for all.
    """

    systems: tuple[str | None, ...] = ()
    notes: tuple[str, ...] = ()
    patients: tuple[str, ...] = ()
    authors: tuple[str, ...] = ()
    facilities: tuple[str, ...] = ()
    note_kinds: tuple[str, ...] = ()
    sites: tuple[str, ...] = ()
    sides: tuple[str, ...] = ()
    reflexes: tuple[tuple[str, str | None], ...] = ()
    kinds: tuple[str, ...] = ()
    scale: str | None = None
    grade_from: float | None = None
    grade_to: float | None = None
    any_scale: bool = False
    levels: tuple[str, ...] = ()
    descriptors: tuple[str, ...] = ()
    responses: tuple[str, ...] = ()
    statuses: tuple[str, ...] = ("current",)
    certainties: tuple[str, ...] = ()
    negated: bool | None = None
    date_from: str | None = None
    date_to: str | None = None
    abnormalities: tuple[str, ...] = ()
    exact: bool = False
    spread: bool = False
    patterns: tuple[Pattern, ...] = field(default=())
    limit: int | None = None


class FoundRow(NamedTuple):
    """A finding, seen from the reflex and side that were asked for.

    Attributes:
        site, side: the reflex and side; as said where the query names no site.
        basis: `direct`, or `covered` where the note speaks of a region that includes the reflex.
        said_site, said_side: what the note says.
        as_written, quote: None in an archive without quotes.
        verdict: what a person said of the finding: confirmed, corrected, added, or None.

    The other fields are those of the note and the finding.
    """

    system: str | None
    id: str
    patient: str | None
    authored: str | None
    author: str | None
    facility: str | None
    note_kind: str | None
    exam: int
    finding: str
    site: str
    side: str
    basis: str
    said_site: str
    said_side: str
    which: str | None
    root: str | None
    kind: str
    grade_low: float | None
    grade_high: float | None
    plus: str
    scale: str | None
    scale_basis: str | None
    level: str | None
    descriptor: str | None
    response: str | None
    beats: str | None
    sustained: bool | None
    reinforcement: str | None
    quality: str | None
    comparison: str | None
    negated: bool
    status: str
    certainty: str
    reason: str | None
    as_written: str | None
    start_offset: int
    end_offset: int
    quote: str | None
    verdict: str | None

    @property
    def key(self) -> FindingKey:
        """The identity of the finding, for joining with its FHIR resource."""
        return FindingKey(self.system, self.id, self.finding)


@dataclass(frozen=True, slots=True)
class CountRow:
    """A count.

    Attributes:
        group: the values of the columns that were counted by, in their order.
        rows: rows found.
        notes: notes they stand in.
        patients: known patients they are about.
    """

    group: tuple[str | int | float | None, ...]
    rows: int
    notes: int
    patients: int
