"""Patterns in the words of the trade; what each stands for is common practice, no source."""

import pytest

from converter.archive import (
    ABSENT_ANKLE_BRISK_KNEE,
    ArchiveError,
    Asymmetry,
    Change,
    Pattern,
    Sign,
    Together,
)
from converter.pattern_words import SHAPES, pattern_of
from converter.words import shipped_vocabulary


@pytest.mark.parametrize(
    ("words", "pattern"),
    [
        ("absent ankle with brisk knee", ABSENT_ANKLE_BRISK_KNEE),
        ("Absent  ankle jerk and increased knee jerk", ABSENT_ANKLE_BRISK_KNEE),
        ("asymmetry of at least 2 at the ankles", Asymmetry(2, "achilles")),
        ("asymmetry of 1", Asymmetry(1)),
        ("side difference of 1.5 grades at the knee", Asymmetry(1.5, "patellar")),
        ("changed by 2 within 90 days", Change(2, 90)),
        ("change of at least 1 grade within 1 day at the biceps", Change(1, 1, "biceps")),
        ("increased by 2 within 6 weeks at the left knee", Change(2, 42, "patellar", "left", "up")),
        ("decreased by 2 within 30 days at the right ankle", Change(2, 30, "achilles", "right", "down")),
        (
            "reduced biceps with normal triceps on either side",
            Together(Sign("biceps", ("low",)), Sign("triceps", ("normal",)), same_side=False),
        ),
    ],
)
def test_words_become_the_pattern_they_speak_of(words: str, pattern: Pattern) -> None:
    assert pattern_of(words, shipped_vocabulary()) == pattern


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        ("", "no pattern that is known"),
        ("brisk ankle", "no pattern that is known"),
        ("asymmetry of 0", "above 0"),
        ("asymmetry of two", "no pattern that is known"),
        ("asymmetry of 2 at the left ankle", "without a side"),
        ("asymmetry of 2 at the absent ankle", "without a side"),
        ("asymmetry of 2 at the moon", "'moon'"),
        ("asymmetry of 2 at the knees and ankles", "'and'"),
        ("asymmetry of 2 at the knees ankles", "more than one reflex"),
        ("changed by 2", "no pattern that is known"),
        ("changed by 2 within 90 days at the left", "one reflex"),
        ("absent ankle with purple knee", "'purple'"),
        ("absent ankle with knee", "needs a level and a reflex"),
        ("not absent ankle with brisk knee", "'not'"),
        ("absent ankle with brisk left knee", "needs a level and a reflex"),
        ("absent ankle with brisk knee; DROP TABLE notes", "';'"),
    ],
)
def test_what_is_not_understood_is_refused_in_one_sentence(words: str, reason: str) -> None:
    with pytest.raises(ArchiveError) as refused:
        pattern_of(words, shipped_vocabulary())
    assert reason in str(refused.value)
    assert all(shape in str(refused.value) for shape in SHAPES)


def test_every_shape_that_a_refusal_names_is_understood() -> None:
    assert {type(pattern_of(shape, shipped_vocabulary())) for shape in SHAPES} == {
        Asymmetry,
        Together,
        Change,
    }
