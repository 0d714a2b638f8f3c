"""A small invented archive whose figures a person counted from the notes, and helpers to audit notes."""

import hashlib
from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any

from converter.api import Session, assess, open_session, read_notes
from converter.audit import Audit, AuditOptions, Result, audit_notes
from converter.model import Assessment, Note, Reading

Read = tuple[Note, Reading, tuple[Assessment, ...]]

FULL = (
    "Reflexes: biceps 2+ both sides, brachioradialis 2+ both sides, triceps 2+ both sides, knee jerks 2+ "
    "both sides, ankle jerks 2+ both sides. Plantars flexor on both sides."
)

SMALL_ARCHIVE = (
    # id, patient, examiner, facility, type, date, text
    ("N1", "A", "EX-1", "WARD-1", "progress", "2031-01-05", f"Motor: strength 5/5 throughout.\n{FULL}"),
    ("N2", "A", "EX-1", "WARD-1", "progress", "2031-02-05", f"Motor: strength 4/5 on the left.\n{FULL}"),
    ("N3", "A", "EX-1", "WARD-1", "progress", "2031-03-05", f"Motor: strength 4/5 on the left.\n{FULL}"),
    ("N4", "B", "EX-2", "WARD-1", "progress", "2031-01-07", "DTRs 2+ throughout."),
    (
        *("N5", "C", "EX-2", "WARD-1", "consult", "2031-01-08"),
        "Right knee jerk 3+, left knee jerk 1+. Ankle jerk 2+. Gait steady.",
    ),
    ("N6", "D", "EX-2", "WARD-1", "progress", "2031-01-09", "Chest clear. Abdomen soft."),
    ("N7", "D", "EX-2", "WARD-1", "consult", "2031-02-09", "Gait: steady with a cane. Tone normal."),
    (
        *("N8", "E", "EX-1", "UNIT-2", "consult", "2031-02-10"),
        "Right knee jerk 2/4. Left knee jerk 2/4. Ankle jerks not tested, refused.",
    ),
    ("N9", "F", "EX-2", "UNIT-2", "progress", "2031-02-11", "Right knee jerk 7+."),
    ("N10", "G", "EX-2", "UNIT-2", "progress", "2031-02-12", "Ankle jerk absent."),
    ("N11", "H", None, None, None, None, "Knee jerks asymmetric."),
    ("N12", "I", "EX-2", "UNIT-2", "progress", "2031-03-01", "Right biceps jerk 2+. Right biceps jerk 1+."),
    (
        *("N13", "J", "EX-2", "UNIT-2", "progress", "2031-03-02"),
        "Right biceps 2+, left biceps 2, right triceps 2+, left triceps 2.",
    ),
)


@cache
def session() -> Session:
    """The shipped settings and words."""
    return open_session()


def note(row: Sequence[str | None]) -> Note:
    """A note of the small archive."""
    name, patient, author, facility, kind, authored, text = row
    return Note(
        id=name or "",
        text=text or "",
        hash=hashlib.sha256((text or "").encode()).hexdigest(),
        patient=patient,
        author=author,
        facility=facility,
        kind=kind,
        authored=authored,
        authored_precision="day" if authored else None,
    )


def read_all(notes: Iterable[Note]) -> list[Read]:
    """Notes with what was read from them and what is abnormal in them."""
    read = read_notes(notes, session())
    return [(one, reading, assess(one, reading, session())) for one, reading in read]


def small_archive() -> list[Read]:
    """The small archive, read."""
    return read_all(note(row) for row in SMALL_ARCHIVE)


def audited(read: Iterable[Read], *, has_text: bool = True, **options: Any) -> Audit:
    """An audit that hides nothing unless it is told to."""
    wanted = AuditOptions(**{"min_count": 1, "made": "2031-06-01T00:00:00Z", "program": "plexor", **options})
    return audit_notes(read, session().vocabulary, wanted, has_text=has_text)


def result(audit: Audit, figure: str) -> Result:
    """One figure of an audit."""
    return next(one for one in audit.results if one.figure.figure == figure)


def share(
    audit: Audit, figure: str, dimension: str = "all", group: str = "all"
) -> tuple[int | None, int | None]:
    """Numerator and denominator of a share in one group."""
    row = next(row for row in result(audit, figure).rows if (row.dimension, row.group) == (dimension, group))
    return row.counts["yes"], row.of
