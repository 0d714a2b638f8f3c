"""Checks FHIR resources against any StructureDefinition.

Takes resources as dicts (or files of JSON, NDJSON and XML) and definitions (ours, a site's, the base of a
FHIR release); gives Diagnostics, an OperationOutcome, or a count by rule. Leaves notes and the writing of
resources to others. A newcomer reads `checker`, then `walk`, then `snapshot` and `slicing`.
"""

from converter.check.checker import Checker
from converter.check.library import RELEASES, Definitions, load_definitions
from converter.check.profiles import (
    ProfileRow,
    TreeRow,
    check_definitions,
    element_tree,
    listed_profiles,
)
from converter.check.read import read_resources
from converter.check.report import operation_outcome, short_name, summary_by_rule, table_row, table_rows
from converter.check.second_opinion import second_opinion

__all__ = [
    "RELEASES",
    "Checker",
    "Definitions",
    "ProfileRow",
    "TreeRow",
    "check_definitions",
    "element_tree",
    "listed_profiles",
    "load_definitions",
    "operation_outcome",
    "read_resources",
    "second_opinion",
    "short_name",
    "summary_by_rule",
    "table_row",
    "table_rows",
]
