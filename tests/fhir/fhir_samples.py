"""Invented notes, findings and assessments, and strategies that draw many of them."""

import hashlib
from typing import Any

from hypothesis import strategies as st

from converter.fhir import FhirOptions, resources_of
from converter.model import (
    Abnormality,
    Assessment,
    Diagnostic,
    Exam,
    Finding,
    Note,
    NotExamined,
    Reading,
    Span,
)
from converter.words import shipped_vocabulary

VOCABULARY = shipped_vocabulary()
RECORDED = "2031-03-02T08:00:00Z"
CAUTION = "For records work; not a diagnosis. Confirm with a licensed clinician and local policy."
TEXT = "Reflexes at the Larkfield unit: KJ 2+ left, absent right. AJ not tested, refused."


def note(**changes: Any) -> Note:
    text = changes.pop("text", TEXT)
    given: dict[str, Any] = {
        "id": "visit-7",
        "system": "https://larkfield.example/notes",
        "patient": "pt-3",
        "encounter": "enc-9",
        "author": "examiner-2",
        "facility": "ward-4",
        "authored": "2031-03-01",
        "authored_precision": "day",
        "kind": "progress",
    }
    digest = hashlib.sha256(text.encode("utf-8", errors="replace")).hexdigest()
    return Note(**(given | {"text": text, "hash": digest} | changes))


def finding(**changes: Any) -> Finding:
    given: dict[str, Any] = {
        "finding": "patellar-left-32",
        "exam": 1,
        "site": "patellar",
        "side": "left",
        "kind": "stretch",
        "spans": (Span(32, 34, "site"), Span(35, 37, "value"), Span(38, 42, "side")),
        "start": 32,
        "end": 42,
        "quote": "KJ 2+ left",
    }
    return Finding(**(given | changes))


def graded(grade: float, **changes: Any) -> Finding:
    given: dict[str, Any] = {
        "grade_low": grade,
        "grade_high": grade,
        "grade_basis": "number",
        "scale": "bedside",
        "scale_basis": "assumed",
        "level": "normal",
        "as_written": f"{grade:g}+",
        "plus": "trailing",
    }
    return finding(**(given | changes))


def reading(*findings: Finding, **changes: Any) -> Reading:
    given: dict[str, Any] = {
        "id": "visit-7",
        "system": "https://larkfield.example/notes",
        "note_hash": "",
        "schema": "plexor-record-1",
        "program": "plexor 0.1.0",
        "vocabulary": "0123456789abcdef",
        "exams": (Exam(exam=1, status="current", start=0, end=80),),
        "findings": findings,
    }
    return Reading(**(given | changes))


def abnormality(**changes: Any) -> Abnormality:
    given: dict[str, Any] = {
        "abnormality": "absent-reflex-patellar-right-1",
        "exam": 1,
        "rule": "level",
        "code": "absent-reflex",
        "sites": ("patellar",),
        "side": "right",
        "level": "absent",
        "sentence": "The right patellar reflex is absent.",
        "rests_on": ("patellar-left-32",),
        "source": "common practice, no source",
        "hpo": "HP:0006844",
        "hpo_label": "Absent patellar reflexes",
        "modifiers": ("HP:0012834",),
    }
    return Abnormality(**(given | changes))


def assessment(*abnormalities: Abnormality, **changes: Any) -> Assessment:
    gap = NotExamined(site="achilles", side="both", reason="not documented")
    given: dict[str, Any] = {
        "exam": 1,
        "abnormalities": abnormalities,
        "not_examined": (gap,),
        "caution": CAUTION,
    }
    return Assessment(**(given | changes))


def options(**changes: Any) -> FhirOptions:
    given: dict[str, Any] = {"recorded": RECORDED}
    return FhirOptions(**(given | changes))


def built(*findings: Finding, **changes: Any) -> list[dict[str, Any]]:
    """The resources of an invented note with these findings."""
    return rendered(*findings, **changes)[0]


def rendered(*findings: Finding, **changes: Any) -> tuple[list[dict[str, Any]], tuple[Diagnostic, ...]]:
    """The resources of an invented note with these findings, and what is doubtful."""
    chosen = changes.pop("options", options())
    about = changes.pop("note", note())
    judged = changes.pop("assessments", (assessment(),))
    return resources_of(about, reading(*findings, **changes), judged, VOCABULARY, chosen)


def observation(one: Finding, **changes: Any) -> dict[str, Any]:
    """The Observation of one finding."""
    return next(resource for resource in built(one, **changes) if resource["resourceType"] == "Observation")


def component(resource: dict[str, Any], code: str) -> dict[str, Any] | None:
    """The component of an Observation with one of our codes, without its code."""
    found = [part for part in resource.get("component", ()) if part["code"]["coding"][0]["code"] == code]
    assert len(found) <= 1
    return {name: value for name, value in found[0].items() if name != "code"} if found else None


def value_code(resource: dict[str, Any]) -> str | None:
    """The code of an Observation's value, or None."""
    codings = resource.get("valueCodeableConcept", {}).get("coding", [{"code": None}])
    code: str | None = codings[0]["code"]
    return code


# ---------------------------------------------------------------- strategies

