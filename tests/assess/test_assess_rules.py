"""Settings, age, what was not examined, and what each rule rests on."""

from dataclasses import replace
from pathlib import Path

import pytest
from assess_findings import VOCABULARY, assess, both, codes, diagnostics, finding, note, reading, with_code

from converter.assess import RULE_NAMES, AssessOptions, assess_reading, candidates_of, levels_of
from converter.assess.age import age_at
from converter.assess.rules import RULES
from converter.assess.segments import name_of, number_of
from converter.model import Finding, NotExamined
from converter.words import VocabularyError
from converter.words.anatomy import load_knowledge, shipped_knowledge

KNOWLEDGE = shipped_knowledge()
BUSY = [
    finding("biceps", "left", 1),
    finding("biceps", "right", 3),
    both("patellar", 4),
    finding("achilles", "right", 0),
    both("brachioradialis", 2, quality="inverted"),
    finding("plantar", "left", response="extensor"),
    finding("plantar", "right", response="flexor"),
    both("ankle_clonus", None, "present", level="clonus"),
]


def test_every_code_names_a_rule_that_exists() -> None:
    assert {code.rule for code in KNOWLEDGE.codes.values()} <= set(RULE_NAMES)


@pytest.mark.parametrize("name", [rule.name for rule in RULES])
def test_a_rule_left_out_takes_its_own_findings_alone(name: str) -> None:
    whole, without = assess(*BUSY), assess(*BUSY, options=AssessOptions(rules_left_out=frozenset({name})))
    assert [a for a in whole.abnormalities if a.rule != name] == list(without.abnormalities)


def test_every_rule_but_the_gradients_speaks_in_a_busy_exam() -> None:
    speaking = {abnormality.rule for abnormality in assess(*BUSY).abnormalities}
    assert speaking == {rule.name for rule in RULES} - {"distal-gradient", "arm-leg-difference"}


def test_the_threshold_of_a_side_difference_is_a_setting() -> None:
    findings = [finding("patellar", "left", 2), finding("patellar", "right", 1)]
    assert "side-difference" in codes(assess(*findings))
    assert "side-difference" not in codes(assess(*findings, options=AssessOptions(side_difference=2)))


def test_a_marked_difference_says_so() -> None:
    (found,) = with_code(
        assess(finding("patellar", "left", 3), finding("patellar", "right", 1)), "side-difference"
    )
    assert (found.size, found.side) == (2, "right")
    assert "marked" in found.sentence
    (small,) = with_code(
        assess(finding("patellar", "left", 2), finding("patellar", "right", 1)), "side-difference"
    )
    assert "marked" not in small.sentence


def test_the_age_note_is_a_setting() -> None:
    of = note(age=80)
    assert "absent-ankle-age" in diagnostics(assess(both("achilles", 0), of=of))
    silent = assess(both("achilles", 0), of=of, options=AssessOptions(absent_ankle_age_note=False))
    assert "absent-ankle-age" not in diagnostics(silent)


@pytest.mark.parametrize(
    ("fields", "age"),
    [
        ({"age": 7}, 7),
        ({"birth_date": "2000-05-10", "authored": "2024-05-09"}, 23),
        ({"birth_date": "2000-05-10", "authored": "2024-05-10T08:00:00+10:00"}, 24),
        ({"birth_date": "2000-05", "authored": "2024-06"}, 24),
        ({"birth_date": "2000-05", "authored": "2024-05-20"}, 23),
        ({"birth_date": "2000", "authored": "2024-05-20"}, 23),
        ({"birth_date": "2000-05-10", "authored": None}, None),
        ({"birth_date": "unknown", "authored": "2024-05-20"}, None),
        ({}, None),
    ],
)
def test_age_in_completed_years(fields: dict[str, object], age: int | None) -> None:
    assert age_at(note(**fields)) == age


def test_a_tested_and_an_untested_side() -> None:
    found = assess(
        both("all_limbs", 2, plus="trailing"),
        finding("achilles", "left", status="not_tested", reason="cast"),
        both("plantar", response="flexor"),
    )
    assert found.not_examined == (
        NotExamined(site="achilles", side="left", reason="cast", finding="achilles-left-19"),
    )
    assert not found.abnormalities


