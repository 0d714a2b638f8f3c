"""Collects what a check finds, each fault once, in the order of the resource."""

from dataclasses import dataclass, field
from typing import Any

from converter.model import Diagnostic, Severity

Json = dict[str, Any]

_GRAVITY = {Severity.INFORMATION: 0, Severity.WARNING: 1, Severity.ERROR: 2, Severity.FATAL: 3}


@dataclass(slots=True)
class Findings:
    """The diagnostics of one check.

    Attributes:
        diagnostics: in the order found.
        count: how many faults were met, those said already included.
        ids: the place of each element id, by path of its resource and id.
    """

    diagnostics: list[Diagnostic] = field(default_factory=list)
    count: int = 0
    ids: dict[tuple[str, str], str] = field(default_factory=dict)
    _seen: dict[tuple[object, ...], Diagnostic] = field(default_factory=dict)

    def add(
        self,
        code: str,
        path: str,
        message: str,
        *,
        severity: Severity = Severity.ERROR,
        expected: str | None = None,
        hint: str | None = None,
        rule: str | None = None,
    ) -> None:
        """Add a fault unless the same fault stands at the same place already, from another profile."""
        self.take(
            Diagnostic(
                code=code,
                severity=severity,
                message=message,
                hint=hint,
                path=path,
                expected=expected,
                rule=rule,
            )
        )

    def take(self, diagnostic: Diagnostic) -> None:
        """Add a ready diagnostic unless the same fault stands there already; the graver of two is kept."""
        self.count += 1
        expected = diagnostic.expected
        key = (diagnostic.code, diagnostic.path, expected if expected is not None else diagnostic.message)
        said = self._seen.get(key)
        if said is None:
            self._seen[key] = diagnostic
            self.diagnostics.append(diagnostic)
        elif _GRAVITY[diagnostic.severity] > _GRAVITY[said.severity]:
            self._seen[key] = diagnostic
            self.diagnostics = [diagnostic if one is said else one for one in self.diagnostics]

    def drop(self, code: str, below: str) -> None:
        """Take back faults of one code at a place or below it, where a weightier one says the same."""
        self.diagnostics = [
            one for one in self.diagnostics if one.code != code or not (one.path or "").startswith(below)
        ]

    def failed(self) -> bool:
        """Whether any of the findings is an error."""
        return any(one.severity in (Severity.ERROR, Severity.FATAL) for one in self.diagnostics)


@dataclass(frozen=True, slots=True)
class Scope:
    """Where in the nest of resources the walk is.

    Attributes:
        resource: the resource being walked, `%resource` of FHIRPath.
        container: the resource that contains it, or itself, `%rootResource`.
        path: path of `resource` from the outermost resource.
        bundles: the bundles around it, innermost last, each with the full URL of the entry inside it.
    """

    resource: Json
    container: Json
    path: str
    bundles: tuple[tuple[Json, str | None], ...] = ()
