"""Evaluates the invariants of definitions.

Takes an invariant and a value; answers whether it holds, or None where it cannot be evaluated. Most
expressions run on the fast reader of `paths`, the rest through the FHIRPath library, which loads when needed.
An expression is prepared once. An empty answer does not fulfil an invariant, as with the reference validator.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from converter.check.findings import Scope
from converter.check.footprint import footprint
from converter.check.library import Library
from converter.check.path_parser import (
    UnreadableExpressionError,
    UnsupportedExpressionError,
    parsed,
    unknown_functions,
)
from converter.check.path_values import Primitive, UndecidedError
from converter.check.paths import Environment, Step, compiled_tree, truth
from converter.check.references import resolve

Json = dict[str, Any]
Test = Callable[[str, Any, Scope], bool | None]

MemberOf = Callable[[Any, str], bool | None]
ConformsTo = Callable[[Any, str, Scope], bool | None]

_STRUCTURAL = frozenset({"ele-1", "ext-1", "dom-3", "ref-1"})
"""Held elsewhere: by `walk` and `extensions`, and for contained resources by `bundles` and `references`."""
_BEYOND = ("%resource", "%rootResource", "resolve(", "conformsTo(")


@dataclass(slots=True)
class Invariant:
    """One constraint, ready to be evaluated.

    Attributes:
        key, human, severity, expression: as the definition states them.
        step: the compiled expression, or None where the FHIRPath library evaluates it.
        contextual: whether the expression may look beyond its value.
        reads: the elements it reads from its value, or None where it may read anything.
        readable: whether the expression is one at all.
    """

    key: str
    human: str
    severity: str
    expression: str
    step: Step | None
    contextual: bool
    reads: frozenset[str] | None
    readable: bool = True


class Invariants:
    """The invariants of one library."""

    def __init__(self, library: Library, member_of: MemberOf, conforms_to: ConformsTo):
        self._release = library.release
        self._member_of = member_of
        self._conforms_to = conforms_to
        self._known: dict[tuple[str, str], Invariant] = {}
        self._general: dict[str, Any] = {}

    def of(self, constraints: Iterable[Json]) -> tuple[Invariant, ...]:
        """The invariants that constraints state; those the walk itself holds are left out."""
        return tuple(
            self._invariant(one)
            for one in constraints
            if one.get("key") not in _STRUCTURAL and isinstance(one.get("expression"), str)
        )

    def environment(self, kind: str, value: Any, scope: Scope) -> Environment:
        """What the invariants of one value may refer to."""
        return Environment(
            value,
            scope.resource,
            scope.container,
            kind,
            lambda one: resolve(one, scope),
            self._member_of,
            lambda one, canonical: self._conforms_to(one, canonical, scope),
        )

    def holds(self, invariant: Invariant, environment: Environment, scope: Scope) -> bool | None:
        """Whether an invariant holds in an environment; None where it cannot be evaluated."""
        value = environment.context
        if not invariant.readable:
            return None
        if invariant.step is not None:
            try:
                return truth(invariant.step([value], environment)) is True
            except UndecidedError:
                return None
            except (UnreadableExpressionError, ArithmeticError, TypeError, ValueError):
                pass
        return self._evaluated(invariant.expression, environment.kind, value, scope)

    def told(self, expression: str, kind: str, value: Any, scope: Scope) -> bool | None:
        """Whether an expression holds for a value; None where that cannot be told."""
        (invariant,) = self.of([{"key": "", "expression": expression}])
        return self.holds(invariant, self.environment(kind, value, scope), scope)

    def selected(self, expression: str, kind: str, scope: Scope) -> list[Any] | None:
        """What an expression selects from a resource, as its own objects; None where that cannot be told."""
        (invariant,) = self.of([{"key": "", "expression": expression}])
        if invariant.step is None:
            return None
        try:
            items = invariant.step([scope.resource], self.environment(kind, scope.resource, scope))
        except (UnreadableExpressionError, UndecidedError, ArithmeticError, TypeError, ValueError):
            return None
        return [one.extra if isinstance(one, Primitive) else one for one in items]

    def _invariant(self, constraint: Json) -> Invariant:
        key = (constraint.get("key", ""), constraint["expression"])
        if key not in self._known:
            reads = None
            try:
                tree = parsed(key[1])
                step, reads = compiled_tree(tree), footprint(tree)
            except UnreadableExpressionError:
                step = None
            self._known[key] = Invariant(
                key[0],
                constraint.get("human", ""),
                constraint.get("severity", "error"),
                key[1],
                step,
                any(word in key[1] for word in _BEYOND),
                reads,
                step is not None or is_readable(key[1]),
            )
        return self._known[key]

    def _evaluated(self, expression: str, kind: str, value: Any, scope: Scope) -> bool | None:
        try:
            return evaluated(expression, kind, value, scope, self._release)
        except Exception:  # the library raises bare exceptions of many kinds
            return None


def is_readable(expression: str) -> bool:
    """Whether an expression is well formed and calls functions that exist, as far as that can be told."""
    try:
        return not unknown_functions(parsed(expression))
    except UnreadableExpressionError as error:
        return isinstance(error, UnsupportedExpressionError)


_COMPILED: dict[tuple[str, str], Any] = {}


def evaluated(expression: str, kind: str, value: Any, scope: Scope, release: str) -> bool:
    """Whether an expression is true for the FHIRPath library; any item but false counts as true."""
    from fhirpathpy import compile as compile_path
    from fhirpathpy.engine.nodes import ResourceNode
    from fhirpathpy.models import models

    key = (expression, release)
    if key not in _COMPILED:
        now = [scope]  # the compiled expression stays, the scope it resolves references in changes
        found = lambda inputs: [r for one in inputs if (r := resolve(_data(one), now[0]))]  # noqa: E731
        options = {
            "traceFn": lambda *_: None,  # the library prints what trace() sees
            "userInvocationTable": {"resolve": {"fn": found}},
        }
        _COMPILED[key] = compile_path(expression, models[release.lower()], options), now
    run, now = _COMPILED[key]
    now[0] = scope
    create_node: Any = ResourceNode.create_node
    focus = value if isinstance(value, dict) and "resourceType" in value else create_node(_plain(value), kind)
    answer = run(focus, {"resource": scope.resource, "rootResource": scope.container})
    return bool(answer) and answer[0] is not False


def _data(node: Any) -> Any:
    return getattr(node, "data", node)


def _plain(value: Any) -> Any:
    return float(value) if isinstance(value, Decimal) else value