def test_what_was_not_tested_keeps_the_side_as_said() -> None:
    found = assess(
        finding("achilles", "unspecified", status="not_tested"), both("plantar", status="not_tested")
    )
    rows = {(row.site, row.side, row.reason) for row in found.not_examined}
    assert {("achilles", "unspecified", "not tested"), ("plantar", "both", "not tested")} <= rows


def test_a_site_that_the_vocabulary_does_not_have_is_said_and_passed_over() -> None:
    strange = replace(finding("patellar", "left", 0), site="elsewhere")
    found = assess(strange, both("patellar", 2))
    assert not found.abnormalities
    assert diagnostics(found) == {"unknown-site"}


def test_a_comparison_of_all_reflexes_makes_brisk_ones_count() -> None:
    """Blumenfeld, neuroexam page (video 58): 3+ is normal unless asymmetric."""
    brisker = finding("all_limbs", "left", comparison="greater_than_other_side")
    found = assess(both("patellar", 3), brisker)
    assert {"side-difference", "increased-reflex", "increased-both-legs"} <= codes(found)


def test_arm_and_leg_of_one_side_have_no_single_candidate() -> None:
    findings = [finding("triceps", "left", 0), finding("achilles", "left", 0)]
    assert candidates_of(reading(findings), note(), VOCABULARY) == ()


def test_an_excepted_reflex_is_not_covered_by_the_rest() -> None:
    found = assess(both("all_limbs", 3), finding("achilles", "left", reason="excepted"))
    (note_of_normal,) = [d for d in found.diagnostics if d.code == "may-be-normal"]
    assert "patellar" in note_of_normal.message
    found = assess(both("all_limbs", 0), finding("achilles", "left", reason="excepted"))
    assert {a.side for a in with_code(found, "absent-reflex") if a.sites == ("achilles",)} == {"right"}
    assert ("achilles", "left") in {(row.site, row.side) for row in found.not_examined}


def test_a_reflex_in_a_cast_is_not_covered_by_the_rest() -> None:
    found = assess(both("all_limbs", 0), finding("achilles", "left", status="not_tested", reason="cast"))
    assert {a.side for a in with_code(found, "absent-reflex") if a.sites == ("achilles",)} == {"right"}


def test_an_unstated_side_is_listed() -> None:
    found = assess(finding("patellar", "unspecified", 2))
    assert NotExamined(site="patellar", side="unspecified", reason="side not stated") in found.not_examined


def test_a_quoted_exam_is_not_assessed() -> None:
    read = reading([both("patellar", 0)], exam_status="historical")
    (found,) = assess_reading(read, note(), VOCABULARY)
    assert not found.abnormalities
    assert diagnostics(found) == {"quoted-exam"}


def test_a_region_differing_from_the_other_is_one_side_difference() -> None:
    found = assess(finding("upper_limb_all", "left", 3), finding("upper_limb_all", "right", 2))
    (difference,) = with_code(found, "side-difference")
    assert difference.sites == ("biceps", "brachioradialis", "triceps")


def test_candidates_show_parts_sources_and_disagreement() -> None:
    """StatPearls PMID 32965909 gives C5-C6; the openEHR archetype gives C6 for the brachioradialis alone."""
    findings = [
        finding("brachioradialis", "left", 0),
        finding("biceps", "left", 2),
        finding("triceps", "left", 2),
    ]
    (found,) = candidates_of(reading(findings), note(), VOCABULARY)
    first = found.candidates[0]
    assert (first.kind, first.name, first.rank, first.explains) == (
        "root",
        "C6",
        1,
        (("brachioradialis", "primary"),),
    )
    assert first.also_serves == ("biceps", "triceps")
    assert "OE" in first.sources
    assert "radial" not in {candidate.name for candidate in found.candidates}
    assert "C6 alone in two" in found.disagreements[0]
    assert "66 %" in found.ceiling


def test_the_primary_root_ranks_before_the_contributing_one() -> None:
    """StatPearls PMID 32965909 (C5, C6); Reider: C5 first."""
    (found,) = candidates_of(reading([finding("biceps", "left", 0)]), note(), VOCABULARY)
    assert [(c.name, c.rank) for c in found.candidates if c.kind == "root"] == [("C5", 1), ("C6", 2)]


