"""Findings as a careful examiner could state them, for writing and reading back; and what of them counts.

Gives hypothesis strategies whose findings keep the rules of the finding record, and `essence`, the fields
that shorthand must keep: not identifiers, places and quotes, which belong to one text alone.
"""

from dataclasses import fields, replace
from typing import Any

from hypothesis import strategies as st

from converter.model import Finding
from converter.words import Scale, shipped_vocabulary

VOCABULARY = shipped_vocabulary()
SIDES = ("left", "right", "both", "unspecified")
BELONG_TO_ONE_TEXT = frozenset(
    {"finding", "exam", "spans", "start", "end", "quote", "as_written", "scale_basis", "grade_basis"}
)
STRETCH = (
    *("biceps", "triceps", "brachioradialis", "patellar", "achilles", "jaw", "pectoral", "deltoid"),
    *("adductor", "hamstring", "tibialis_posterior", "elbow_unspecified", "upper_limb_all"),
    *("lower_limb_all", "all_limbs", "unspecified"),
)
REGIONS = frozenset({"upper_limb_all", "lower_limb_all", "all_limbs"})
WORDS = ("absent", "trace", "diminished", "normal", "intact", "brisk", "hyperactive", "present")
CLONUS = ("ankle_clonus", "knee_clonus", "wrist_clonus", "clonus_unspecified")
SUPERFICIAL = ("abdominal", "cremasteric", "bulbocavernosus", "anal_wink")
PRIMITIVE = tuple(
    sorted(
        {
            row.meaning.partition(":")[2]
            for row in VOCABULARY.rows
            if row.role == "site" and row.meaning.startswith("primitive:") and "trigger" in row.flags
        }
    )
)
VARIANTS = ("chaddock", "oppenheim", "gordon", "schaefer", "bing")
RESPONSES = ("flexor", "extensor", "not_extensor", "equivocal", "withdrawal", "mute", "absent")
REASONS = ("cast", "amputation", "pain", "refusal", "sedation")


def essence(finding: Finding) -> tuple[tuple[str, Any], ...]:
    """The fields of a finding that shorthand keeps, where they say something."""
    said = ((field.name, getattr(finding, field.name)) for field in fields(finding))
    return tuple(
        (name, value)
        for name, value in said
        if name not in BELONG_TO_ONE_TEXT and value is not None and value is not False and value != "none"
    )


def finding(site: str, kind: str, side: str, **said: Any) -> Finding:
    """A finding with everything that belongs to one text left blank."""
    return Finding(finding="", exam=1, site=site, kind=kind, side=side, start=0, end=0, quote="", **said)


def graded(site: str, side: str, scale: Scale, low: float, high: float, **said: Any) -> Finding:
    """A finding with a grade, its level from the scale's table."""
    return finding(
        site,
        VOCABULARY.reflexes[site].kind,
        side,
        grade_low=low,
        grade_high=high,
        scale=scale.scale,
        level=scale.level(low, high),
        **said,
    )


def _sides(site: str) -> st.SearchStrategy[str]:
    return st.sampled_from(SIDES if VOCABULARY.reflexes[site].paired else ("unspecified",))


@st.composite
def grades(draw: st.DrawFn) -> Finding:
    """A grade or range, with its plus and perhaps its maximum."""
    site = draw(st.sampled_from(STRETCH))
    low = draw(st.integers(0, 4))
    high = draw(st.integers(low, min(low + 1, 4)))
    trace = high == 1 and draw(st.booleans())
    plus = draw(st.sampled_from(("none", "trailing", "leading")))
    if high == 0 or (plus == "leading" and high > low and not trace):
        plus = "none"
    over = draw(st.sampled_from(({}, {"denominator": 4})))
    scale = VOCABULARY.scales["out-of-four" if over else "bedside"]
    said = {"plus": plus, **over, **draw(manners())}
    return graded(site, draw(_sides(site)), scale, 0.5 if trace else low, high, **said)


@st.composite
def counted(draw: st.DrawFn) -> Finding:
    """A number of plus signs, or a range of two."""
    site = draw(st.sampled_from(STRETCH))
    low = draw(st.integers(1, 4))
    high = draw(st.integers(low, min(low + 1, 4)))
    return graded(site, draw(_sides(site)), VOCABULARY.scales["plus-count"], low, high)


@st.composite
def compared(draw: st.DrawFn) -> Finding:
    """One side against the other, or against an earlier exam; what only compares has no level."""
    site = draw(st.sampled_from(("biceps", "patellar", "achilles")))
    comparison = draw(
        st.sampled_from(("greater_than_other_side", "less_than_other_side", "equal", "unchanged"))
    )
    if comparison == "equal":
        return finding(site, "stretch", "both", descriptor="symmetric", comparison=comparison)
    side = draw(st.sampled_from(SIDES if comparison == "unchanged" else ("left", "right")))
    if comparison == "greater_than_other_side" and draw(st.booleans()):
        return finding(site, "stretch", side, descriptor="brisk", comparison=comparison)
    return finding(site, "stretch", side, comparison=comparison)


