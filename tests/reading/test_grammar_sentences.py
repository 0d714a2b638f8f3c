"""Sentences that are derived from `grammar.ebnf` read to the findings that their derivation implies.

For each rule the grammar is derived at random, from a fixed seed; an evaluator of the tests' own says what
the derivation means. Where careful people would differ, it says why, and the sentence is left out.
"""

import random
from collections import Counter
from functools import cache

import pytest
from case_rows import differences
from derivations import Deriver, leaves
from grammar_file import FILE, Role, parts_of, read_grammar
from grammar_frames import makes_sense_in, note_and_rows
from grammar_shapes import Rows
from grammar_things import UnclearError
from grammar_words import said_for
from written_notes import read_text

from converter.reading.grammar.rules import RULES
from converter.words import shipped_vocabulary

GRAMMAR = read_grammar(FILE.read_text(encoding="utf-8"))
NAMES = [rule.__name__ for rule in RULES]
SENTENCES = 200
TRIES = 10_000
FEW = {
    "pair_order": 20,
    "lead_side": 150,
    "side_against_side": 50,
    "respectively": 60,
    "they_are": 150,
    "they_were": 150,
}
"""Shapes of which so few different sentences exist, or are soon found."""


@cache
def sentences(name: str) -> tuple[dict[str, Rows], Counter[str]]:
    """Different sentences of a rule with what they mean, and how often each reason left one out."""
    deriver = Deriver(GRAMMAR, random.Random(name), makes_sense_in(name))
    found: dict[str, Rows] = {}
    reasons: Counter[str] = Counter()
    for _ in range(TRIES):
        if len(found) == FEW.get(name, SENTENCES):
            break
        try:
            note, rows = note_and_rows(deriver.derive(name))
        except UnclearError as unclear:
            reasons[str(unclear)] += 1
        else:
            found[note] = rows
    return found, reasons


@pytest.mark.parametrize("name", NAMES)
def test_a_derived_sentence_reads_to_what_it_means(name: str) -> None:
    found, _ = sentences(name)
    wrong = {note: differences(rows, read_text(note).findings, note) for note, rows in found.items()}
    shown = [f"{note!r}\n{said}" for note, said in wrong.items() if said]
    assert not shown, f"{len(shown)} of {len(found)}\n\n" + "\n\n".join(shown[:20])


@pytest.mark.parametrize("name", NAMES)
def test_a_rule_has_many_sentences(name: str) -> None:
    found, reasons = sentences(name)
    assert len(found) >= FEW.get(name, SENTENCES), reasons.most_common(5)


def test_the_sentences_show_what_the_rules_are_made_of() -> None:
    used = {part.role for tree in GRAMMAR.values() for part in parts_of(tree) if isinstance(part, Role)}
    said = set()
    for name in NAMES:
        deriver = Deriver(GRAMMAR, random.Random(name), lambda node: True)
        said |= {leaf.role for _ in range(300) for leaf in leaves(deriver.derive(name))}
    assert used - said <= {"NOW", "PAST", "FAMILY", "IF"}, "words between shapes belong to `joiner` alone"


def test_no_strange_word_is_in_the_word_lists() -> None:
    chance = random.Random(1)
    words = {said_for("WORD", chance).text for _ in range(200)}
    assert len(words) > 3
    assert not any(shipped_vocabulary().words.longest([word], 0) for word in words)


def test_the_same_seed_gives_the_same_sentences() -> None:
    def derived() -> list[object]:
        deriver = Deriver(GRAMMAR, random.Random("again"), makes_sense_in("denied"))
        return [deriver.derive("denied") for _ in range(20)]

    assert derived() == derived()
