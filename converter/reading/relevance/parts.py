"""Cuts a note where nothing joins what stands before to what stands behind; finds the parts that may speak.

Takes a text that passed the prefilter; gives the parts from which anything can come. A part is a block
between empty lines, or in a long line of prose a sentence with the one before it; sentences that may grade
joints side by side stay together. What is left out gives nothing by itself; whether a part that is given says
anything, reading it alone tells.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from converter.reading.relevance.prefilter import may_grade_joints, worth_reading
from converter.reading.sentences.dividing import ABBREVIATED
from converter.words import Vocabulary
from converter.words.phrases import normal, tokens_of, wordings

_EMPTY_LINE = re.compile(r"(?:\r(?!\n)|\n)[ \t]*[\r\n]\s*")
_SENTENCE_END = re.compile(r"([^\W\d_]{4,})\. +(?=[A-Z])")
_LONG = 400
"""Characters of a line of prose; a shorter one with others may be the heads or a row of a table."""
_IN_CELLS = re.compile(r"[|\t]|   ")


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a note.

    Attributes:
        text: its text.
        begins_line: whether a line begins with it.
    """

    text: str
    begins_line: bool


def speaking_parts(text: str, vocabulary: Vocabulary) -> list[Part]:
    """The parts of a text that may say something, in order."""
    may_speak, ends_sentence = worth_reading(vocabulary), _ends_sentence(vocabulary)
    may_join = may_grade_joints(vocabulary)
    found: list[Part] = []
    for block in _EMPTY_LINE.split(text):
        if not may_speak(block):
            continue
        inside = [] if may_join(block) else _cuts(block, ends_sentence)
        cuts = [0, *inside, len(block)]
        last = 0
        for before, (start, end) in zip([0, *cuts], pairwise(cuts), strict=False):
            if len(cuts) == 2 or may_speak(block[start:end]):
                found.append(Part(block[max(before, last) : end], max(before, last) == 0))
                last = end
    return found


def _cuts(block: str, ends_sentence: Callable[[str], bool]) -> list[int]:
    """Where a line that belongs to no table may be cut: behind the stop of a sentence."""
    cuts: list[int] = []
    start, cuttable = 0, True
    lines = block.splitlines(keepends=True)
    for line in lines if len(lines) == 1 or len(block) > _LONG else ():
        prose = len(lines) == 1 or (len(line) > _LONG and _IN_CELLS.search(line) is None)
        if prose and cuttable:
            cuts += [start + match.end() for match in _SENTENCE_END.finditer(line) if ends_sentence(match[1])]
        start, cuttable = start + len(line), prose
    return cuts


@lru_cache(maxsize=8)
def _ends_sentence(vocabulary: Vocabulary) -> Callable[[str], bool]:
    """Whether a stop behind a word ends its sentence for certain."""
    joined = set(ABBREVIATED)
    for row in vocabulary.rows:
        if "." in row.phrase:
            for wording in wordings(row.phrase):
                words = tokens_of(wording)
                joined.update(word for word, after in pairwise(words) if after == ".")
    return lambda word: normal(word) not in joined
