"""Holds the measure itself: how readable cases are parsed, and when a finding fits a row."""

from pathlib import Path

import pytest
from case_files import Case, CaseError, cases_in, cases_of
from case_rows import differences, fields_of_value, shown_value, unread_differences
from demo_notes import demo_texts

from converter.model import Finding, Span, Unread
from converter.words import shipped_vocabulary

NOTE = "Reflexes 2+ at the knees."
ROW = {"site": "patellar", "side": "unspecified", "value": "2+"}

TEXT = """# Family

## a case

Why it is here.

```
Reflexes 2+
## not a heading
```

Unread: some words

| site | side | value |
|---|---|---|
| patellar | both | 2+ |

## nothing

```
A note.
```

Debatable: who knows

No findings.
"""


def _finding(**fields: object) -> Finding:
    given: dict[str, object] = {
        "finding": "patellar-1",
        "exam": 1,
        "site": "patellar",
        "side": "unspecified",
        "kind": "stretch",
        "grade_low": 2.0,
        "grade_high": 2.0,
        "plus": "trailing",
        "as_written": "2+",
        "spans": (Span(9, 11, "value"), Span(19, 24, "site")),
        "start": 9,
        "end": 24,
        "quote": NOTE[9:24],
    }
    return Finding(**(given | fields))  # type: ignore[arg-type]


def _cases(tmp_path: Path, text: str) -> list[Case]:
    file = tmp_path / "family.md"
    file.write_text(text, encoding="utf-8")
    return list(cases_of(file))


def test_a_file_is_read_into_its_cases(tmp_path: Path) -> None:
    first, second = _cases(tmp_path, TEXT)
    assert first.name == "a case"
    assert first.place == "family.md:3"
    assert first.note == "Reflexes 2+\n## not a heading"
    assert first.rows == ({"site": "patellar", "side": "both", "value": "2+"},)
    assert first.unread == ("some words",)
    assert second.debatable == "who knows"
    assert second.rows == ()


@pytest.mark.parametrize(
    ("broken", "said"),
    [
        (TEXT.replace("No findings.", ""), "either a table of findings"),
        (TEXT.replace("| site | side | value |", "| site | value | side |"), "first columns"),
        (TEXT.replace("| both | 2+ |", "| both |"), "2 cells under 3 columns"),
        (TEXT.replace("A note.\n```", "A note."), "one fenced note"),
        (TEXT.replace("```\nA note.\n```", ""), "either a fenced note"),
    ],
)
def test_a_badly_written_case_is_refused(tmp_path: Path, broken: str, said: str) -> None:
    with pytest.raises(CaseError, match=said):
        _cases(tmp_path, broken)


@pytest.mark.parametrize(
    ("value", "site", "wanted"),
    [
        ("2", "patellar", {"grade_low": 2.0, "grade_high": 2.0, "plus": "none", "denominator": None}),
        ("+2/4", "patellar", {"grade_low": 2.0, "plus": "leading", "denominator": 4}),
        ("1-2+", "patellar", {"grade_low": 1.0, "grade_high": 2.0, "plus": "trailing", "descriptor": None}),
        ("trace-1+", "patellar", {"grade_low": 0.5, "grade_high": 1.0}),
        ("-1", "patellar", {"grade_low": -1.0, "grade_high": -1.0}),
        ("trace", "patellar", {"grade_low": None, "descriptor": "trace"}),
        ("+++", "patellar", {"grade_low": 3.0, "scale": "plus-count"}),
        ("+ to ++", "patellar", {"grade_low": 1.0, "grade_high": 2.0, "scale": "plus-count"}),
        ("extensor", "plantar", {"response": "extensor", "descriptor": None}),
        ("absent", "plantar", {"response": "absent", "descriptor": None}),
        ("absent", "ankle_clonus", {"descriptor": "absent", "beats": None, "sustained": None}),
        (
            "4-5 beats, sustained",
            "ankle_clonus",
            {"descriptor": "present", "beats": "4-5", "sustained": True},
        ),
        ("unsustained", "knee_clonus", {"descriptor": "present", "beats": None, "sustained": False}),
        ("not tested: cast", "achilles", {"status": "not_tested", "reason": "cast", "grade_low": None}),
        ("off scale: 7+", "achilles", {"grade_low": None, "as_written": "7+"}),
        ("none", "achilles", {"grade_low": None, "descriptor": None}),
    ],
)
def test_a_value_cell_names_the_fields_it_asks_for(value: str, site: str, wanted: dict[str, object]) -> None:
    fields = fields_of_value(value, site)
    assert {name: fields[name] for name in wanted} == wanted


