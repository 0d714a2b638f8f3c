"""No reflex talk is lost: a list of patterns of its own finds it, and the reading accounts for each piece.

A piece of talk is accounted for where a finding's span or an unread span lies on it, where it heads the
findings right after it, or where a look-alike explains it.
"""

import gzip
import json
import random
import re
from collections.abc import Iterable
from pathlib import Path

import pytest
from mutated_notes import mutations
from reflex_talk import FAMILIES, LOOK_ALIKES, heads, talk_in
from written_notes import read_text, written_notes

NOTES = written_notes()
FORMS = 4
SAMPLE = 1500
HINT = re.compile("flex|dtr|jerk|babin|clon|hoff|plantar", re.IGNORECASE)
"""Most notes say nothing of reflexes; these pieces of words tell quickly which ones may."""
LOST_IN_PASSAGES = 0.03
LOST_IN_NOTES = 0.10
"""Pieces of talk that may stay unexplained: in real notes the patterns also meet other things by chance."""


def lost_in(text: str) -> tuple[list[str], int]:
    """The pieces of talk that nothing accounts for, with what stands around them, and how many there are."""
    talk = list(talk_in(text))
    if not talk:
        return [], 0
    reading = read_text(text)
    spans = [(span.start, span.end) for finding in reading.findings for span in finding.spans]
    spans += [(span.start, span.end) for span in reading.unread]
    starts = sorted(start for start, _ in spans)
    lost = [
        f"{family}: {text[start:end]!r} in {text[max(0, start - 40) : end + 40]!r}"
        for family, start, end in talk
        if not any(low < end and start < high for low, high in spans) and not heads(text, family, end, starts)
    ]
    return lost, len(talk)


def lost_in_all(texts: Iterable[str]) -> tuple[list[str], int]:
    lost, count = [], 0
    for text in texts:
        found, among = lost_in(text)
        lost += found
        count += among
    return lost, count


def test_no_talk_of_written_notes_is_lost() -> None:
    lost, count = lost_in_all(NOTES.values())
    assert count > 700
    assert not lost, "\n".join(lost)


def test_changing_a_note_loses_little() -> None:
    """A changed note may say something that is no talk of reflexes any more; most of it still is."""
    lost, count = lost_in_all(form for name, text in NOTES.items() for form in mutations(text, name, FORMS))
    assert len(lost) <= 0.02 * count, f"{len(lost)} of {count}\n" + "\n".join(lost[:50])


def test_passages_lose_little(outside: Path) -> None:
    lines = (outside / "corpus" / "passages_open.jsonl").read_text(encoding="utf-8").splitlines()
    lost, count = lost_in_all(json.loads(line)["passage"] for line in lines)
    assert len(lost) <= LOST_IN_PASSAGES * count, f"{len(lost)} of {count} pieces of reflex talk are lost"


def test_real_notes_lose_little(outside: Path) -> None:
    with gzip.open(outside / "corpus" / "notes.jsonl.gz", "rt", encoding="utf-8") as lines:
        texts = [json.loads(line)["text"] for line in lines]
    hinted = [text for text in texts if HINT.search(text)]
    lost, count = lost_in_all(random.Random(7).sample(hinted, min(SAMPLE, len(hinted))))
    assert count > SAMPLE / 20
    assert len(lost) <= LOST_IN_NOTES * count, f"{len(lost)} of {count} pieces of reflex talk are lost"


@pytest.mark.parametrize(
    ("said", "family"),
    [
        ("hyperreflexic in the legs", "reflex"),
        ("arreflexia", "reflex"),
        ("D.T.R.s 2+", "dtr"),
        ("knee-jerk absent", "jerk"),
        ("Babinsky upgoing", "babinski"),
        ("no clonos", "clonus"),
        ("Hofmanns neg", "hoffmann"),
        ("planter response", "plantar response"),
        ("toes are downgoing", "toes"),
    ],
)
def test_the_patterns_find_talk(said: str, family: str) -> None:
    assert family in {name for name, _, _ in talk_in(said)}


@pytest.mark.parametrize(
    "said",
    ["red reflex present", "acid reflux", "reflex sympathetic dystrophy", "TSH with reflex", "myoclonus",
     "the seizure began with clonus of the arm", "hepatojugular reflux", "reflex hammer", "clonazepam 1 mg",
     "Werdnig-Hoffmann disease"],
)  # fmt: skip
def test_look_alikes_are_not_taken_for_talk(said: str) -> None:
    assert list(talk_in(said)) == []


def test_the_patterns_are_no_copy_of_the_word_lists() -> None:
    assert len(FAMILIES) > 10
    assert all(re.compile(pattern) for pattern in LOOK_ALIKES.values())
