"""A note that the prefilter passes by says nothing, also when it is read in full."""

import gzip
import json
import random
from collections.abc import Iterator
from pathlib import Path

import pytest
from mutated_notes import mutations
from written_notes import read_text, written_notes

from converter.model import Reading
from converter.reading import reader
from converter.reading.relevance.prefilter import may_speak_of_reflexes, worth_reading
from converter.words import shipped_vocabulary

NOTES = written_notes()
MUTATIONS = 2
OUTSIDE_NOTES = 1500


def read_in_full(text: str, monkeypatch: pytest.MonkeyPatch) -> Reading:
    with monkeypatch.context() as patch:
        patch.setattr(reader, "worth_reading", lambda vocabulary: lambda text: True)
        return read_text(text)


def says_something(text: str, monkeypatch: pytest.MonkeyPatch) -> bool:
    reading = read_in_full(text, monkeypatch)
    return bool(reading.findings or reading.unread)


def made_notes() -> Iterator[str]:
    for name, text in NOTES.items():
        yield text
        yield from mutations(text, name, MUTATIONS)


@pytest.mark.parametrize("prefilter", [worth_reading, may_speak_of_reflexes])
def test_nothing_is_passed_by_that_says_something(prefilter: object, monkeypatch: pytest.MonkeyPatch) -> None:
    test = prefilter(shipped_vocabulary())  # type: ignore[operator]
    passed = [text for text in made_notes() if not test(text)]
    lost = [text for text in passed if says_something(text, monkeypatch)]
    assert passed
    assert not lost, f"{len(lost)} of {len(passed)}: {lost[:3]}"


def test_nothing_of_outside_notes_is_passed_by(outside: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Real notes from outside the project, whose sources stand beside them; a sample from a fixed seed."""
    with gzip.open(outside / "corpus" / "notes.jsonl.gz", "rt", encoding="utf-8") as lines:
        texts = [json.loads(line)["text"] for line in lines]
    test = worth_reading(shipped_vocabulary())
    passed = [text for text in random.Random(1).sample(texts, OUTSIDE_NOTES) if not test(text)]
    lost = [text for text in passed if says_something(text, monkeypatch)]
    assert len(passed) > OUTSIDE_NOTES // 2
    assert not lost, f"{len(lost)} of {len(passed)}"


@pytest.mark.parametrize("text", ["R bi 2+, L bi 2+, R tri 1+, L tri 2+", "pat 3+ R, ach 1+ R"])
def test_short_names_are_read_beside_their_grades(text: str) -> None:
    assert read_text(text).findings


SAYS_NOTHING = (
    "Reflux, worse when supine.",
    "Light reflected from both corneas.",
    "Pain in the left lower quadrant.",
    "Rupture of the left biceps in 2014 and of the patellar tendon.",
    "Biceps 4/5 on the left.",
)
GRADED_AS_REFLEXES = (
    "Biceps 2/4 R, triceps 2/ 4 L.",
    "Biceps two out of four.",
    "Triceps 2 of a possible 4.",
    "Biceps 1p.",
    "Biceps 2+.",
    "Biceps +2, patellar +3 R.",
    "Biceps 2⁺ on the left.",
    "Biceps two plus.",
    "Biceps 2/IV.",
)


@pytest.mark.parametrize("text", SAYS_NOTHING)
def test_words_that_say_nothing_of_reflexes_by_themselves_are_passed_by(
    text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert not worth_reading(shipped_vocabulary())(text)
    assert not says_something(text, monkeypatch)


@pytest.mark.parametrize("text", GRADED_AS_REFLEXES)
def test_tendons_beside_a_grade_as_reflexes_have_it_are_read(text: str) -> None:
    assert worth_reading(shipped_vocabulary())(text)
    assert read_text(text).findings


@pytest.mark.parametrize(
    "text", ["Refluxes, patelar reflex 2+.", "Reflux. Knee relfex absent.", "Bicpes 2+.", "Patelllar 2+"]
)
def test_misspelt_wordings_beside_look_alikes_are_read(text: str) -> None:
    assert worth_reading(shipped_vocabulary())(text)
    assert read_text(text).findings
