"""Laws of the assessment, on exams made up by hypothesis."""

from dataclasses import replace
from typing import Any

from assess_findings import VOCABULARY, assess, diagnostics, finding, note, reading
from hypothesis import given, settings
from hypothesis import strategies as st

from converter.assess import assess_reading, candidates_of, course_of, levels_of
from converter.model import Abnormality, Assessment, Finding

MAIN = ("biceps", "brachioradialis", "triceps", "patellar", "achilles")
EXTRA = ("hamstring", "pectoral", "finger_flexor")
REGIONS = ("upper_limb_all", "lower_limb_all", "all_limbs")
MIRROR = {"left": "right", "right": "left"}
WORDS = ("absent", "trace", "diminished", "normal", "intact", "brisk", "hyperactive")
LIMB = {site: reflex.limb for site, reflex in VOCABULARY.reflexes.items()}

FOCAL = {
    "single-reflex": 1,
    "one-limb": 2,
    "one-side": 3,
    "both-arms": 3,
    "both-legs": 3,
    "scattered": 4,
    "generalised": 5,
}

sides = st.sampled_from(("left", "right", "both", "unspecified"))


anywhere = st.sampled_from((*MAIN, *EXTRA, *REGIONS))


@st.composite
def stretch(
    draw: st.DrawFn, at: st.SearchStrategy[str] = anywhere, side: st.SearchStrategy[str] = sides
) -> Finding:
    site, where = draw(at), draw(side)
    kind = draw(st.sampled_from(("grade", "word", "range", "comparison", "quality")))
    certainty = draw(st.sampled_from(("stated", "stated", "uncertain")))
    if kind == "grade":
        plus = draw(st.sampled_from(("none", "trailing")))
        scale = draw(st.sampled_from(("bedside", "bedside", "ninds", "plus-count")))
        return finding(site, where, draw(st.integers(0, 4)), plus=plus, scale=scale, certainty=certainty)
    if kind == "range":
        low = draw(st.integers(0, 3))
        return finding(site, where, (low, low + 1), certainty=certainty)
    if kind == "word":
        return finding(site, where, None, draw(st.sampled_from(WORDS)), certainty=certainty)
    if kind == "comparison":
        said = draw(st.sampled_from(("greater_than_other_side", "less_than_other_side", "equal")))
        return finding(site, where, comparison=said)
    return finding(site, where, quality=draw(st.sampled_from(("spread", "inverted", "pendular"))))


@st.composite
def sign(draw: st.DrawFn) -> Finding:
    kind = draw(st.sampled_from(("plantar", "clonus", "hoffmann", "abdominal")))
    where = draw(sides)
    if kind == "plantar":
        return finding(
            "plantar", where, response=draw(st.sampled_from(("flexor", "extensor", "equivocal", "mute")))
        )
    if kind == "clonus":
        beats = draw(st.sampled_from((None, "2", "3", "6")))
        return finding("ankle_clonus", where, None, "present", level="clonus", beats=beats)
    denied = draw(st.booleans())
    return finding(kind, where, None, "absent" if denied else "present", negated=denied)


exams = st.lists(st.one_of(stretch(), sign()), max_size=8)


def mirrored(findings: list[Finding]) -> list[Finding]:
    return [replace(each, side=MIRROR.get(each.side, each.side), quote=each.quote) for each in findings]


def gist(found: Abnormality, places: dict[str, int], *, mirror: bool = False) -> tuple[object, ...]:
    side = MIRROR.get(found.side, found.side) if mirror else found.side
    rests_on = tuple(places[identifier] for identifier in found.rests_on)
    return (found.code, found.sites, side, found.level, found.size, found.certainty, rests_on, found.hpo)


def gists(findings: list[Finding], *, mirror: bool = False) -> set[tuple[object, ...]]:
    read = reading(findings)
    places = {each.finding: number for number, each in enumerate(read.findings)}
    (found,) = assess_reading(read, note(), VOCABULARY)
    return {gist(abnormality, places, mirror=mirror) for abnormality in found.abnormalities}


@settings(max_examples=200, deadline=None, derandomize=True)
@given(exams)
def test_mirroring_the_exam_mirrors_the_assessment(findings: list[Finding]) -> None:
    assert gists(findings) == gists(mirrored(findings), mirror=True)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(exams)
