"""A rule fits only where it is tried: the kinds of tokens that it may begin with leave none out."""

from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import pytest
from case_files import cases_in

from converter.model import Note
from converter.reading import read_note
from converter.reading.grammar import rules
from converter.reading.grammar.parser import Parser
from converter.words import shipped_vocabulary

NOTES = [
    case.note
    for case in cases_in(Path(__file__).parents[2] / "fixtures" / "cases" / "reading")
    if case.note is not None
]


def test_no_rule_fits_where_it_is_not_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    tried_at = rules._tried_at
    fitted: set[str] = set()
    astray: list[str] = []

    def watched(rule: rules.Rule, kind: str) -> Callable[[Parser], bool]:
        def fits(p: Parser) -> bool:
            fit = rule(p)
            if fit:
                fitted.add(rule.__name__)
            if fit and rule not in tried_at(kind, frozenset()):
                astray.append(f"{rule.__name__} fits at {kind}")
            return fit

        return fits

    def everywhere(kind: str, without: frozenset[str]) -> list[Callable[[Parser], bool]]:
        return [watched(rule, kind) for rule in rules.RULES]

    monkeypatch.setattr(rules, "_tried_at", everywhere)
    for text in NOTES:
        read_note(Note(id="case", text=text, hash=sha256(text.encode()).hexdigest()), shipped_vocabulary())
    assert fitted == {rule.__name__ for rule in rules.RULES}
    assert not astray


def test_most_rules_are_not_tried_at_a_word_that_says_nothing() -> None:
    assert not rules._tried_at("other", frozenset())