_GRADES = st.sampled_from([None, -4.0, -0.5, 0.0, 0.5, 1.0, 1.25, 2.0, 2.5, 3.0, 4.0, 5.0, 9.0])
_WORDS = st.text(max_size=12)
_SIDES = st.sampled_from(["left", "right", "both", "unspecified"])
_KINDS = st.sampled_from(["stretch", "plantar", "clonus", "superficial", "primitive"])


def maybe(values: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.none() | values


def one_of(*values: Any) -> st.SearchStrategy[Any]:
    return st.sampled_from(values)


@st.composite
def findings(draw: st.DrawFn) -> Finding:
    """A finding with any of its fields, in any mixture, also ones that no sane note holds."""
    start = draw(st.integers(0, 5000))
    end = start + draw(st.integers(0, 60))
    return Finding(
        finding=f"{draw(_WORDS)}-{start}",
        exam=draw(st.integers(1, 3)),
        site=draw(st.sampled_from(sorted(VOCABULARY.reflexes))),
        which=draw(maybe(one_of("palmomental", "chaddock", "never_heard_of"))),
        root=draw(maybe(one_of("C6", "L5", "C99"))),
        side=draw(_SIDES),
        kind=draw(_KINDS),
        grade_low=draw(_GRADES),
        grade_high=draw(_GRADES),
        grade_basis=draw(maybe(one_of("number", "word"))),
        plus=draw(one_of("none", "trailing", "leading")),
        denominator=draw(maybe(one_of(4, 5))),
        scale=draw(maybe(one_of("bedside", "nine-step", "ninds", "unknown-scale"))),
        scale_basis=draw(maybe(one_of("legend", "denominator", "site_default", "assumed"))),
        level=draw(maybe(one_of("absent", "low", "normal", "high", "clonus"))),
        descriptor=draw(maybe(one_of("absent", "brisk", "normal", "abnormal", "invented"))),
        response=draw(maybe(one_of("flexor", "extensor", "not_extensor", "equivocal", "mute"))),
        beats=draw(maybe(one_of("3", "4-5", "5-4", "0", "many"))),
        sustained=draw(maybe(st.booleans())),
        reinforcement=draw(maybe(one_of("only_with", "even_with"))),
        manoeuvre=draw(maybe(one_of("jendrassik", "handstand"))),
        position=draw(maybe(one_of("seated", "on_a_ledge"))),
        technique=draw(maybe(one_of("direct", "through_finger"))),
        quality=draw(maybe(one_of("pendular", "inverted"))),
        comparison=draw(maybe(one_of("greater_than_other_side", "equal", "unchanged"))),
        negated=draw(st.booleans()),
        status=draw(one_of("current", "not_tested", "historical", "hypothetical", "family")),
        certainty=draw(one_of("stated", "uncertain")),
        reason=draw(maybe(one_of("refused", "left leg amputated", "in a cast") | _WORDS)),
        as_written=draw(maybe(_WORDS)),
        spans=tuple(Span(start, end, role) for role in draw(st.lists(one_of("site", "value"), max_size=2))),
        start=start,
        end=end,
        quote=draw(_WORDS),
    )


@st.composite
def notes(draw: st.DrawFn) -> Note:
    """A note with hostile identifiers and any mixture of what the source may know."""
    times = one_of("2031", "2031-03", "2031-03-01", "2031-03-01T10:20", "2031-03-01T10:20:30.5+01:00", "soon")
    return note(
        id=draw(st.text(min_size=1, max_size=20)),
        system=draw(maybe(one_of("urn:oid:1.2.3", "https://a.example/x y", "nonsense \u00a0"))),
        text=draw(st.text(max_size=30)),
        patient=draw(maybe(_WORDS)),
        encounter=draw(maybe(_WORDS)),
        author=draw(maybe(_WORDS)),
        facility=draw(maybe(_WORDS)),
        authored=draw(maybe(times)),
        kind=draw(maybe(_WORDS)),
    )


@st.composite
def rendered_notes(draw: st.DrawFn) -> list[dict[str, Any]]:
    """The resources of a drawn note."""
    told = draw(st.lists(findings(), max_size=4, unique_by=lambda one: one.finding))
    rests_on = tuple(one.finding for one in told)
    found = abnormality(
        rests_on=rests_on,
        sites=draw(one_of(("patellar",), ("patellar", "achilles"), ())),
        side=draw(_SIDES),
        size=draw(maybe(one_of(1.0, 1.5))),
        code=draw(one_of("absent-reflex", "made-up-code")),
        hpo=draw(one_of(None, "HP:0006844")),
        certainty=draw(one_of("stated", "uncertain")),
        sentence=draw(_WORDS),
    )
    chosen = options(
        expand=draw(st.booleans()),
        quotes=draw(st.booleans()),
        note_text=draw(st.booleans()),
        diagnostic_report=draw(st.booleans()),
        zone=draw(one_of(None, "Europe/Vienna")),
        subject=draw(one_of("logical", "conditional", "literal")),
        patient_ids={"pt-3": "p3"},
        status=draw(one_of("preliminary", "final")),
        recorded=draw(one_of(None, RECORDED)),
    )
    exams = tuple(Exam(exam=n, status="current", start=0, end=9) for n in (1, 2, 3))
    judged = tuple(assessment(*((found,) if n == 1 else ()), exam=n) for n in (1, 2))
    about = draw(notes())
    return resources_of(about, reading(*told, exams=exams), judged, VOCABULARY, chosen)[0]
