"""Rows for the OMOP Common Data Model 5.4: NOTE, NOTE_NLP, OBSERVATION and MEASUREMENT.

Takes notes with their readings, and the site's maps; gives CSV files and, if wished, rows in PostgreSQL.
"""

from converter.exports.omop.concepts import ConceptMap, read_concepts
from converter.exports.omop.keys import prepare_keys
from converter.exports.omop.site_files import IdMap, read_ids
from converter.exports.omop.target import OmopTarget, SiteMaps

__all__ = ["ConceptMap", "IdMap", "OmopTarget", "SiteMaps", "prepare_keys", "read_concepts", "read_ids"]
