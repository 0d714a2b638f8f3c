"""How often each pattern is found over many exams.

Takes assessments one after the other, so that memory does not grow with them; gives counts and a small table.
"""

from collections import Counter
from collections.abc import Iterable, Mapping

from converter.assess.making import QUOTED_EXAM
from converter.model import Assessment
from converter.words.anatomy import shipped_knowledge

NOTHING_FOUND = "no abnormality found in what was examined"


def pattern_counts(assessments: Iterable[Assessment]) -> dict[str, int]:
    """For each code the number of exams in which it was found, the most frequent first.

    The key `exams` holds the number of exams, `none-found` those in which no rule found anything. Exams that
    a note quotes from an earlier time are not assessed, so they are not counted.
    """
    counts: Counter[str] = Counter()
    exams = 0
    for assessment in assessments:
        if any(diagnostic.code == QUOTED_EXAM for diagnostic in assessment.diagnostics):
            continue
        exams += 1
        counts.update({abnormality.code for abnormality in assessment.abnormalities} or {"none-found"})
    ordered = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    return {"exams": exams} | dict(ordered)


def counts_text(counts: Mapping[str, int]) -> str:
    """The counts as a table: how many exams, what share of all, which pattern."""
    total = counts.get("exams", 0)
    lines = ["1 exam" if total == 1 else f"{total} exams"]
    for code, number in counts.items():
        if code != "exams":
            lines.append(f"  {number:>7}  {100 * number / total:5.1f} %  {pattern_label(code)}")
    return "\n".join(lines)


def pattern_label(code: str) -> str:
    """What a key of the counts is called."""
    known = shipped_knowledge().codes.get(code)
    return known.label if known else NOTHING_FOUND
