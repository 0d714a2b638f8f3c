"""Notes that hypothesis draws and shrinks: derived sentences, words of the lists, tables, figures, cases.

What is drawn is a plan of small numbers, so that a failing note shrinks to a few pieces.
"""

import random
from functools import cache

from derivations import Deriver, written
from fuzz_damage import changes, damaged, parted
from grammar_file import FILE, read_grammar
from hypothesis import strategies as st
from written_notes import written_notes

from converter.reading.grammar.rules import RULES
from converter.words import shipped_vocabulary
from converter.words.phrases import wordings

GRAMMAR = read_grammar(FILE.read_text(encoding="utf-8"))
CASES = list(written_notes().values())
WORDS = sorted({wording for row in shipped_vocabulary().rows for wording in wordings(row.phrase)})
CELLS = ["2+", "0", "absent", "brisk", "2+/2+", "", "-", "x", "5"]
MARKS = [
    *parted("2+ R L R: L: ( ) - / = | ① ٣ Ⅳ ½ ² ﬁ ǅ ı ſ K Å 🔨 ++ > < * no not except if x3 3/5 now mother"),
    *(
        " ",
        ". ",
        "\n",
        ", ",
        "\n\n",
        " | ",
        "\t",
        "\r",
        "\u2028",
        "\x85",
        "\u0301",
        "\u200b",
        "\u202e",
        "\x00",
        "\ufeff",
    ),
]
FIGURE = ["o", "|", "/|\\", "/ \\", "2+ -|- 2+", "2+  2+", "1+/  \\2+", "-2+", "+ | +", "2", "0"]
JOINS = ["", ". ", "\n", " ", ", ", "; "]

_seeds = st.integers(0, 2**16)
_words = st.lists(st.sampled_from(WORDS), min_size=1, max_size=6).map(" ".join)


@cache
def sentence(rule: str, seed: int) -> str:
    """A sentence of a rule; the same one for the same seed."""
    return written(Deriver(GRAMMAR, random.Random(seed), lambda node: True).derive(rule))


sentences = st.builds(sentence, st.sampled_from([rule.__name__ for rule in RULES]), _seeds)


@st.composite
def tables(draw: st.DrawFn) -> str:
    """A few rows of names and cells; the last row may be shorter or longer than the head."""
    cell = st.sampled_from(CELLS) | st.sampled_from(WORDS)
    rows = draw(st.lists(st.lists(cell, min_size=1, max_size=4), min_size=1, max_size=5))
    head = draw(st.lists(st.sampled_from(["R", "L", "Right", "Left", "Reflex", "", "Grade"]), max_size=4))
    mark = draw(st.sampled_from([" | ", "\t", "   ", ",", ";"]))
    return "\n".join(mark.join(row) for row in [head, *rows])


def excerpts() -> st.SearchStrategy[str]:
    """Parts of known cases and notes."""
    return st.tuples(st.sampled_from(CASES), _seeds, st.integers(5, 300)).map(
        lambda drawn: drawn[0][drawn[1] % len(drawn[0]) :][: drawn[2]]
    )


figures = st.lists(st.tuples(st.integers(0, 6), st.sampled_from(FIGURE)), min_size=2, max_size=9).map(
    lambda rows: "\n".join(" " * indent + row for indent, row in rows)
)
_pieces = sentences | sentences | _words | tables() | figures | excerpts() | st.sampled_from(MARKS)
_whole = st.builds(
    lambda mark, parts: mark.join(parts), st.sampled_from(JOINS), st.lists(_pieces, min_size=1, max_size=5)
)
notes = _whole | st.builds(damaged, _whole, changes(MARKS))
"""Any note that these make, as it is or damaged."""
