"""Evaluates the part of FHIRPath that invariants use, fast: an expression becomes nested Python functions.

Takes an expression; gives a function from (focus, environment) to items. What is not read here raises
UnreadableExpressionError, and `invariants` hands the expression to a general FHIRPath library instead. A test
holds both to the same answers.
"""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from converter.check.path_functions import FUNCTIONS, LAMBDAS
from converter.check.path_parser import Tree, UnreadableExpressionError, parsed
from converter.check.path_values import (
    Items,
    Primitive,
    is_number,
    member,
    number,
    order,
    raw,
    same,
    typed_member,
)

Json = dict[str, Any]

_PRIMITIVE_CLASSES: dict[str, tuple[type, ...]] = {
    "boolean": (bool,),
    "Boolean": (bool,),
    "string": (str,),
    "String": (str,),
    "Integer": (int,),
    "integer": (int,),
    "decimal": (float, Decimal),
    "Decimal": (float, Decimal),
}


@dataclass(slots=True)
class Environment:
    """What an expression may refer to besides its focus.

    Attributes:
        context: `%context`, the value the expression stands on.
        resource: `%resource`.
        root: `%rootResource`.
        kind: the type of `context`.
        resolve: finds the resource a reference leads to, or None.
        member_of: whether a coded value is in a ValueSet; None where unknown.
        conforms_to: whether a value conforms to a definition; None where that is unknown.
    """

    context: Any
    resource: Json
    root: Json
    kind: str = ""
    resolve: Callable[[Any], Any] = lambda _: None
    member_of: Callable[[Any, str], bool | None] = lambda _value, _url: None
    conforms_to: Callable[[Any, str], bool | None] = lambda _value, _url: None


Step = Callable[[Items, Environment], Items]


def compiled(expression: str) -> Step:
    """A function that evaluates an expression.

    Raises:
        UnreadableExpressionError: the expression uses what is not read here.
    """
    return compiled_tree(parsed(expression))


def compiled_tree(tree: Tree) -> Step:
    """A function that evaluates an expression that is parsed already."""
    return _compile(tree)


def truth(items: Items) -> bool | None:
    """What a list of items means as a condition: None where it is empty."""
    if not items:
        return None
    if len(items) == 1:
        value = raw(items[0])
        return value if type(value) is bool else True
    raise UnreadableExpressionError("several values stand where one truth value is needed")


def _compile(tree: Tree) -> Step:
    return _COMPILERS[tree[0]](tree)


def _this(_: Tree) -> Step:
    return lambda focus, env: focus


def _literal(tree: Tree) -> Step:
    items = [tree[1]]
    return lambda focus, env: items


def _empty(_: Tree) -> Step:
    return lambda focus, env: []


def _variable(tree: Tree) -> Step:
    name = tree[1]
    match name:
        case "resource":
            return lambda focus, env: [env.resource]
        case "rootResource":
            return lambda focus, env: [env.root]
        case "context":
            return lambda focus, env: [env.context]
    constants = {
        "ucum": "http://unitsofmeasure.org",
        "sct": "http://snomed.info/sct",
        "loinc": "http://loinc.org",
    }
    if name.startswith("vs-"):
        constants[name] = f"http://hl7.org/fhir/ValueSet/{name[3:]}"
    if name.startswith("ext-"):
        constants[name] = f"http://hl7.org/fhir/StructureDefinition/{name[4:]}"
    if name not in constants:
        raise UnreadableExpressionError(f"%{name} is not known here")
    items = [constants[name]]
    return lambda focus, env: items


def _member(tree: Tree) -> Step:
    _, target, name = tree
    if target is None and name[:1].isupper():
        return lambda focus, env: [one for one in focus if isinstance(one, dict) and _is_kind(one, name, env)]
    of = member(name)
    if target is None:
        return lambda focus, env: of(focus[0]) if len(focus) == 1 else [v for one in focus for v in of(one)]
    before = _compile(target)

    def step(focus: Items, env: Environment) -> Items:
        items = before(focus, env)
        if len(items) == 1:
            return of(items[0])
        return [value for one in items for value in of(one)]

    return step


