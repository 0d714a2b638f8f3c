"""Parses JSON and says in half a sentence why it cannot."""

import json
from collections.abc import Callable
from functools import cache
from typing import Any


def parse_json(text: str) -> Any:
    """The value of a text, or, as a `str`, why it is none; a JSON string comes in a list."""
    value = _fast(text)
    return value if value is not None else _careful(text)


def _fast(text: str) -> Any:
    """An object without numbers that a fast parser might shorten, or None: most lines are such objects."""
    try:
        value = _loads()(text)
    except ValueError:
        return None
    if not isinstance(value, dict):
        return None
    for one in value.values():
        if not isinstance(one, str) and isinstance(one, float | dict | list):
            return None
    return value


@cache
def _loads() -> Callable[[str], Any]:
    """The fast parser; without it nothing is found fast."""
    try:
        import orjson
    except ImportError:
        return lambda text: None
    return orjson.loads


def _careful(text: str) -> Any:
    try:
        value = json.loads(text)
    except json.JSONDecodeError as trouble:
        place = f"column {trouble.colno}" if trouble.lineno == 1 else f"line {trouble.lineno}"
        return f"{trouble.msg[:1].lower()}{trouble.msg[1:]} at {place}"
    except RecursionError:
        return "it is nested too deeply"
    except ValueError:
        return "it holds a number that is too long"
    return [value] if isinstance(value, str) else value
