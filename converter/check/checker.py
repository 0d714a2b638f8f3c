"""The check of one resource: the door behind which everything else stands."""

from collections.abc import Sequence
from typing import Any

from converter.check.findings import Findings, Scope
from converter.check.library import Definitions
from converter.check.note_place import with_note_places
from converter.check.walk import Walker
from converter.model import Diagnostic

Json = dict[str, Any]


class Checker:
    """Checks resources of one FHIR release against definitions; make it once and use it for many.

    Attributes:
        release: `R4` or `R5`.
    """

    def __init__(self, definitions: Definitions, release: str = "R4", must_support: bool = False):
        """Prepare a checker.

        Args:
            definitions: the definitions to check against.
            release: `R4` or `R5`.
            must_support: also report must-support elements that a resource lacks, as information.

        Raises:
            ValueError: no base definitions ship for the release.
        """
        self.release = release
        self._walker = Walker(definitions.library(release), must_support)

    def check(self, resource: Json, profiles: Sequence[str] = ()) -> list[Diagnostic]:
        """Everything wrong with one resource, in the order of the resource, each fault once.

        Args:
            resource: the resource as parsed JSON.
            profiles: canonicals to check against besides those in `meta.profile`.
        """
        found = Findings()
        if not isinstance(resource, dict):
            found.add("wrong-json-type", "", "A resource must be a JSON object.")
            return found.diagnostics
        kind = resource.get("resourceType")
        path = kind if isinstance(kind, str) and kind else "Resource"
        try:
            self._walker.resource(resource, path, found, Scope(resource, resource, path), profiles)
        except RecursionError:
            found.add("nested-too-deeply", path, f"{path} is nested too deeply to be checked.")
        return with_note_places(found.diagnostics, resource, path) if found.diagnostics else []
