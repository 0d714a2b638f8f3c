"""The four tables of OMOP CDM 5.4 that are written: their columns in order, and how much text they hold.

Source: the field rules of CDM 5.4 (OHDSI CommonDataModel, OMOP_CDMv5.4_Field_Level).
"""

from collections.abc import Mapping

NOTE = (
    "note_id", "person_id", "note_date", "note_datetime", "note_type_concept_id", "note_class_concept_id",
    "note_title", "note_text", "encoding_concept_id", "language_concept_id", "provider_id",
    "visit_occurrence_id", "visit_detail_id", "note_source_value", "note_event_id",
    "note_event_field_concept_id",
)  # fmt: skip
NOTE_NLP = (
    "note_nlp_id", "note_id", "section_concept_id", "snippet", "offset", "lexical_variant",
    "note_nlp_concept_id", "note_nlp_source_concept_id", "nlp_system", "nlp_date", "nlp_datetime",
    "term_exists", "term_temporal", "term_modifiers",
)  # fmt: skip
OBSERVATION = (
    "observation_id", "person_id", "observation_concept_id", "observation_date", "observation_datetime",
    "observation_type_concept_id", "value_as_number", "value_as_string", "value_as_concept_id",
    "qualifier_concept_id", "unit_concept_id", "provider_id", "visit_occurrence_id", "visit_detail_id",
    "observation_source_value", "observation_source_concept_id", "unit_source_value",
    "qualifier_source_value", "value_source_value", "observation_event_id", "obs_event_field_concept_id",
)  # fmt: skip
MEASUREMENT = (
    "measurement_id", "person_id", "measurement_concept_id", "measurement_date", "measurement_datetime",
    "measurement_time", "measurement_type_concept_id", "operator_concept_id", "value_as_number",
    "value_as_concept_id", "unit_concept_id", "range_low", "range_high", "provider_id",
    "visit_occurrence_id", "visit_detail_id", "measurement_source_value", "measurement_source_concept_id",
    "unit_source_value", "unit_source_concept_id", "value_source_value", "measurement_event_id",
    "meas_event_field_concept_id",
)  # fmt: skip

TABLES: Mapping[str, tuple[str, ...]] = {
    "note": NOTE,
    "note_nlp": NOTE_NLP,
    "observation": OBSERVATION,
    "measurement": MEASUREMENT,
}
"""By name, in the order in which rows can be put in."""

SHORT, MIDDLE, STRING, LONG = 50, 250, 60, 2000
"""Characters that `*_source_value`, the snippet and its like, `value_as_string` and `term_modifiers` hold."""