def _is_kind(value: Json, name: str, env: Environment) -> bool:
    return value.get("resourceType") == name or (value is env.context and env.kind == name)


def _index(tree: Tree) -> Step:
    before, index = _compile(tree[1]), _compile(tree[2])

    def step(focus: Items, env: Environment) -> Items:
        at = index(focus, env)
        items = before(focus, env)
        return items[at[0] : at[0] + 1] if at and isinstance(at[0], int) else []

    return step


def _minus(tree: Tree) -> Step:
    before = _compile(tree[1])
    return lambda focus, env: [-number(one) for one in before(focus, env)]


def _call(tree: Tree) -> Step:
    _, target, name, arguments = tree
    if name in ("is", "as", "ofType"):
        return _type(("type", name, target or ("this",), arguments[0]))
    before = _compile(target) if target is not None else _this(tree)
    steps = [_compile(argument) for argument in arguments]
    if name in LAMBDAS:
        function = LAMBDAS[name]
        return lambda focus, env: function(before(focus, env), steps, env)
    if name not in FUNCTIONS:
        raise UnreadableExpressionError(f"{name}() is not read here")
    plain = FUNCTIONS[name]
    if not steps:
        return lambda focus, env: plain(before(focus, env), env)
    return lambda focus, env: plain(before(focus, env), env, *[one(focus, env) for one in steps])


def _type(tree: Tree) -> Step:
    _, operator, target, kind = tree
    if kind.startswith("System."):
        raise UnreadableExpressionError("system types are not told apart here")
    chosen = _chosen(target, kind) if target[0] == "member" else _of_known_kind(_compile(target), kind)
    if operator != "is":
        return chosen
    before = _compile(target)

    def is_kind(focus: Items, env: Environment) -> Items:
        items = before(focus, env)
        if len(items) > 1:
            raise UnreadableExpressionError("several values stand before `is`")
        return [bool(chosen(focus, env))] if items else []

    return is_kind


def _chosen(target: Tree, kind: str) -> Step:
    """The values of a member that have a type: a choice's by its key, a resource's by what it says."""
    before = _compile(target[1]) if target[1] is not None else _this(target)
    name = target[2]
    whole = _of_kind(_compile(target), kind)
    of = typed_member(name, kind[:1].lower() + kind[1:] if kind in _PRIMITIVE_CLASSES else kind)

    def step(focus: Items, env: Environment) -> Items:
        items = [value for one in before(focus, env) for value in of(one)]
        return items or whole(focus, env)

    return step


def _of_kind(before: Step, kind: str) -> Step:
    """The resources of a type; the focus itself where its type is known."""

    def step(focus: Items, env: Environment) -> Items:
        kept = []
        for one in before(focus, env):
            if isinstance(one, dict) and "resourceType" in one:
                if one["resourceType"] == kind or kind in ("Resource", "DomainResource"):
                    kept.append(one)
            elif one is env.context and env.kind and env.kind == kind:
                kept.append(one)
        return kept

    return step


def _of_known_kind(before: Step, kind: str) -> Step:
    """The items of a type, where the type of every item is known: resources, and the context."""
    if kind[:1].islower() or kind.startswith("System."):
        raise UnreadableExpressionError("primitive types are told apart behind an element only")
    of = _of_kind(before, kind)

    def step(focus: Items, env: Environment) -> Items:
        for one in before(focus, env):
            known = (isinstance(one, dict) and "resourceType" in one) or (one is env.context and env.kind)
            if not known:
                raise UnreadableExpressionError("the type of a value inside is not known here")
        return of(focus, env)

    return step


