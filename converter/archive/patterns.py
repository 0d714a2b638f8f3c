"""The SQL of patterns over the findings of an exam, or of two exams of one patient.

Takes a pattern; gives a query over (reading, exam, reflex_at) of the rows of `searched` that it rests on, and
the values to bind. Only current findings of a note's own exam count: what is quoted, feared, denied or of the
family makes no pattern.
"""

from typing import Any

from converter.archive.queries import Asymmetry, Change, Pattern, Sign, Together
from converter.archive.searched import SPREAD, WITHIN_READINGS
from converter.archive.values import ArchiveError

_PAIR = """
SELECT DISTINCT unnest([a.reading, b.reading]) AS reading, unnest([a.exam, b.exam]) AS exam,
       unnest([a.reflex_at, b.reflex_at]) AS reflex_at
FROM {source} a JOIN {source} b ON {together}
WHERE a.status = 'current' AND NOT a.negated AND coalesce(a.exam_status, 'current') = 'current'
  AND b.status = 'current' AND NOT b.negated AND coalesce(b.exam_status, 'current') = 'current'
  AND {conditions}
"""
_ONE_EXAM = "a.reading = b.reading AND a.exam = b.exam"
_LIKE_GRADES = (
    "a.site = b.site AND a.scale = b.scale AND a.reinforcement IS NOT DISTINCT FROM b.reinforcement"
)
_APART = {
    "up": "b.grade_low - a.grade_high",
    "down": "a.grade_low - b.grade_high",
    "any": "greatest(b.grade_low - a.grade_high, a.grade_low - b.grade_high)",
}
_DATED = "a.authored_first = a.authored_last AND b.authored_first = b.authored_last"
_EARLIER = "(a.authored_first, a.authored) < (b.authored_first, b.authored)"


def pattern_sql(pattern: Pattern) -> tuple[str, list[Any]]:
    """The query of a pattern and the values to bind.

    Raises:
        ArchiveError: the pattern cannot be asked, in one sentence.
    """
    if isinstance(pattern, Asymmetry):
        return _asymmetry(pattern)
    return _together(pattern) if isinstance(pattern, Together) else _change(pattern)


def _asymmetry(pattern: Asymmetry) -> tuple[str, list[Any]]:
    conditions = ["a.side = 'left'", "b.side = 'right'", f"{_APART['any']} >= ?"]
    together = f"{_ONE_EXAM} AND {_LIKE_GRADES}"
    return _pair(WITHIN_READINGS, together, conditions, [pattern.at_least], {"a.site": pattern.site})


def _together(pattern: Together) -> tuple[str, list[Any]]:
    conditions = [_sign("a", pattern.first), _sign("b", pattern.second)]
    if pattern.same_side:
        conditions.append("a.side = b.side")
    values = [*_values(pattern.first), *_values(pattern.second)]
    return _pair(WITHIN_READINGS, _ONE_EXAM, conditions, values, {})


def _change(pattern: Change) -> tuple[str, list[Any]]:
    if pattern.direction not in _APART:
        raise ArchiveError("A change goes up, down, or any way.")
    apart = _APART[pattern.direction]
    conditions = [_DATED, _EARLIER, "b.authored_first - a.authored_first <= ?", f"{apart} >= ?"]
    return _pair(
        SPREAD,
        f"a.patient = b.patient AND a.side = b.side AND {_LIKE_GRADES}",
        conditions,
        [pattern.within_days, pattern.at_least],
        {"a.site": pattern.site, "a.side": pattern.side},
    )


def _pair(
    source: str, together: str, conditions: list[str], values: list[Any], wanted: dict[str, str | None]
) -> tuple[str, list[Any]]:
    named = {column: value for column, value in wanted.items() if value is not None}
    where = " AND ".join([*conditions, *(f"{column} = ?" for column in named)])
    return _PAIR.format(source=source, together=together, conditions=where), [*values, *named.values()]


def _sign(end: str, sign: Sign) -> str:
    levels = ", ".join("?" for _ in sign.levels) or "NULL"
    return f"{end}.site = ? AND {end}.level IN ({levels})"


def _values(sign: Sign) -> list[Any]:
    return [sign.site, *sign.levels]
