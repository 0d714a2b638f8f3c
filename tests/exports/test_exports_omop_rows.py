"""What becomes of findings in the OMOP tables: which turn into clinical rows, and what the others say.

Outside: the field rules of CDM 5.4 (OHDSI CommonDataModel, OMOP_CDMv5.4_Field_Level): `term_exists` is false
for negation and another subject, `term_temporal` is past for history, `value_as_concept_id` is 0 for a word
without a mapping and empty without a word, a domain decides about the table. What the demo's notes say is in
`fixtures/demo/README.md`.
"""

from pathlib import Path

import pytest
from omop_samples import Site, make_site, plexor, small_site

DATED = {"authored": "2031-03-04T09:30:00+01:00", "patient": "p1", "encounter": "e1", "kind": "admission"}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Site:
    site = make_site(tmp_path_factory.mktemp("site"))
    ran = site.export("out")
    assert ran.status == 0, ran.err
    return site


def of_note(site: Site, note: str) -> list[dict[str, str]]:
    """The rows of NOTE_NLP of a note, each with where its finding went."""
    traced = {row["note_nlp_id"]: row for row in site.rows("out", "trace") if row["id"] == note}
    return [
        {**row, **traced[row["note_nlp_id"]]}
        for row in site.rows("out", "note_nlp")
        if row["note_nlp_id"] in traced
    ]


def test_every_finding_has_a_row_and_its_offset_leads_to_its_words(demo: Site) -> None:
    texts = {row["note_id"]: row["note_text"] for row in demo.rows("out", "note")}
    rows = demo.rows("out", "note_nlp")
    assert len(rows) == sum(1 for _ in demo.rows("out", "trace")) > 100
    for row in rows:
        start, words = int(row["offset"]), row["lexical_variant"]
        assert texts[row["note_id"]][start : start + len(words)] == words
        assert words in row["snippet"]


def test_a_mother_s_ankle_jerks_are_no_row_of_the_patient(demo: Site) -> None:
    """P-011, second visit: the mother's ankle jerks are absent too."""
    (hers,) = [row for row in of_note(demo, "P-011-V2") if "subject=family" in row["term_modifiers"]]
    assert (hers["term_exists"], hers["term_temporal"], hers["row_id"]) == ("N", "", "")
    assert hers["stays_because"] == "family"


def test_a_quoted_earlier_exam_is_past(demo: Site) -> None:
    """P-006, third visit: quotes the exam of 12 May."""
    (quoted,) = [row for row in of_note(demo, "P-006-V3") if row["term_temporal"] == "past"]
    assert (quoted["term_exists"], quoted["row_id"]) == ("Y", "")


def test_an_amputated_leg_is_never_an_absent_reflex(demo: Site) -> None:
    """P-010: the right leg is amputated below the knee."""
    (ankle,) = [row for row in of_note(demo, "P-010-V1") if "code=achilles-right" in row["term_modifiers"]]
    assert (ankle["term_exists"], ankle["row_id"], ankle["stays_because"]) == ("", "", "not_tested")
    assert "reason=amputation" in ankle["term_modifiers"]
    measured = {row["measurement_source_value"] for row in demo.rows("out", "measurement")}
    observed = {row["observation_source_value"] for row in demo.rows("out", "observation")}
    assert not any("not-tested" in one for one in measured | observed)


def test_a_denied_sign_does_not_exist_and_its_row_says_absent(demo: Site) -> None:
    """P-001, first visit: Hoffmann's sign is positive on the left and negative on the right."""
    right = next(row for row in of_note(demo, "P-001-V1") if "code=hoffmann-right" in row["term_modifiers"])
    left = next(row for row in of_note(demo, "P-001-V1") if "code=hoffmann-left" in row["term_modifiers"])
    assert (left["term_exists"], right["term_exists"]) == ("Y", "N")
    rows = {row["observation_id"]: row for row in demo.rows("out", "observation")}
    assert rows[right["row_id"]]["value_as_string"] == "absent"
    assert rows[right["row_id"]]["value_as_concept_id"] == "2000000011", (
        "the map's concept of any absent value"
    )


def test_the_domain_of_the_concept_decides_about_the_table(demo: Site) -> None:
    """P-001, first visit: left knee jerk 3+; left ankle jerk 4+ with four beats; left plantar extensor."""
    (knee,) = [
        row
        for row in demo.rows("out", "measurement")
        if row["measurement_source_value"] == "patellar-left" and row["measurement_date"] == "2025-02-03"
    ]
    assert knee["measurement_concept_id"] == "2000000001"
    assert (knee["value_as_number"], knee["value_source_value"]) == ("3", "3+")
    assert (knee["unit_source_value"], knee["unit_concept_id"]) == ("bedside (assumed)", "2000000020")
    assert knee["measurement_type_concept_id"] == "32858"
    assert knee["value_as_concept_id"] == "", "a number is no word, and the map names no concept for it"
    sole = next(
        row for row in demo.rows("out", "observation") if row["observation_source_value"] == "plantar-left"
    )
    assert (sole["observation_concept_id"], sole["value_as_concept_id"]) == ("2000000004", "2000000010")
    beats = next(
        row
        for row in demo.rows("out", "observation")
        if row["observation_source_value"] == "ankle-clonus-left"
    )
    assert (beats["observation_concept_id"], beats["value_as_number"], beats["unit_source_value"]) == (
        "0",
        "4",
        "beats",
    )