@pytest.mark.parametrize(
    "change",
    [
        {"value": "2"},
        {"value": "3+"},
        {"value": "2+/4"},
        {"value": "1-2+"},
        {"value": "brisk"},
        {"side": "left"},
        {"side": "both"},
        {"site": "achilles"},
        {"status": "historical"},
        {"certainty": "uncertain"},
        {"which": "upper"},
        {"negated": "yes"},
        {"words": "knees; 3+"},
        {"exam": "2"},
    ],
)
def test_a_finding_that_differs_is_shown_beside_its_row(change: dict[str, str]) -> None:
    assert differences([ROW], [_finding()], NOTE) == ""
    assert "✗" in differences([ROW | change], [_finding()], NOTE)


def test_missing_and_extra_findings_are_differences() -> None:
    assert "✗" in differences([ROW], [], NOTE)
    assert "✗" in differences([], [_finding()], NOTE)
    assert "✗" in differences([ROW], [_finding(), _finding()], NOTE)


def test_both_sides_may_be_one_finding_or_two() -> None:
    both = ROW | {"side": "both"}
    assert differences([both], [_finding(side="left"), _finding(side="right")], NOTE) == ""
    assert differences([ROW | {"side": "left"}, ROW | {"side": "right"}], [_finding(side="both")], NOTE) == ""
    assert "✗" in differences([both], [_finding(side="left")], NOTE)
    open_row = ROW | {"side": "both or unspecified"}
    assert differences([open_row], [_finding(side="both")], NOTE) == ""
    assert differences([open_row], [_finding(side="unspecified")], NOTE) == ""
    assert "✗" in differences([open_row], [_finding(side="left")], NOTE)


def test_a_row_with_a_choice_does_not_take_the_finding_of_a_stricter_row() -> None:
    open_row = ROW | {"side": "left or right"}
    rows = [open_row, ROW | {"side": "left"}]
    assert differences(rows, [_finding(side="left"), _finding(side="right")], NOTE) == ""


def test_a_finding_is_shown_as_a_cell_would_write_it() -> None:
    assert shown_value(_finding()) == "2+"
    assert shown_value(_finding(plus="leading", denominator=4)) == "+2/4"
    clonus = _finding(grade_low=None, grade_high=None, descriptor="present", beats="3", sustained=False)
    assert shown_value(clonus) == "present, 3 beats, unsustained"


def test_unread_words_are_held_to_what_the_case_says() -> None:
    unread = [Unread(start=0, end=8, text="Reflexes", why="no-rule")]
    assert unread_differences([], [], NOTE) == ""
    assert "listed as unread: 'Reflexes'" in unread_differences([], unread, NOTE)
    assert unread_differences(["Reflexes 2+"], unread, NOTE) == ""
    assert "not listed as unread: 'knees'" in unread_differences(["knees"], [], NOTE)
    assert unread_differences(["any"], unread, NOTE) == ""


FIXTURES = Path(__file__).parents[2] / "fixtures"
TEXTS = demo_texts(FIXTURES / "demo")
WRITTEN = [*cases_in(FIXTURES / "cases" / "reading"), *cases_in(FIXTURES / "cases" / "demo")]
CELLS = {
    "side": {"left", "right", "both", "unspecified"},
    "status": {"current", "historical", "hypothetical", "not_tested", "family"},
    "certainty": {"stated", "uncertain"},
    "plus": {"none", "leading", "trailing"},
    "negated": {"yes"},
    "reinforcement": {"only_with", "even_with"},
    "level": {"absent", "low", "normal", "high", "clonus"},
    "response": {"flexor", "extensor", "not_extensor", "equivocal", "withdrawal", "mute", "absent"},
}


@pytest.mark.parametrize("case", WRITTEN, ids=lambda case: case.place)
def test_a_written_case_uses_only_known_names(case: Case) -> None:
    vocabulary = shipped_vocabulary()
    known = {
        **CELLS,
        "site": set(vocabulary.reflexes),
        "descriptor": set(vocabulary.descriptors),
        "scale": set(vocabulary.scales),
    }
    for row in case.rows:
        assert set(row) - {"value", "words"} <= set(Finding.__slots__)
        wanted = [fields_of_value(form, row["site"]) for form in row["value"].split(" or ")]
        cells = [(name, part) for name, cell in row.items() for part in cell.split(" or ")]
        cells += [(name, value) for form in wanted for name, value in form.items() if value is not None]
        strange = [
            (name, cell) for name, cell in cells if name in known and cell not in known[name] | {"", "any"}
        ]
        assert not strange


@pytest.mark.parametrize("case", WRITTEN, ids=lambda case: case.place)
def test_the_words_of_a_written_case_stand_in_its_note(case: Case) -> None:
    note = case.note if case.note is not None else TEXTS[str(case.note_id)]
    words = [part for row in case.rows for part in row.get("words", "").split("; ")]
    words += [part for part in case.unread if part != "any"]
    assert [part for part in words if part not in note] == []
