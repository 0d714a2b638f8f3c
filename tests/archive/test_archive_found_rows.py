"""Found rows against the same SQL by hand over the documented views: every value, its type, and the order."""

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from archive_notes import VOCABULARY, finding, full_item, load_all, new_archive, note, read
from hypothesis import given, settings
from hypothesis import strategies as st

from converter.archive import (
    Archive,
    Asymmetry,
    Change,
    FindQuery,
    FoundRow,
    Maker,
    Sign,
    Together,
    amend,
    find,
)
from converter.archive.fetching import rows_of
from converter.model import Amendment

KNEE, ANKLE = "patellar", "achilles"
ORDER = """
patient NULLS LAST, authored_first NULLS LAST, authored NULLS LAST, system NULLS FIRST, id, reading,
{place}"""
STANDS = "{0}.status = 'current' AND NOT {0}.negated AND coalesce({0}.exam_status, 'current') = 'current'"
ALIKE = f"""
{STANDS.format("seen")} AND {STANDS.format("o")} AND seen.site = o.site AND seen.scale = o.scale
AND seen.reinforcement IS NOT DISTINCT FROM o.reinforcement"""
SEARCHES: list[tuple[FindQuery, str]] = [
    (FindQuery(statuses=()), "TRUE"),
    (FindQuery(levels=("absent", "high")), "level IN ('absent', 'high') AND status = 'current'"),
    (FindQuery(sites=(KNEE,), statuses=()), "site = 'patellar'"),
    (FindQuery(sites=(ANKLE,), sides=("left",), levels=("absent",)),
     "site = 'achilles' AND side = 'left' AND level = 'absent' AND status = 'current'"),
    (FindQuery(sites=(KNEE,), patients=("p1",), exact=True),
     "site = 'patellar' AND patient = 'p1' AND basis = 'direct' AND status = 'current'"),
    (FindQuery(spread=True, scale="bedside", grade_from=1, grade_to=3, date_from="2024"),
     """scale = 'bedside' AND grade_low >= 1 AND grade_high <= 3 AND authored_first >= DATE '2024-01-01'
        AND status = 'current'"""),
    (FindQuery(patterns=(Asymmetry(2, ANKLE),)),
     f"""status = 'current' AND EXISTS (
         SELECT 1 FROM current_reflexes o WHERE {ALIKE} AND seen.reading = o.reading AND seen.exam = o.exam
           AND seen.site = 'achilles' AND (seen.side, o.side) IN (('left', 'right'), ('right', 'left'))
           AND greatest(seen.grade_low - o.grade_high, o.grade_low - seen.grade_high) >= 2)"""),
    (FindQuery(patterns=(Together(Sign(ANKLE, ("absent",)), Sign(KNEE, ("high", "clonus"))),)),
     f"""status = 'current' AND EXISTS (
         SELECT 1 FROM current_reflexes o WHERE {STANDS.format("seen")} AND {STANDS.format("o")}
           AND seen.reading = o.reading AND seen.exam = o.exam AND seen.side = o.side AND (
             seen.site = 'achilles' AND seen.level = 'absent'
             AND o.site = 'patellar' AND o.level IN ('high', 'clonus')
             OR o.site = 'achilles' AND o.level = 'absent'
             AND seen.site = 'patellar' AND seen.level IN ('high', 'clonus')))"""),
    (FindQuery(patterns=(Change(2, 27, KNEE),)),
     f"""status = 'current' AND EXISTS (
         SELECT 1 FROM current_reflexes o WHERE {ALIKE} AND seen.site = 'patellar' AND seen.side = o.side
           AND seen.patient = o.patient AND seen.authored_first = seen.authored_last
           AND o.authored_first = o.authored_last
           AND (seen.authored_first, seen.authored) <> (o.authored_first, o.authored)
           AND abs(seen.authored_first - o.authored_first) <= 27
           AND greatest(seen.grade_low - o.grade_high, o.grade_low - seen.grade_high) >= 2)"""),
    (FindQuery(patterns=(Asymmetry(1), Asymmetry(2, KNEE)), sites=(KNEE,)),
     f"""status = 'current' AND site = 'patellar' AND EXISTS (
         SELECT 1 FROM current_reflexes o JOIN current_reflexes e ON e.reading = o.reading AND e.exam = o.exam
         WHERE {ALIKE.replace("seen", "e")} AND seen.reading = o.reading AND seen.exam = o.exam
           AND o.site = 'patellar' AND (e.side, o.side) = ('left', 'right')
           AND greatest(e.grade_low - o.grade_high, o.grade_low - e.grade_high) >= 2)"""),
]  # fmt: skip


