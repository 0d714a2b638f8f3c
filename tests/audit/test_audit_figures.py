"""The figures of a small invented archive, counted by a person from its notes (see `audit_samples`)."""

from dataclasses import replace

import pytest
from audit_samples import FULL, audited, note, read_all, result, share, small_archive

from converter.audit import Audit

# All counts below were made by hand, note by note. N6 holds no examination; N7 has one, without reflexes;
# N9 has only a value off its scale; N10 and N11 use words.
EXPECTED = {
    "note": (13, 13),
    "exam": (12, 13),  # all but N6
    "reflexes": (11, 12),  # all of those but N7
    "not-tested": (1, 12),  # N8
    "unread": (0, 12),
    "all-main": (4, 11),  # N1 N2 N3 N4
    "plantar-both": (3, 11),  # N1 N2 N3
    "graded": (8, 11),  # N1 N2 N3 N4 N5 N8 N12 N13
    "scale-stated": (1, 8),  # N8: 2/4
    "heading-motor": (3, 12),  # N1 N2 N3
    "heading-gait": (2, 12),  # N5 N7
    "heading-tone": (1, 12),  # N7
    "heading-cranial": (0, 12),
    "side-unstated": (3, 11),  # N5 (ankle), N10, N11
    "two-throughout": (1, 11),  # N4
    "normal-throughout": (0, 11),
    "many-grades": (4, 8),  # N1 N2 N3: five each; N13: four
    "one-grade": (4, 4),  # the same four: 2 and 2+ are one grade
    "asymmetry": (2, 11),  # N5: knee 3+ and 1+; N11: called asymmetric
    "abnormal": (4, 11),  # N5, N10, N11, N12 (1+)
    "abnormal-no-side": (2, 4),  # N10, N11
    "abnormal-no-level": (1, 4),  # N11
    "contradiction": (1, 11),  # N12
    "off-scale": (1, 11),  # N9
    "mixed-plus": (1, 8),  # N13
    "several-scales": (0, 8),
    "followed": (2, 11),  # N2, N3
    "copied": (1, 2),  # N2: strength changed, reflexes word for word
    "same-exam": (1, 2),  # N3
}


@pytest.fixture(scope="module")
def audit() -> Audit:
    return audited(small_archive())


@pytest.mark.parametrize(("figure", "counted"), EXPECTED.items())
def test_figures_of_all_notes(audit: Audit, figure: str, counted: tuple[int, int]) -> None:
    assert share(audit, figure) == counted


def test_figures_by_group(audit: Audit) -> None:
    """By hand: EX-1 wrote N1 N2 N3 N8; WARD-1 holds N1 to N7; the consults are N5 N7 N8."""
    assert share(audit, "reflexes", "examiner", "EX-1") == (4, 4)
    assert share(audit, "all-main", "examiner", "EX-1") == (3, 4)
    assert share(audit, "reflexes", "facility", "WARD-1") == (5, 6)
    assert share(audit, "exam", "note_type", "consult") == (3, 3)
    assert share(audit, "reflexes", "note_type", "consult") == (2, 3)
    assert share(audit, "note", "month", "2031-02") == (5, 5)
    assert share(audit, "note", "month", "not stated") == (1, 1)


def test_grades_are_counted_finding_by_finding(audit: Audit) -> None:
    """By hand, bedside scale: 0; 1: N5 N12; 2: 5 each in N1 N2 N3, N4, N5, N12, 4 in N13; 3: N5."""
    total = result(audit, "grades-bedside").total()
    assert total is not None
    assert dict(total.counts) == {"0": 0, "1": 2, "2": 22, "3": 1, "4": 0, "5": 0, "between": 0}
    over_four = result(audit, "grades-out-of-four").total()
    assert over_four is not None
    assert over_four.counts["2"] == 2


def test_sides_of_each_reflex(audit: Audit) -> None:
    """By hand, of 11 notes: knee on both sides in N1 to N5 and N8; right only in N9; unstated in N11."""
    knee = result(audit, "sides-patellar").total()
    assert knee is not None
    assert dict(knee.counts) == {"both": 6, "right": 1, "left": 0, "unstated": 1, "none": 3}
    ankle = result(audit, "sides-achilles").total()
    assert ankle is not None
    assert dict(ankle.counts) == {"both": 4, "right": 0, "left": 0, "unstated": 2, "none": 5}


def test_without_text_nothing_is_guessed() -> None:
    bare = [(replace(one, text=""), reading, assessed) for one, reading, assessed in small_archive()]
    audit = audited(bare, has_text=False)
    for figure in ("exam", "heading-motor", "followed", "copied", "same-exam"):
        assert not result(audit, figure).counted
        assert not result(audit, figure).rows
    assert share(audit, "reflexes") == (11, 13)
    assert any("no text" in caution for caution in audit.cautions)


def test_copied_text_is_that_of_the_visit_before_only() -> None:
    """By hand: C2 repeats C1 but for letter case and spaces; C3 differs; C4 is another patient."""
    rows = [
        ("C1", "P", "E", "F", "progress", "2031-01-01", f"Gait: unsteady.\n{FULL}"),
        ("C2", "P", "E", "F", "progress", "2031-01-02", f"Gait: steady.\n{FULL.upper().replace(' ', '  ')}"),
        (
            "C3",
            "P",
            "E",
            "F",
            "progress",
            "2031-01-03",
            "Gait: steady.\nRight knee jerk 2+, left knee jerk 3+.",
        ),
        ("C4", "Q", "E", "F", "progress", "2031-01-04", f"Gait: steady.\n{FULL}"),
    ]
    audit = audited(read_all(note(row) for row in rows))
    assert share(audit, "followed") == (2, 4)
    assert share(audit, "copied") == (1, 2)


def test_short_wording_repeats_without_being_copied() -> None:
    rows = [
        ("C1", "P", "E", "F", "progress", "2031-01-01", "Gait: unsteady. DTRs 2+ throughout."),
        ("C2", "P", "E", "F", "progress", "2031-01-02", "Gait: steady. DTRs 2+ throughout."),
    ]
    assert share(audited(read_all(note(row) for row in rows)), "followed") == (0, 2)


def test_the_order_of_notes_changes_nothing() -> None:
    read = small_archive()
    assert audited(read).results == audited(list(reversed(read))).results


def test_an_archive_without_notes_is_audited() -> None:
    audit = audited([])
    assert share(audit, "note") == (0, 0)


def test_an_exception_is_not_documented() -> None:
    """By hand: the left ankle is excepted in the one note and not tested in the other."""
    rows = [
        ("X1", "P", "E", "F", "progress", "2031-01-01", "DTRs 2+ throughout except left ankle jerk."),
        ("X2", "Q", "E", "F", "progress", "2031-01-01", "DTRs 2+ throughout except left ankle not tested."),
    ]
    total = result(audited(read_all(note(row) for row in rows)), "sides-achilles").total()
    assert total is not None
    assert total.counts["right"] == 2
