"""A finding in plain words, and the choices for correcting one."""

import pytest
from review_readings import read

from converter.api import open_session
from converter.judging import Told, corrected_finding
from converter.review.choices import KIND_NAMES, reflex_choices, scale_choices, value_choices
from converter.review.sayings import saying_of
from converter.words import shipped_vocabulary

WORDS = shipped_vocabulary()


@pytest.mark.parametrize(
    ("text", "headline"),
    [
        ("R KJ 2+", "Patellar reflex, right: 2+"),
        ("AJ 1-2+ bilat", "Achilles reflex, both sides: 1-2+"),
        ("L AJ absent", "Achilles reflex, left: absent"),
        ("no Hoffmann on the left", "Hoffmann sign, left: absent"),
        ("L toe upgoing", "Plantar response, left: extensor (up)"),
        ("R ankle clonus x3", "Ankle clonus, right: present, 3 beats"),
        ("R ankle clonus sustained", "Ankle clonus, right: present, sustained"),
        ("L AJ not tested due to cast", "Achilles reflex, left: not tested (cast)"),
        ("R KJ 9+", "Patellar reflex, right: off the scale, not coded"),
    ],
)
def test_a_finding_in_one_line(text: str, headline: str) -> None:
    _, reading = read(text)
    assert [saying_of(one, WORDS).headline for one in reading.findings] == [headline]


def test_details_tell_what_the_headline_does_not() -> None:
    _, reading = read("Previously L AJ possibly 1+ with reinforcement.")
    details = dict(saying_of(reading.findings[0], WORDS).details)
    assert details["Status"] == "found at an earlier time"
    assert details["As written"] == "1+"
    assert details["Reinforcement"] == "only with"
    assert details["Scale"].endswith("(assumed)")


def test_every_reflex_can_be_chosen() -> None:
    codes = {one.code for group in reflex_choices(WORDS).values() for one in group}
    assert set(WORDS.reflexes) <= codes
    assert {"primitive:moro", "abdominal:upper", "plantar:chaddock"} <= codes
    assert set(reflex_choices(WORDS)) == set(KIND_NAMES.values())
    assert {code for code, _ in scale_choices(WORDS)} == set(WORDS.scales)


SESSION = open_session(time="2031-05-01T08:00:00Z")
ONE_OF_KIND = {
    "stretch": "R KJ 2+", "plantar": "R toe downgoing", "clonus": "R ankle clonus x2",
    "superficial": "R cremasteric reflex present", "primitive": "palmomental reflex present on the right",
}  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "value"), [(kind, value) for kind, values in value_choices(WORDS).items() for value, _ in values]
)
def test_every_value_that_is_offered_is_understood(kind: str, value: str) -> None:
    _, reading = read(ONE_OF_KIND[kind])
    (finding,) = reading.findings
    assert finding.kind == kind
    told = Told(status="not_tested") if value == "not tested" else Told(value=value)
    assert corrected_finding(finding, told, SESSION).side == "right"
