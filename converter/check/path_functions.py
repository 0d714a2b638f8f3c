"""The FHIRPath functions that invariants use.

Plain functions take the items before the dot, the environment and their arguments' items; lambdas take the
arguments as functions, to be evaluated on each item. Source: http://hl7.org/fhirpath/N1/ and, for `resolve`,
`extension`, `memberOf` and `htmlChecks`, https://hl7.org/fhir/R4/fhirpath.html.
"""

import re
from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import Any

from converter.check.path_boundaries import comparable, high_boundary, low_boundary
from converter.check.path_parser import UnreadableExpressionError
from converter.check.path_values import Items, Primitive, children, descendants, member, raw, same
from converter.check.xhtml import has_content, wrong_xhtml

Steps = list[Callable[[Items, Any], Items]]


def _truth(items: Items) -> bool:
    return bool(items) and raw(items[0]) is not False


def _one(items: Items) -> Any:
    if len(items) > 1:
        raise UnreadableExpressionError("several values stand where one is needed")
    return raw(items[0]) if items else None


def _text(items: Items) -> str | None:
    value = _one(items)
    return value if isinstance(value, str) else None


def _distinct(items: Items) -> Items:
    kept: Items = []
    for one in items:
        if not any(same(one, other) for other in kept):
            kept.append(one)
    return kept


def _where(items: Items, steps: Steps, env: Any) -> Items:
    return [one for one in items if _truth(steps[0]([one], env))]


def _select(items: Items, steps: Steps, env: Any) -> Items:
    return [value for one in items for value in steps[0]([one], env)]


def _exists(items: Items, steps: Steps, env: Any) -> Items:
    if not steps:
        return [bool(items)]
    return [any(_truth(steps[0]([one], env)) for one in items)]


def _all(items: Items, steps: Steps, env: Any) -> Items:
    return [all(_truth(steps[0]([one], env)) for one in items)]


def _repeat(items: Items, steps: Steps, env: Any) -> Items:
    found: Items = []
    waiting = list(items)
    while waiting:
        new = steps[0]([waiting.pop(0)], env)
        for one in new:
            if not any(one is other for other in found):
                found.append(one)
                waiting.append(one)
    return found


def _iif(items: Items, steps: Steps, env: Any) -> Items:
    condition = steps[0](items, env)
    if _truth(condition):
        return steps[1](items, env)
    return steps[2](items, env) if len(steps) > 2 else []


LAMBDAS: dict[str, Callable[[Items, Steps, Any], Items]] = {
    "where": _where,
    "select": _select,
    "exists": _exists,
    "all": _all,
    "repeat": _repeat,
    "iif": _iif,
    "trace": lambda items, steps, env: items,
}


def _not(items: Items, env: Any) -> Items:
    if not items:
        return []
    value = _one(items)
    return [not value if isinstance(value, bool) else False]


def _extension(items: Items, env: Any, url: Items) -> Items:
    wanted = _text(url)
    found: Items = []
    for one in items:
        found.extend(e for e in _EXTENSION(one) if isinstance(e, dict) and e.get("url") == wanted)
    return found


_EXTENSION = member("extension")


def _has_value(items: Items, env: Any) -> Items:
    if len(items) != 1:
        return [False]
    value = raw(items[0])
    return [value is not None and not isinstance(value, dict | list)]


def _on_text(function: Callable[..., Any]) -> Callable[..., Items]:
    """A function of texts; empty where a text or an argument is."""

    def apply(items: Items, env: Any, *arguments: Items) -> Items:
        text = _text(items)
        values = [_one(argument) for argument in arguments]
        if text is None or None in values:
            return []
        return [function(text, *values)]

    return apply


@lru_cache(maxsize=512)
def _pattern(text: str) -> re.Pattern[str]:
    return re.compile(text)


def _matches(text: str, pattern: str) -> bool:
    return _pattern(pattern).search(text) is not None


def _substring(items: Items, env: Any, start: Items, length: Items | None = None) -> Items:
    text, first = _text(items), _one(start)
    if text is None or not isinstance(first, int) or not 0 <= first < len(text):
        return []
    count = _one(length) if length is not None else None
    return [text[first:] if count is None else text[first : first + count]]