@st.composite
def of_another_time(draw: st.DrawFn) -> Finding:
    """A finding of the past, of the family, or supposed."""
    status = draw(st.sampled_from(("historical", "family", "hypothetical")))
    return replace(draw(st.one_of(words(), grades())), status=status, certainty="stated")


@st.composite
def manners(draw: st.DrawFn) -> dict[str, Any]:
    """How it was elicited; most often nothing of the kind."""
    said = {
        "reinforcement": ("only_with", "even_with"),
        "manoeuvre": ("jendrassik", "teeth_clenching"),
        "position": ("seated", "supine"),
        "quality": ("pendular",),
    }
    name = draw(st.sampled_from((None, None, None, *said)))
    return {} if name is None else {name: draw(st.sampled_from(said[name]))}


@st.composite
def words(draw: st.DrawFn) -> Finding:
    """A word for strength, perhaps denied or doubted."""
    site = draw(st.sampled_from((*STRETCH, *SUPERFICIAL)))
    word = draw(st.sampled_from(WORDS))
    negated = word in ("brisk", "hyperactive", "diminished") and draw(st.booleans())
    level = None if negated else VOCABULARY.descriptors[word].level
    certainty = "stated" if negated else draw(st.sampled_from(("stated", "stated", "uncertain")))
    kind, side = VOCABULARY.reflexes[site].kind, draw(_sides(site))
    return finding(site, kind, side, descriptor=word, negated=negated, level=level, certainty=certainty)


@st.composite
def signs(draw: st.DrawFn) -> Finding:
    """A sign that is there or not: Hoffmann, crossed adductor, a primitive reflex."""
    site = draw(st.sampled_from(("hoffmann", "crossed_adductor", "primitive")))
    which = draw(st.sampled_from(PRIMITIVE)) if site == "primitive" else None
    there = draw(st.booleans())
    return finding(
        site,
        VOCABULARY.reflexes[site].kind,
        draw(st.sampled_from(SIDES)),
        which=which,
        descriptor="present" if there else "absent",
        negated=not there,
    )


@st.composite
def plantars(draw: st.DrawFn) -> Finding:
    """A plantar response, by stroking the sole or by a named variant."""
    response = draw(st.sampled_from(RESPONSES))
    named = response in ("flexor", "extensor", "not_extensor", "mute")
    which = draw(st.sampled_from((None, None, *VARIANTS))) if named else None
    side, negated = draw(st.sampled_from(SIDES)), response == "not_extensor"
    return finding("plantar", "plantar", side, which=which, response=response, negated=negated)


@st.composite
def clonus(draw: st.DrawFn) -> Finding:
    """Clonus, with beats and whether it lasted, or its absence."""
    site, side = draw(st.sampled_from(CLONUS)), draw(st.sampled_from(SIDES))
    if draw(st.booleans()):
        return finding(site, "clonus", side, descriptor="absent", negated=True)
    first = draw(st.integers(1, 12))
    beats = draw(st.sampled_from((None, str(first), f"{first}-{first + 1}")))
    lasting = draw(st.sampled_from((None, True, False)))
    return finding(site, "clonus", side, descriptor="present", level="clonus", beats=beats, sustained=lasting)


@st.composite
def not_tested(draw: st.DrawFn) -> Finding:
    """A reflex that was not tested, perhaps with the reason."""
    site = draw(st.sampled_from((*STRETCH, "plantar", "ankle_clonus", "abdominal")))
    kind, side = VOCABULARY.reflexes[site].kind, draw(_sides(site))
    reason = draw(st.sampled_from((None, *REASONS)))
    return finding(site, kind, side, status="not_tested", reason=reason)


@st.composite
def rooted(draw: st.DrawFn) -> Finding:
    """A reflex named by its root."""
    site, root = draw(
        st.sampled_from((("achilles", "S1"), ("patellar", "L4"), ("triceps", "C7"), ("unspecified", "C5")))
    )
    grade = draw(st.integers(0, 4))
    scale, side = VOCABULARY.scales["bedside"], draw(st.sampled_from(SIDES))
    return graded(site, side, scale, grade, grade, root=root, plus="trailing" if grade else "none")


def any_finding() -> st.SearchStrategy[Finding]:
    """A finding of any kind."""
    return st.one_of(
        *(grades(), counted(), words(), signs(), plantars(), clonus()),
        *(not_tested(), rooted(), compared(), of_another_time()),
    )