def by_hand(archive: Archive, query: FindQuery, where: str) -> list[tuple[Any, ...]]:
    """The rows that a person would ask the views for."""
    if query.sites or query.patterns or query.spread:
        source, order = "current_reflexes", ORDER.format(place="finding_place, place")
    else:
        source = "(SELECT *, 'direct' AS basis, site AS said_site, side AS said_side FROM current_findings)"
        order = ORDER.format(place="place")
    sql = f"SELECT {', '.join(FoundRow._fields)} FROM {source} AS seen WHERE {where} ORDER BY {order}"
    return archive.connection.execute(sql).fetchall()


def told_apart(rows: Any) -> list[tuple[str, ...]]:
    """Rows by what each value is and how it is written: 0 is not 0.0, and no number equals itself."""
    return [tuple(repr(value) for value in row) for row in rows]


def same(archive: Archive) -> int:
    """Hold every search to the SQL by hand, whole and cut short; how many rows there were."""
    number = 0
    for query, where in SEARCHES:
        wanted = told_apart(by_hand(archive, query, where))
        assert told_apart(find(archive, query)) == wanted
        assert told_apart(find(archive, replace(query, limit=3))) == wanted[:3]
        number += len(wanted)
    return number


STRANGE = 'a "b\\ \t\n\r\x00\x1f\x7f,[]{} é ☃ 𝄞 \u2028 null'
WORDS = st.text(st.characters(codec="utf-8"), max_size=12)
SITES = st.sampled_from([KNEE, ANKLE, "biceps", "all_limbs"])
SIDES = st.sampled_from(["left", "right", "both", "unspecified"])
FINDINGS = st.builds(
    lambda site, side, grade, exam, words, more: finding(
        site, side, grade, exam=exam, as_written=words, quote=words, reason=words or None, **more
    ),
    SITES, SIDES, st.none() | st.integers(0, 4), st.integers(1, 2), WORDS,
    st.fixed_dictionaries({}, optional={
        "status": st.sampled_from(["current", "historical"]), "negated": st.booleans(),
        "reinforcement": st.sampled_from([None, "only_with"]), "sustained": st.sampled_from([None, True]),
    }),
)  # fmt: skip
NOTES = st.lists(
    st.tuples(
        st.sampled_from(["p1", "p2", None]),
        st.sampled_from(["2024-03-05", "2024-03", "2024-03-05T10:00:00", "2024-04-01", None, "then"]),
        st.lists(FINDINGS, max_size=4),
    ),
    min_size=1,
    max_size=8,
)


@given(NOTES, NOTES)
@settings(max_examples=12, deadline=None)
def test_a_search_gives_what_the_views_hold(
    tmp_path_factory: pytest.TempPathFactory, first: Any, second: Any
) -> None:
    """The second load supersedes notes of the first."""
    with new_archive(tmp_path_factory.mktemp("rows")) as archive:
        for run, notes in enumerate((first, second)):
            items = [
                read(note(f"n{number}", f"of run {run}", patient=patient, authored=day),
                     *(replace(one, finding=f"f{place}") for place, one in enumerate(said)))
                for number, (patient, day, said) in enumerate(notes)
            ]  # fmt: skip
            load_all(archive, items, f"run-{run}")
        same(archive)


def test_what_persons_said_and_every_field_come_out_as_the_views_have_them(tmp_path: Path) -> None:
    knee = finding(KNEE, "left", 0, which="w", quote=STRANGE, as_written=STRANGE, quality=STRANGE)
    grades = {"left": math.inf, "right": -math.inf, "both": math.nan, "unspecified": 1e-7}
    odd = [finding(ANKLE, side, 0, finding=side, grade_low=low, grade_high=low)
           for side, low in grades.items()]  # fmt: skip
    items = [read(note("n1", patient=STRANGE), knee, *odd), read(note("n2"), knee), full_item()]
    with new_archive(tmp_path, *items) as archive:
        about, said = note("n2"), replace(knee, level="high", grade_low=3.0, grade_high=3.5)
        amend(archive, Amendment(
            system=None, id="n2", note_hash=about.hash, spans=(), verdict="corrected", finding=said,
            made_on=said.finding, by="r1", at="2031-05-01T08:00:00Z",
        ), Maker(VOCABULARY, lambda *_: ()))  # fmt: skip
        assert same(archive) > 10
        (row,) = find(archive, FindQuery(notes=("n2",)))
        assert (row.verdict, row.grade_high, row.quote) == ("corrected", 3.5, STRANGE)
        assert isinstance(row, FoundRow)


def test_texts_that_many_rows_share_are_forgotten_when_there_are_too_many(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("converter.archive.fetching._MOST_SHARED", 2)
    own = '[null,"n",null,null,null,null,null,"f",null,0,4,null]'
    wanted = [f"s{number}" for number in range(9)]
    shared = [f'[1,"{site}",{",".join(["null"] * 25)}]' for site in wanted]
    known: dict[str, list[Any]] = {}
    rows = [row for text in shared for row in rows_of([(own, text), (own, text)], known)]
    assert [row.site for row in rows] == [site for site in wanted for _ in range(2)]
    assert len(known) <= 3