def _to_integer(items: Items, env: Any) -> Items:
    value = _one(items)
    if isinstance(value, bool):
        return [int(value)]
    if isinstance(value, int):
        return [value]
    return [int(value)] if isinstance(value, str) and re.fullmatch(r"[+-]?\d+", value) else []


def _to_string(items: Items, env: Any) -> Items:
    value = _one(items)
    if value is None or isinstance(value, dict | list):
        return []
    return [str(value).lower() if isinstance(value, bool) else str(value)]


def _truths(test: Callable[[Iterable[bool]], bool], wanted: bool) -> Callable[[Items, Any], Items]:
    return lambda items, env: [test(raw(one) is wanted for one in items)]


def _subset(items: Items, other: Items) -> Items:
    return [all(any(same(one, two) for two in other) for one in items)]


def _html_checks(items: Items, env: Any) -> Items:
    return [all(isinstance(raw(one), str) and _good_html(raw(one)) for one in items)] if items else []


def _good_html(text: str) -> bool:
    return wrong_xhtml(text) is None and has_content(text)


def _resolve(items: Items, env: Any) -> Items:
    return [found for one in items if (found := env.resolve(raw(one))) is not None]


def _member_of(items: Items, env: Any, url: Items) -> Items:
    value_set = _text(url)
    if not items or value_set is None:
        return []
    answer = env.member_of(raw(items[0]), value_set)
    if answer is None:
        raise UnreadableExpressionError(f"the codes of {value_set} are not at hand")
    return [answer]


def _conforms_to(items: Items, env: Any, url: Items) -> Items:
    canonical = _text(url)
    if len(items) != 1 or canonical is None:
        return []
    answer = env.conforms_to(raw(items[0]), canonical)
    if answer is None:
        raise UnreadableExpressionError(f"the definition {canonical} is not at hand")
    return [answer]


FUNCTIONS: dict[str, Callable[..., Items]] = {
    "empty": lambda items, env: [not items],
    "not": _not,
    "count": lambda items, env: [len(items)],
    "first": lambda items, env: items[:1],
    "last": lambda items, env: items[-1:],
    "tail": lambda items, env: items[1:],
    "single": lambda items, env: [_one(items)] if items else [],
    "skip": lambda items, env, n: items[max(_one(n), 0) :],
    "take": lambda items, env, n: items[: max(_one(n), 0)],
    "distinct": lambda items, env: _distinct(items),
    "isDistinct": lambda items, env: [len(_distinct(items)) == len(items)],
    "union": lambda items, env, other: _distinct([*items, *other]),
    "combine": lambda items, env, other: [*items, *other],
    "intersect": lambda items, env, other: _distinct([a for a in items if any(same(a, b) for b in other)]),
    "exclude": lambda items, env, other: [a for a in items if not any(same(a, b) for b in other)],
    "subsetOf": lambda items, env, other: _subset(items, other),
    "supersetOf": lambda items, env, other: _subset(other, items),
    "allTrue": _truths(all, True),
    "anyTrue": _truths(any, True),
    "allFalse": _truths(all, False),
    "anyFalse": _truths(any, False),
    "children": lambda items, env: [child for one in items for child in children(one)],
    "descendants": lambda items, env: [child for one in items for child in descendants(one)],
    "extension": _extension,
    "hasValue": _has_value,
    "resolve": _resolve,
    "memberOf": _member_of,
    "conformsTo": _conforms_to,
    "htmlChecks": _html_checks,
    "startsWith": _on_text(str.startswith),
    "endsWith": _on_text(str.endswith),
    "contains": _on_text(lambda text, part: part in text),
    "matches": _on_text(_matches),
    "matchesFull": _on_text(lambda text, pattern: _pattern(pattern).fullmatch(text) is not None),
    "replace": _on_text(str.replace),
    "replaceMatches": _on_text(lambda text, pattern, by: _pattern(pattern).sub(by, text)),
    "indexOf": _on_text(str.find),
    "length": _on_text(len),
    "upper": _on_text(str.upper),
    "lower": _on_text(str.lower),
    "trim": _on_text(str.strip),
    "substring": _substring,
    "lowBoundary": low_boundary,
    "highBoundary": high_boundary,
    "comparable": comparable,
    "toInteger": _to_integer,
    "toString": _to_string,
}

__all__ = ["FUNCTIONS", "LAMBDAS", "Primitive"]
