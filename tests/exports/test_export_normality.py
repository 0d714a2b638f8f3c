"""Which reflexes a note shows to be normal on both sides, as a clinician reads it.

The expected answers are read from the notes by a person; common practice, no source.
"""

import pytest
from export_reads import note, read_of, session

from converter.exports.normality import normal_reflexes

NORMAL = {
    "Biceps 2+ bilaterally.": {"biceps"},
    "KJ 2+/2+.": {"patellar"},
    "KJ R 2+, L 2+.": {"patellar"},
    "Ankle jerks normal bilaterally.": {"achilles"},
    "AJ 2+ and symmetric bilaterally.": {"achilles"},
    "Jaw jerk normal.": {"jaw"},
    "Plantars downgoing bilaterally.": {"plantar"},
    "Babinski negative bilaterally.": {"plantar"},
    "Chaddock negative bilaterally.": {"plantar:chaddock"},
    "Hoffmann negative bilaterally.": {"hoffmann"},
    "No ankle clonus bilaterally.": {"ankle_clonus"},
    "Abdominal reflexes present bilaterally.": {"abdominal"},
    "Snout reflex absent.": {"primitive:snout"},
    "Biceps 2+ bilaterally, unchanged.": {"biceps"},
}
NOT_NORMAL = [
    "KJ 2+ right.",  # the left is not documented
    "KJ 2+.",  # no side
    "KJ R 2+, L 3+.",
    "KJ 3+ bilaterally.",  # may be normal, but is not normal by the scale
    "KJ 1+ bilaterally.",
    "KJ 2+ bilaterally, brisk left.",  # contradicts itself
    "Possibly normal knee jerks bilaterally.",
    "Left AJ not tested due to cast, right AJ 2+.",
    "Reflexes 2+ throughout.",  # names no reflex
    "Reflexes normal.",
    "No Babinski.",  # no side
    "Plantars mute bilaterally.",
    "Plantars equivocal bilaterally.",
    "Plantars: withdrawal bilaterally.",
    "No sustained clonus at the ankles bilaterally.",  # says nothing of brief clonus
    "1 beat of clonus at the ankles bilaterally.",
    "Clonus absent bilaterally.",  # at which joint is not said
    "Abdominal reflexes absent bilaterally.",
    "Upper abdominal reflexes present bilaterally.",  # not all quadrants
    "KJ 2+ bilaterally with reinforcement only.",
    "KJ pendular bilaterally.",
    "Previously KJ 2+ bilaterally.",
    "If KJ 2+ bilaterally, discharge.",
    "Father has KJ 2+ bilaterally.",
    "KJ normal bilaterally but right brisker than left.",
]


def normal(text: str, *, covered: bool = False) -> set[str]:
    _, reading, _ = read_of(note(text))
    assert reading.findings, text
    found = normal_reflexes(reading.findings, session().vocabulary, covered=covered)
    assert all(found.values())
    return set(found)


@pytest.mark.parametrize("text", NORMAL)
def test_normal_on_both_sides(text: str) -> None:
    assert normal(text) == NORMAL[text]


@pytest.mark.parametrize("text", NOT_NORMAL)
def test_not_shown_to_be_normal_on_both_sides(text: str) -> None:
    assert normal(text) == set()


def test_a_region_counts_only_where_that_is_asked_for() -> None:
    five = {"biceps", "brachioradialis", "triceps", "patellar", "achilles"}
    assert normal("Reflexes 2+ throughout.", covered=True) == five
    assert normal("Reflexes 2+ throughout except absent left ankle.", covered=True) == five - {"achilles"}
    assert normal("Reflexes 2+ throughout. Left AJ not tested due to cast.", covered=True) == five - {
        "achilles"
    }
