"""FHIR JSON as text: our own order, exact decimals, UTF-8.

Written by `orjson`, which takes a Decimal as it is spelt, so that 2.50 stays 2.50. Where it is missing or
does not take a value, the standard library's writer stands in; a Decimal is then written piece by piece.
"""

import json
from collections.abc import Iterator
from decimal import Decimal
from json.encoder import encode_basestring
from typing import Any


class _HasDecimalError(Exception):
    """The fast writer met a Decimal."""


def _refuse(value: object) -> object:
    if isinstance(value, Decimal):
        raise _HasDecimalError
    raise TypeError(f"a {type(value).__name__} has no place in FHIR JSON")


_FAST = json.JSONEncoder(
    ensure_ascii=False,
    allow_nan=False,
    check_circular=False,  # a resource is a tree
    separators=(",", ":"),
    default=_refuse,
)


def json_text(resource: dict[str, Any]) -> str:
    """A resource as one line of JSON, elements in the order they stand in.

    Raises:
        TypeError: a value is none of the kinds that JSON has.
        ValueError: a number is not finite.
    """
    text = _by_orjson(resource)
    if text is not None:
        return text
    try:
        return _FAST.encode(resource)
    except _HasDecimalError:
        return "".join(_pieces(resource))


def _by_orjson(resource: dict[str, Any]) -> str | None:
    """The same text by the fastest writer; None where it is missing or may have written something else.

    It writes `null` for a number that is not finite, so a text with a `null` is left to the careful writer.
    """
    try:
        from orjson import dumps
    except ImportError:  # no wheel for this machine
        return None
    try:
        data = dumps(resource, default=_exact)
    except TypeError:  # half characters, whole numbers of more than 64 bits, or a fault that is to be told
        return None
    return None if b"null" in data else data.decode()


def _exact(value: object) -> object:
    from orjson import Fragment

    if isinstance(value, Decimal) and value.is_finite():
        return Fragment(str(value))
    raise TypeError


def _pieces(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        yield "{"
        for index, (name, part) in enumerate(value.items()):
            yield ("," if index else "") + encode_basestring(name) + ":"
            yield from _pieces(part)
        yield "}"
    elif isinstance(value, list | tuple):
        yield "["
        for index, part in enumerate(value):
            if index:
                yield ","
            yield from _pieces(part)
        yield "]"
    elif isinstance(value, Decimal):
        yield _decimal(value)
    else:
        yield _FAST.encode(value)


def _decimal(number: Decimal) -> str:
    if not number.is_finite():
        raise ValueError("FHIR has no decimal that is not finite")
    return str(number)


def indented_json_text(resource: dict[str, Any]) -> str:
    """A resource as JSON for people, two spaces a level, with a line end."""
    return _indented(resource, "\n") + "\n"


def _indented(value: Any, line: str) -> str:
    below = line + "  "
    if isinstance(value, dict) and value:
        parts = (f"{encode_basestring(name)}: {_indented(part, below)}" for name, part in value.items())
        return "{" + below + ("," + below).join(parts) + line + "}"
    if isinstance(value, list | tuple) and value:
        return "[" + below + ("," + below).join(_indented(part, below) for part in value) + line + "]"
    return "".join(_pieces(value))
