"""Passes values of a command line by the converter of the library where there is nothing to convert.

That converter takes a tenth of a second to get ready, as long as many a run takes. A text stays one; a whole
number within its bounds, a path and a choice by its name are made here. All else goes to the library, and so
does every mistake.
"""

import inspect
import os
from collections.abc import Callable
from enum import Enum
from pathlib import Path
from types import NoneType
from typing import Any, get_args, get_origin

_LONGEST = 18
"""Digits of a number that is made here."""


def pass_plain_values(command: Any, function: Callable[..., Any]) -> None:
    """Let the parameters of a command take plain values as they are.

    Args:
        command: what the library made of the function.
        function: its parameters are declared with `Annotated`.
    """
    parameters = inspect.signature(function).parameters
    declared = {name: get_args(parameter.annotation) for name, parameter in parameters.items()}
    for parameter in command.params:
        kind, *about = declared.get(parameter.name, (None,))
        if about and parameter.callback is None:
            parameter.process_value = _processing(parameter, _without_none(kind), about[0])
    pass_help_not_asked_for(command)


def pass_help_not_asked_for(command: Any) -> None:
    """Let a command, or the program, take no trouble over its option for help where it is not given."""
    usual = command.get_help_option
    met: list[Any] = []

    def help_option(context: Any) -> Any:
        option = usual(context)
        if option is not None and not any(option is one for one in met):
            met.append(option)
            option.process_value = _unless_missing(option.process_value)
        return option

    command.get_help_option = help_option


def _unless_missing(process: Callable[[Any, Any], Any]) -> Callable[[Any, Any], Any]:
    return lambda context, value: None if value is None else process(context, value)


def _processing(parameter: Any, kind: Any, about: Any) -> Callable[[Any, Any], Any]:
    usual = parameter.process_value

    def process(context: Any, value: Any) -> Any:
        if value is None and not parameter.required:
            return None
        plain = _plain(value, kind, about)
        return usual(context, value) if plain is None else plain

    return process


def _plain(value: Any, kind: Any, about: Any) -> Any:
    """The value, or None where the library has to look at it."""
    if get_origin(kind) is list:
        (inner,) = get_args(kind)
        made = [_plain(one, inner, about) for one in value] if isinstance(value, list | tuple) else []
        return made if made and None not in made else None
    if kind is str or not isinstance(value, str):
        return value if isinstance(kind, type) and type(value) is kind else None
    if kind is int:
        return _whole_number(value, about)
    if kind is Path:
        return _path(value, about)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return next((one for one in kind if one.value == value), None)
    return None


def _path(value: str, about: Any) -> Path | None:
    any_path = about.file_okay and about.dir_okay
    if about.exists or about.writable or about.resolve_path:
        return None
    if not any_path or not value.isprintable():
        return None
    return Path(value) if os.access(value, os.R_OK) or not os.access(value, os.F_OK) else None


def _whole_number(value: str, about: Any) -> int | None:
    if not (value.isascii() and value.isdecimal() and len(value) < _LONGEST):
        return None
    number = int(value)
    within = (about.min is None or number >= about.min) and (about.max is None or number <= about.max)
    return number if within else None


def _without_none(kind: Any) -> Any:
    """What a parameter holds where it is given: `str` of `str | None`."""
    kinds = [one for one in get_args(kind) if one is not NoneType]
    return kinds[0] if NoneType in get_args(kind) and len(kinds) == 1 else kind