def _binary(tree: Tree) -> Step:
    _, operator, left_tree, right_tree = tree
    left, right = _compile(left_tree), _compile(right_tree)
    if operator in _LOGIC:
        return _logic(operator, left, right)
    if operator not in _OPERATORS:
        raise UnreadableExpressionError(f"{operator} is not read here")
    apply = _OPERATORS[operator]
    return lambda focus, env: apply(left(focus, env), right(focus, env))


_LOGIC = frozenset({"and", "or", "xor", "implies"})
_TRUE, _FALSE = [True], [False]


def _boolean(value: bool | None) -> Items:
    return [] if value is None else _TRUE if value else _FALSE


def _logic(operator: str, left: Step, right: Step) -> Step:
    def step(focus: Items, env: Environment) -> Items:
        first = truth(left(focus, env))
        if operator == "and" and first is False:
            return _FALSE
        if (operator == "or" and first) or (operator == "implies" and first is False):
            return _TRUE
        second = truth(right(focus, env))
        if operator == "xor":
            return [] if first is None or second is None else _boolean(first is not second)
        if operator == "and":
            return _FALSE if second is False else _boolean(True if first and second else None)
        if operator == "or":
            return _TRUE if second else _boolean(False if first is False and second is False else None)
        return _TRUE if second else _boolean(None if first is None or second is None else False)

    return step


def _equal(left: Items, right: Items) -> Items:
    if not left or not right:
        return []
    return _boolean(len(left) == len(right) and all(same(a, b) for a, b in zip(left, right, strict=True)))


def _unequal(left: Items, right: Items) -> Items:
    return [not one for one in _equal(left, right)]


def _compare(test: Callable[[int], bool]) -> Callable[[Items, Items], Items]:
    def apply(left: Items, right: Items) -> Items:
        if not left or not right:
            return []
        if len(left) > 1 or len(right) > 1:
            raise UnreadableExpressionError("several values stand where one is compared")
        result = order(left[0], right[0])
        return [] if result is None else _boolean(test(result))

    return apply


def _union(left: Items, right: Items) -> Items:
    kept: Items = []
    for one in [*left, *right]:
        if not any(same(one, other) for other in kept):
            kept.append(one)
    return kept


def _within(left: Items, right: Items) -> Items:
    return _boolean(any(same(left[0], one) for one in right)) if left else []


def _joined(left: Items, right: Items) -> Items:
    return ["".join(str(raw(side[0])) if side else "" for side in (left, right))]


def _arithmetic(apply: Callable[[Any, Any], Any]) -> Callable[[Items, Items], Items]:
    def step(left: Items, right: Items) -> Items:
        if not left or not right:
            return []
        one, other = raw(left[0]), raw(right[0])
        if isinstance(one, str) and isinstance(other, str):
            return [one + other]
        if not (is_number(one) and is_number(other)):
            raise UnreadableExpressionError("only numbers are calculated with here")
        return [apply(number(one), number(other))]

    return step


_OPERATORS: dict[str, Callable[[Items, Items], Items]] = {
    "=": _equal,
    "!=": _unequal,
    "<": _compare(lambda n: n < 0),
    "<=": _compare(lambda n: n <= 0),
    ">": _compare(lambda n: n > 0),
    ">=": _compare(lambda n: n >= 0),
    "|": _union,
    "in": _within,
    "contains": lambda left, right: _within(right, left),
    "&": _joined,
    "+": _arithmetic(lambda a, b: a + b),
    "-": _arithmetic(lambda a, b: a - b),
    "*": _arithmetic(lambda a, b: a * b),
}

_COMPILERS: dict[str, Callable[[Tree], Step]] = {
    "this": _this,
    "literal": _literal,
    "empty": _empty,
    "variable": _variable,
    "member": _member,
    "index": _index,
    "minus": _minus,
    "call": _call,
    "type": _type,
    "binary": _binary,
}

__all__ = ["Environment", "Primitive", "UnreadableExpressionError", "compiled", "truth"]
