"""Loads the figures, the headings and the published figures from their data files.

Takes the shipped files and the vocabulary, whose scales and main reflexes have figures; gives values.
"""

import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from converter.audit.values import Figure, Published
from converter.model.record import plain_number
from converter.words import Vocabulary

_HERE = Path(__file__).parent
SIDE_CATEGORIES = {
    "both": "both sides",
    "right": "right only",
    "left": "left only",
    "unstated": "side not stated",
    "none": "not documented",
}
PLUS_CATEGORIES = {"none": "2", "trailing": "2+", "leading": "+2"}
BETWEEN = "between"


def figures_for(vocabulary: Vocabulary, *, has_text: bool) -> tuple[Figure, ...]:
    """The figures in the order of the report.

    Args:
        vocabulary: its main reflexes and scales have figures of their own.
        has_text: whether the archive holds the text of the notes; else denominators that need it give way.
    """
    made = [_figure(name, row, has_text) for name, row in _load("figures.toml").items()]
    after = {
        "all-main": [*_sides(vocabulary)],
        "scale-stated": [*_headings(has_text)],
        "one-grade": [*_grades(vocabulary), _plus()],
    }
    return tuple(one for figure in made for one in (figure, *after.get(figure.figure, ())))


def headings() -> Mapping[str, tuple[str, tuple[str, ...]]]:
    """Label and wordings of each part of the examination."""
    return {name: (row["label"], tuple(row["words"])) for name, row in _load("headings.toml").items()}


def published() -> tuple[Published, ...]:
    """The published figures."""
    return tuple(
        Published(**{**row, "beside": tuple(row["beside"])}) for row in _load("published.toml")["row"]
    )


def _load(name: str) -> dict[str, Any]:
    return tomllib.loads((_HERE / name).read_text(encoding="utf-8"))


def _figure(name: str, row: dict[str, Any], has_text: bool) -> Figure:
    of = row.get("of") if has_text else row.get("or_of", row.get("of"))
    kept = {key: value for key, value in row.items() if key != "or_of"}
    return Figure(figure=name, **kept | {"of": of})


def _sides(vocabulary: Vocabulary) -> Iterator[Figure]:
    main = [site for site, reflex in vocabulary.reflexes.items() if reflex.main]
    for site in (*main, "plantar"):
        label = vocabulary.reflexes[site].label
        yield Figure(
            figure=f"sides-{site}",
            topic="Completeness",
            title=f"{label}: which sides",
            meaning=f"On which sides the note documents the {label[0].lower() + label[1:]}, "
            "by itself or through a region that covers it.",
            of="reflexes",
            categories=SIDE_CATEGORIES,
        )


def _headings(has_text: bool) -> Iterator[Figure]:
    for name, (label, _) in headings().items():
        yield Figure(
            figure=f"heading-{name}",
            topic="Completeness",
            title=f"{label}: heading present",
            meaning="The note has a heading or opening word of this part of the examination. "
            "Only its presence is counted, not what stands under it.",
            of="exam" if has_text else "note",
            text=True,
        )


def _grades(vocabulary: Vocabulary) -> Iterator[Figure]:
    for name, scale in vocabulary.scales.items():
        grades = {f"{plain_number(grade)}": f"{plain_number(grade)}" for grade in sorted(scale.grades)}
        yield Figure(
            figure=f"grades-{name}",
            topic="Sides and values",
            title=f"Grades written: {scale.title}",
            meaning="How often each grade of this scale was written, over all current graded findings. One "
            "grade that takes nearly all is digit preference, or a healthy group of patients: compare like "
            "with like.",
            unit="grades",
            categories={**grades, BETWEEN: "half or range"},
        )


def _plus() -> Figure:
    return Figure(
        figure="plus",
        topic="Sides and values",
        title="How the plus is written",
        meaning="By convention 2, 2+ and +2 are the same grade; a mixture of them leaves it open whether the "
        "plus is a half step. Grades made of plus signs alone do not count.",
        unit="grades",
        categories=PLUS_CATEGORIES,
    )
