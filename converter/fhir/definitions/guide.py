"""The ImplementationGuide resource that lists every definition."""

from collections.abc import Iterable
from typing import Any

from converter.fhir.definitions.parts import FHIR_VERSION, definition


def implementation_guide(base: str, definitions: Iterable[dict[str, Any]]) -> dict[str, Any]:
    """The list of all definitions."""
    description = "Profiles, code systems and value sets for reflex findings read from clinical notes."
    found = definition(base, "ImplementationGuide", "plexor", "Reflex findings", description)
    found["packageId"] = "plexor.reflex.findings"
    found["license"] = "Apache-2.0"
    found["fhirVersion"] = [FHIR_VERSION]
    found["definition"] = {
        "resource": [
            {
                "reference": {"reference": f"{one['resourceType']}/{one['id']}"},
                "name": one.get("title", one["name"]),
                "exampleBoolean": False,
            }
            for one in definitions
        ]
    }
    return found