def test_what_the_map_lacks_is_listed_so_that_it_can_be_filled_in(demo: Site, tmp_path: Path) -> None:
    site = demo.copied(tmp_path)
    listed = (site.folder / "out" / "unmapped.csv").read_text().splitlines()
    assert "biceps-right,bedside:2,,,,,,4" in listed
    filled = [line.replace(",,,,,,", ",2000000007,Observation,,,,") for line in listed[1:]]
    rows = (site.folder / "map.csv").read_text().splitlines()
    (site.folder / "map.csv").write_text(
        "\n".join([f"{listed[0]}", *(f"{row}," for row in rows[1:]), *filled]) + "\n"
    )
    ran = site.export("filled")
    assert ran.status == 0, ran.err
    assert site.manifest("out")["rows_without_concept"] > 0
    assert site.manifest("filled")["rows_without_concept"] == 0


def test_the_row_of_a_value_comes_before_that_of_the_code(tmp_path: Path) -> None:
    site = small_site(tmp_path, [{**DATED, "id": "n1", "text": "Left ankle jerk absent. Left knee jerk 3+."}])
    assert site.export("out").status == 0
    (absent,) = site.rows("out", "observation")
    assert absent["observation_concept_id"] == "2000000003"
    assert (absent["value_as_string"], absent["value_as_concept_id"]) == ("absent", "2000000011")
    (note,) = site.rows("out", "note")
    assert (note["note_class_concept_id"], note["note_source_value"]) == ("2000000030", "admission")
    assert (note["note_datetime"], note["visit_occurrence_id"]) == ("2031-03-04 09:30:00", "5001")


def test_a_denied_word_is_not_that_word(tmp_path: Path) -> None:
    site = small_site(tmp_path, [{**DATED, "id": "n1", "text": "Knee jerks not brisk."}])
    assert site.export("out").status == 0
    rows = site.rows("out", "measurement")
    assert [(row["value_as_number"], row["value_as_concept_id"]) for row in rows] == [("", "0")]
    (nlp,) = site.rows("out", "note_nlp")
    assert nlp["term_exists"] == "N"
    assert "value=not-brisk" in nlp["term_modifiers"]


def test_a_doubted_finding_stays_in_note_nlp(tmp_path: Path) -> None:
    site = small_site(tmp_path, [{**DATED, "id": "n1", "text": "Possible left Babinski."}])
    assert site.export("out").status == 0
    assert site.rows("out", "observation") == []
    (nlp,) = site.rows("out", "note_nlp")
    assert nlp["term_exists"] == ""
    assert site.manifest("out")["stays_in_note_nlp"] == {"uncertain": 1}


@pytest.mark.parametrize("authored", ["", "2031", "2031-03"])
def test_a_note_without_a_day_gets_none_invented(tmp_path: Path, authored: str) -> None:
    notes = [{**DATED, "id": "n1", "text": "KJ 2+ bilat.", "authored": authored},
             {**DATED, "id": "n2", "text": "KJ 2+ bilat."}]  # fmt: skip
    site = small_site(tmp_path, notes)
    ran = site.export("out")
    assert "1 note left out (no-date)" in ran.err
    assert [row["note_id"] for row in site.rows("out", "note")] == ["1"]
    assert site.rows("out", "left-out") == [{"system": "urn:example:notes", "id": "n1", "reason": "no-date"}]
    assert site.manifest("out")["findings_left_out"] == {"no-date": 1}


def test_patients_that_the_site_does_not_know_are_listed(demo: Site) -> None:
    """P-012 is not in the map; the texts in files name no patient."""
    assert demo.rows("out", "patients-left-out") == [
        {"system": "https://rehab.example/notes", "patient": "P-012"}
    ]
    manifest = demo.manifest("out")
    assert manifest["counts"]["notes_left_out"] == {"no-patient": 14, "no-person": 2}
    assert manifest["counts"]["notes"] == 46
    findings = manifest["rows"]["note_nlp"] + sum(manifest["findings_left_out"].values())
    assert findings == manifest["counts"]["findings"]
    clinical = manifest["rows"]["observation"] + manifest["rows"]["measurement"]
    assert clinical + sum(manifest["stays_in_note_nlp"].values()) == manifest["rows"]["note_nlp"]


def test_withheld_words_are_a_fixed_marker(tmp_path: Path) -> None:
    site = small_site(
        tmp_path, [{**DATED, "id": "n1", "text": "Seen in the ward. Knee jerks 2+ bilaterally."}]
    )
    assert site.export("out", "--no-quotes").status == 0
    (note,), (nlp,) = site.rows("out", "note"), site.rows("out", "note_nlp")
    assert note["note_text"] == nlp["lexical_variant"] == "[words withheld]"
    assert nlp["snippet"] == ""
    for file in (site.folder / "out").iterdir():
        assert b"nee jerks" not in file.read_bytes()


def test_a_note_of_hostile_text_comes_back_as_it_was(tmp_path: Path) -> None:
    text = 'A "quote", a line\r\n=1+1\n\\.\nand more: KJ 2+ bilat.\ttail\r'
    site = small_site(tmp_path, [{**DATED, "id": "n1", "text": text}])
    assert site.export("out").status == 0
    assert site.rows("out", "note")[0]["note_text"] == text


def test_an_archive_without_words_gives_the_marker_too(tmp_path: Path) -> None:
    site = small_site(tmp_path, [{**DATED, "id": "n1", "text": "Knee jerks 2+ bilaterally."}])
    site.archive.unlink()
    (tmp_path / "plexor.toml").write_text("[archive]\nquotes = false\n")
    ran = plexor(
        "load", tmp_path / "notes.jsonl", "--archive", site.archive, "--config", tmp_path / "plexor.toml"
    )
    assert ran.status == 0, ran.err
    assert site.export("out").status == 0
    assert site.rows("out", "note")[0]["note_text"] == "[words withheld]"
