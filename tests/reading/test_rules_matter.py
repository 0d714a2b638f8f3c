"""Each rule of the grammar is needed: without it at least one readable case comes out differently."""

from collections.abc import Iterator
from functools import cache
from hashlib import sha256
from pathlib import Path

import pytest
from case_files import Case, cases_in
from case_rows import differences

from converter.model import Finding, Note
from converter.reading import ReadingOptions, read_note
from converter.reading.grammar.rules import RULES
from converter.words import shipped_vocabulary

CASES = [
    case
    for case in cases_in(Path(__file__).parents[2] / "fixtures" / "cases" / "reading")
    if case.note is not None and not case.debatable
]


@cache
def findings_without(rule: str, text: str) -> tuple[Finding, ...]:
    note = Note(id="case", text=text, hash=sha256(text.encode()).hexdigest())
    options = ReadingOptions(without_rules=frozenset({rule} if rule else ()))
    return read_note(note, shipped_vocabulary(), options).findings


def cases_lost(rule: str) -> Iterator[Case]:
    """Cases that read as their table says with all rules, and otherwise without this one."""
    for case in CASES:
        note = case.note or ""
        got = findings_without(rule, note)
        if got == findings_without("", note) or differences(case.rows, findings_without("", note), note):
            continue
        if differences(case.rows, got, note):
            yield case


@pytest.mark.parametrize("rule", [rule.__name__ for rule in RULES])
def test_without_a_rule_some_case_fails(rule: str) -> None:
    assert next(cases_lost(rule), None) is not None, f"no case needs the rule {rule}"
