"""The grammar file holds what the docstrings of the rules say, and is complete and well written."""

import pytest
from grammar_file import FILE, Name, Role, parts_of, read_grammar

from converter.reading.grammar.ebnf import START, grammar_of, productions_of, shipped_grammar
from converter.reading.grammar.rules import RULES
from converter.words.vocabulary import ROLES

GRAMMAR = read_grammar(FILE.read_text(encoding="utf-8"))
WRITTEN = {"GRADE", "PAIR", "COUNT", "RUN", "WORD"}
"""What is known by its form alone, and so is no role of the word lists."""


def test_the_file_holds_what_the_docstrings_say() -> None:
    said = "run `python -m converter.reading.grammar.ebnf`"
    assert FILE.read_text(encoding="utf-8") == shipped_grammar(), said


def test_every_name_is_defined() -> None:
    used = {part.name for tree in GRAMMAR.values() for part in parts_of(tree) if isinstance(part, Name)}
    assert used | {START} == set(GRAMMAR)


def test_every_terminal_is_a_role_of_the_word_lists() -> None:
    used = {part.role for tree in GRAMMAR.values() for part in parts_of(tree) if isinstance(part, Role)}
    assert used <= {role.upper() for role in ROLES} | WRITTEN


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_every_rule_has_a_shape_and_every_sentence_may_hold_it(rule: object) -> None:
    name = rule.__name__  # type: ignore[attr-defined]
    assert name in dict(productions_of(rule.__doc__ or ""))
    assert Name(name) in set(parts_of(GRAMMAR[START]))


def test_productions_are_found_in_a_docstring() -> None:
    docstring = """Two shapes.

    sentence = first
             | "=" ;
    first = SITE ;

    Args:
        p: not = this.
    """
    assert list(productions_of(docstring)) == [
        ("sentence", 'sentence = first\n         | "=" ;'),
        ("first", "first = SITE ;"),
    ]


@pytest.mark.parametrize(
    ("docstrings", "said"),
    [
        (["sentence = a ;"], "a is defined nowhere"),
        (["sentence = SITE ;", "sentence = SIDE ;"], "sentence is defined twice"),
        (["sentence = SITE ;", "a = SIDE ;"], "no shape names a"),
    ],
)
def test_an_incomplete_grammar_is_refused(docstrings: list[str], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        grammar_of(docstrings)


@pytest.mark.parametrize("text", ["a = ( SITE ;", "a = ;", "a SITE ;", "a = SITE", "a = b = c ;", "a = 1 ;"])
def test_a_badly_written_grammar_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"missing|nothing|begins no|stands inside|unreadable"):
        read_grammar(text)
