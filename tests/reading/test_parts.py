"""Only parts of a long note are read to see whether it says anything; what it says must stay the same."""

import gzip
import json
import random
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from mutated_notes import mutations
from written_notes import read_text, written_notes

from converter.model.record import reading_to_record
from converter.reading import reader
from converter.reading.notation.marks import tokens_of_note
from converter.reading.relevance.parts import speaking_parts
from converter.reading.relevance.prefilter import worth_reading
from converter.reading.relevance.silence import is_silent
from converter.reading.tokens import Token
from converter.words import Vocabulary, shipped_vocabulary

NOTES = written_notes()
PROSE = "The visit was routine. Appetite and sleep are good, and the cough is better than it was. "
OUTSIDE_NOTES = 400
LINES = 2000


def record_of(text: str, monkeypatch: pytest.MonkeyPatch, *, whole: bool) -> object:
    with monkeypatch.context() as patch:
        if whole:
            patch.setattr(reader, "_says_something", lambda *_: True)
            patch.setattr(reader, "is_silent", lambda *_: False)
        return reading_to_record(read_text(text))


def long_notes() -> Iterator[str]:
    """Invented notes far inside prose: on lines of their own, inside one long line, and changed a little.

    There is more prose than note, on each side a long line of it: only then is a note looked at in parts.
    """
    for number, (name, text) in enumerate(NOTES.items()):
        prose = PROSE * max(5, len(text) // len(PROSE) + 1)
        if number % 3 == 0:
            yield f"{prose}\n\n{text}\n\n{prose}"
        elif number % 3 == 1:
            yield f"{prose}{text.replace(chr(10), ' ')} {prose}"
        else:
            yield f"{prose}\n{next(mutations(text, name, 1))}\n{prose}"


def test_a_long_note_says_the_same_in_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    notes = list(long_notes())
    different = [
        text
        for text in notes
        if record_of(text, monkeypatch, whole=False) != record_of(text, monkeypatch, whole=True)
    ]
    assert not different, f"{len(different)} of {len(notes)}: {different[:2]}"


def test_a_line_or_two_say_the_same_where_silence_is_not_looked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = {line for text in NOTES.values() for line in text.splitlines() if line.strip()}
    pairs = {"\n".join(two) for text in NOTES.values() for two in pairwise(text.splitlines())}
    texts = random.Random(4).sample(sorted(lines | pairs), LINES)
    silent: list[bool] = []

    def looked_at(text: str, tokens: list[Token], vocabulary: Vocabulary) -> bool:
        silent.append(is_silent(text, tokens, vocabulary))
        return False

    with monkeypatch.context() as patch:
        patch.setattr(reader, "worth_reading", lambda _: lambda _: True)
        patch.setattr(reader, "is_silent", looked_at)
        said = [reading_to_record(read_text(text)) for text in texts]
    assert sum(silent) > LINES // 20
    different = [
        t for t, record in zip(texts, said, strict=True) if reading_to_record(read_text(t)) != record
    ]
    assert not different, f"{len(different)} of {len(texts)}: {different[:2]}"


def test_an_outside_note_says_the_same_in_parts(outside: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Real notes from outside the project, whose sources stand beside them; a sample from a fixed seed."""
    test = worth_reading(shipped_vocabulary())
    with gzip.open(outside / "corpus" / "notes.jsonl.gz", "rt", encoding="utf-8") as lines:
        texts = [text for line in lines if test(text := json.loads(line)["text"])]
    sample = random.Random(2).sample(texts, min(len(texts), OUTSIDE_NOTES))
    different = sum(
        record_of(text, monkeypatch, whole=False) != record_of(text, monkeypatch, whole=True)
        for text in sample
    )
    assert sample
    assert not different, f"{different} of {len(sample)}"


def test_parts_are_blocks_and_in_long_lines_sentences_with_the_one_before() -> None:
    line = f"{PROSE * 6}He sleeps well. It is quiet. Knee jerks are brisk. {PROSE * 6}"
    text = f"{line}\n\nAnkle jerks absent.\n\n{PROSE}"
    assert [(part.text, part.begins_line) for part in speaking_parts(text, shipped_vocabulary())] == [
        ("It is quiet. Knee jerks are brisk. ", False),
        ("Ankle jerks absent.", True),
    ]


def test_sentences_that_grade_joints_stay_together() -> None:
    line = f"{PROSE * 6}He sleeps well. Knee 2+ on the right. Ankle 1+ on the right. {PROSE * 6}"
    assert [part.text for part in speaking_parts(f"{line}\n\n{PROSE}", shipped_vocabulary())] == [line]


def test_joints_in_a_block_of_their_own_are_read(monkeypatch: pytest.MonkeyPatch) -> None:
    text = f"{PROSE * 9}\n\nKnee 2+ R, 3+ L. Ankle 1+ R, 2+ L.\n\n{PROSE * 9}"
    parted = record_of(text, monkeypatch, whole=False)
    assert parted == record_of(text, monkeypatch, whole=True)
    assert len(parted["findings"]) == 4  # type: ignore[index]


def test_most_of_a_long_note_without_findings_is_not_read(monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[str] = []

    def counted(text: str, vocabulary: Vocabulary) -> list[Token]:
        read.append(text)
        return tokens_of_note(text, vocabulary)

    monkeypatch.setattr(reader, "tokens_of_note", counted)
    assert not read_text(f"{PROSE * 50}The toes are warm. {PROSE * 50}").findings
    assert read
    assert sum(map(len, read)) < 300