def test_mirroring_the_exam_mirrors_the_candidates(findings: list[Finding]) -> None:
    here, there = reading(findings), reading(mirrored(findings))
    ours = {(c.side, c.limb, c.reduced, c.candidates) for c in candidates_of(here, note(), VOCABULARY)}
    theirs = {
        (MIRROR.get(c.side, c.side), c.limb, c.reduced, c.candidates)
        for c in candidates_of(there, note(), VOCABULARY)
    }
    assert ours == theirs
    levels = {(c.side, c.sites, c.at_or_above) for c in levels_of(here, note(), VOCABULARY)}
    assert levels == {
        (MIRROR.get(c.side, c.side), c.sites, c.at_or_above) for c in levels_of(there, note(), VOCABULARY)
    }


@settings(max_examples=150, deadline=None, derandomize=True)
@given(exams, st.randoms(use_true_random=False))
def test_the_order_of_findings_never_matters(findings: list[Finding], random: Any) -> None:
    read = reading(findings)
    shuffled = list(read.findings)
    random.shuffle(shuffled)
    (one,) = assess_reading(read, note(), VOCABULARY)
    (two,) = assess_reading(replace(read, findings=tuple(shuffled)), note(), VOCABULARY)
    assert one == two


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.lists(stretch(at=st.sampled_from(MAIN)), max_size=6), st.data())
def test_a_finding_on_another_limb_never_makes_a_pattern_more_focal(
    findings: list[Finding], data: Any
) -> None:
    before = assess(*findings)
    used = {(LIMB[site], side) for each in findings for site in (each.site,) for side in _sides(each.side)}
    free = [
        (kind, side) for kind in ("upper", "lower") for side in ("left", "right") if (kind, side) not in used
    ]
    if not free:
        return
    kind, side = data.draw(st.sampled_from(free))
    at = st.sampled_from([site for site in MAIN if LIMB[site] == kind])
    a_sign = sign().filter(lambda each: LIMB[each.site] == kind).map(lambda each: replace(each, side=side))
    added = data.draw(st.one_of(stretch(at=at, side=st.just(side)), a_sign))
    after = assess(*findings, added)
    for direction in ("reduced", "increased"):
        old, new = _focality(before, direction), _focality(after, direction)
        assert old is None or new is None or new >= old


def _sides(side: str) -> tuple[str, ...]:
    return (side,) if side in MIRROR else ("left", "right")


def _focality(found: Assessment, direction: str) -> int | None:
    ranks = [
        FOCAL[a.code.removeprefix(f"{direction}-")]
        for a in found.abnormalities
        if a.rule == "distribution" and a.code.startswith(direction)
    ]
    return ranks[0] if ranks else None


@settings(max_examples=80, deadline=None, derandomize=True)
@given(st.lists(exams, min_size=1, max_size=3), st.permutations(["ex-1", "ex-2", "ex-3"]))
def test_renaming_examiners_changes_nothing_but_their_names(
    all_findings: list[list[Finding]], names: list[str]
) -> None:
    def course(authors: list[str]) -> Any:
        visits = []
        for number, findings in enumerate(all_findings):
            of = note(id=f"n-{number}", authored=f"2024-03-0{number + 1}", author=authors[number])
            visits.append((of, reading(findings, of)))
        return course_of(visits, VOCABULARY)

    one, two = course(["ex-1", "ex-2", "ex-3"]), course(names)
    assert one.changes == two.changes
    assert one.rows == two.rows
    assert [replace(v, author=None) for v in one.visits] == [replace(v, author=None) for v in two.visits]


@settings(max_examples=80, deadline=None, derandomize=True)
@given(exams)
def test_one_examiner_or_two_changes_only_the_examiner_note(findings: list[Finding]) -> None:
    def changes(second: str) -> list[Any]:
        first, later = note(id="n-1"), note(id="n-2", authored="2024-04-01", author=second)
        visits = [
            (first, reading([finding("all_limbs", "both", 2)], first)),
            (later, reading(findings, later)),
        ]
        return [replace(c, same_examiner=None, sentence="") for c in course_of(visits, VOCABULARY).changes]

    assert changes("ex-1") == changes("ex-2")


@settings(max_examples=150, deadline=None, derandomize=True)
@given(exams)
def test_every_abnormality_rests_on_findings_of_the_exam(findings: list[Finding]) -> None:
    read = reading(findings)
    (found,) = assess_reading(read, note(), VOCABULARY)
    known = {each.finding for each in read.findings}
    assert all(a.rests_on and set(a.rests_on) <= known for a in found.abnormalities)
    assert len({a.abnormality for a in found.abnormalities}) == len(found.abnormalities)
    assert all(a.source and a.sentence.endswith(".") for a in found.abnormalities)
    assert diagnostics(found) is not None