@pytest.mark.parametrize(
    ("arms", "spared_to"),
    [
        ([both("upper_limb_all", 2)], "T1"),
        ([both("biceps", 2)], "C7"),
        ([both("biceps", 3)], None),
        ([], None),
    ],
)
def test_normal_arm_reflexes_leave_a_span_of_levels(arms: list[Finding], spared_to: str | None) -> None:
    """Roots: StatPearls PMID 32965909 (biceps C5-C6, triceps C7-C8)."""
    findings = [*arms, both("patellar", 4), both("plantar", response="extensor")]
    (found,) = levels_of(reading(findings), note(), VOCABULARY)
    assert found.spared_to == spared_to


def test_no_single_root_or_nerve_is_looked_for_in_widespread_loss() -> None:
    assert candidates_of(reading([both("all_limbs", 0)]), note(), VOCABULARY) == ()


def test_a_root_that_few_references_name_ties_no_two_reflexes_together() -> None:
    findings = [finding("patellar", "left", 0), finding("achilles", "left", 0)]
    (found,) = candidates_of(reading(findings), note(), VOCABULARY)
    assert found.candidates == ()


def test_segments_are_in_order() -> None:
    order = ["pons", "C1", "C8", "T1", "T12", "L1", "L5", "S1", "S5"]
    numbers = [number_of(segment) for segment in order]
    assert numbers == sorted(numbers)
    assert [name_of(number) for number in numbers] == order
    with pytest.raises(ValueError, match="no segment"):
        number_of("T13")
    with pytest.raises(ValueError, match="no segment"):
        name_of(31)


@pytest.mark.parametrize(
    ("site", "statpearls"),
    [
        ("biceps", {"C5", "C6"}),
        ("brachioradialis", {"C5", "C6"}),
        ("triceps", {"C7", "C8"}),
        ("patellar", {"L2", "L3", "L4"}),
        ("achilles", {"S1", "S2"}),
    ],
)
def test_roots_are_those_of_statpearls(site: str, statpearls: set[str]) -> None:
    """StatPearls, "Physiology, Deep Tendon Reflexes", PMID 32965909."""
    assert {root.root for root in KNOWLEDGE.reflexes[site].roots if "SP1" in root.sources} == statpearls


@pytest.mark.parametrize(
    ("site", "openehr"),
    [
        ("biceps", {"C5", "C6"}),
        ("brachioradialis", {"C6"}),
        ("triceps", {"C7"}),
        ("patellar", {"L4"}),
        ("achilles", {"S1"}),
    ],
)
def test_roots_are_those_of_the_openehr_archetype(site: str, openehr: set[str]) -> None:
    """openEHR CKM archetype CLUSTER.exam_tendon_reflexes.v0 (CC BY-SA 3.0)."""
    assert {root.root for root in KNOWLEDGE.reflexes[site].roots if "OE" in root.sources} == openehr


def test_every_anatomy_row_is_a_reflex_of_the_vocabulary_with_known_segments() -> None:
    assert set(KNOWLEDGE.reflexes) <= set(VOCABULARY.reflexes)
    for reflex in KNOWLEDGE.reflexes.values():
        assert all(number_of(root.root) > 0 for root in reflex.roots)
        assert [root.part for root in reflex.roots].count("primary") <= 1


def test_words_and_scales_of_the_comparison_table_exist() -> None:
    table = KNOWLEDGE.comparison
    assert set(table.words) <= set(VOCABULARY.descriptors)
    assert set(table.may_be_normal) == set(VOCABULARY.scales)
    for word, scales in table.words.items():
        for scale, (low, high) in scales.items():
            levels = {VOCABULARY.scales[scale].level(grade, grade) for grade in (low, high)}
            wanted = VOCABULARY.descriptors[word].level
            assert wanted in levels or wanted == "normal", (word, scale)


def test_causes_name_codes_that_exist() -> None:
    assert all(code in KNOWLEDGE.codes for causes in KNOWLEDGE.causes for code in causes.shown)


def test_a_folder_without_tables_is_an_error_that_names_it(tmp_path: Path) -> None:
    with pytest.raises(VocabularyError, match=r"anatomy\.toml"):
        load_knowledge(tmp_path)
