"""What a person gives in a few words, as the finding they mean."""

from dataclasses import replace

import pytest
from archive_session import session

from converter.api import read
from converter.judging import JudgingError, Told, added_finding, corrected_finding, value_in_words
from converter.model import Finding, Span

SESSION = session()
TEXT = "KJ 3+/2+. AJ 1+ bilaterally. Plantars down."
KNEE = read(TEXT, SESSION).findings[0]


def said(finding: Finding) -> tuple[object, ...]:
    grade = (finding.grade_low, finding.grade_high, finding.scale)
    return (finding.site, finding.side, *grade, finding.level, finding.descriptor, finding.response)


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        (Told(side="L"), ("patellar", "left", 3, 3, "bedside", "high", None, None)),
        (Told(value="2+"), ("patellar", "right", 2, 2, "bedside", "normal", None, None)),
        (Told(value="2/4"), ("patellar", "right", 2, 2, "out-of-four", "normal", None, None)),
        (Told(value="3", scale="ninds"), ("patellar", "right", 3, 3, "ninds", "normal", None, None)),
        (Told(value="absent"), ("patellar", "right", None, None, None, "absent", "absent", None)),
        (Told(site="AJ"), ("achilles", "right", 3, 3, "bedside", "high", None, None)),
        (Told(site="BUE", value="2+"), ("upper_limb_all", "both", 2, 2, "bedside", "normal", None, None)),
        (
            Told(site="plantar", side="left", value="upgoing"),
            ("plantar", "left", None, None, None, None, None, "extensor"),
        ),
        (
            Told(site="ankle clonus", value="x3"),
            ("ankle_clonus", "right", None, None, None, "clonus", "present", None),
        ),
    ],
)
def test_level_and_scale_follow_from_the_tables(told: Told, expected: tuple[object, ...]) -> None:
    """Levels: 2 and 3 are both normal on the NINDS muscle stretch reflex scale; else the bedside table."""
    corrected = corrected_finding(KNEE, told, SESSION)
    assert said(corrected) == expected
    assert (corrected.spans, corrected.finding, corrected.quote) == (KNEE.spans, KNEE.finding, KNEE.quote)


def test_status_alone_leaves_the_value() -> None:
    past = corrected_finding(KNEE, Told(status="historical"), SESSION)
    assert past == replace(KNEE, status="historical")
    untested = corrected_finding(KNEE, Told(status="not tested"), SESSION)
    assert (untested.status, untested.grade_low, untested.level) == ("not_tested", None, None)


@pytest.mark.parametrize(
    ("told", "sentence"),
    [
        (Told(), "say what the finding should be"),
        (Told(value="7+"), "'7\\+' is not understood beside R KJ"),
        (Told(value="upgoing"), "not understood beside R KJ"),
        (Told(value="2+; AJ 1+"), "not understood"),
        (Told(value="=HYPERLINK()"), "not understood"),
        (Told(site="elbow grease"), "there is no reflex 'elbow grease'"),
        (Told(side="up"), "there is no side 'up'"),
        (Told(status="maybe"), "there is no status 'maybe'"),
        (Told(value="2+", scale="ours"), "there is no scale ours"),
        (Told(site="ankle clonus"), "give the value too"),
    ],
)
def test_what_is_not_understood_is_said(told: Told, sentence: str) -> None:
    with pytest.raises(JudgingError, match=sentence):
        corrected_finding(KNEE, told, SESSION)


def test_a_missed_finding_stands_at_its_place() -> None:
    span = Span(16, 27, "value")
    made = added_finding(Told(site="KJ", side="left", value="2+"), (span,), TEXT, SESSION)
    assert said(made) == ("patellar", "left", 2, 2, "bedside", "normal", None, None)
    assert (made.start, made.end, made.quote, made.spans) == (16, 27, "bilaterally", (span,))
    assert made.verdict is None


def test_a_missed_finding_needs_site_value_and_place() -> None:
    span = (Span(0, 2, "value"),)
    for told, spans in ((Told(site="KJ"), span), (Told(value="2+"), span), (Told(site="KJ", value="2+"), ())):
        with pytest.raises(JudgingError, match="missed needs"):
            added_finding(told, spans, TEXT, SESSION)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("R KJ 2+", "2+"),
        ("L AJ absent", "absent"),
        ("left ankle clonus x3", "x3"),
        ("left toe upgoing", "extensor"),
        ("no Hoffmann on the left", "absent"),
        ("L KJ not tested due to cast", "not tested due to cast"),
    ],
)
def test_a_value_in_words_means_the_same_again(text: str, value: str) -> None:
    (finding,) = read(text, SESSION).findings
    assert value_in_words(finding, SESSION.vocabulary) == value
    again = corrected_finding(finding, Told(value=value), SESSION)
    assert said(again) == said(finding)
