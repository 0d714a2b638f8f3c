"""Every definition and the name of its file."""

from typing import Any

from converter.fhir.definitions.code_systems import code_systems
from converter.fhir.definitions.guide import implementation_guide
from converter.fhir.definitions.maps import concept_map
from converter.fhir.definitions.searches import search_parameters
from converter.fhir.definitions.structures import structures
from converter.fhir.definitions.value_sets import value_sets
from converter.fhir.options import DEFAULT_BASE
from converter.words import Vocabulary


def definition_files(vocabulary: Vocabulary, base: str = DEFAULT_BASE) -> dict[str, dict[str, Any]]:
    """Every definition by the name of its file, e.g. `CodeSystem-reflex.json`."""
    systems = code_systems(base, vocabulary)
    sets = value_sets(base, systems, vocabulary)
    definitions = [*structures(base), *systems, *sets, concept_map(base), *search_parameters(base)]
    guide = implementation_guide(base, definitions)
    return {file_name(one): one for one in [*definitions, guide]}


def file_name(definition: dict[str, Any]) -> str:
    """The file of a definition: its type and id."""
    return f"{definition['resourceType']}-{definition['id']}.json"
