"""Gives a command options that are listed in tables, so that its own signature stays short."""

import inspect
from collections.abc import Callable, Mapping
from typing import Any

Options = Mapping[str, Any]
"""Parameter name -> annotation; each is an option that need not be given."""


def with_options(options: Options) -> Callable[[Callable[..., int]], Callable[..., int]]:
    """Add options to a command that takes `**` arguments; they are handed over by these names.

    Args:
        options: the options, in the order in which the help shows them.
    """

    def add(command: Callable[..., int]) -> Callable[..., int]:
        signature = inspect.signature(command)
        own = [one for one in signature.parameters.values() if one.kind is not one.VAR_KEYWORD]
        added = [_parameter(name, annotation) for name, annotation in options.items()]
        command.__signature__ = signature.replace(parameters=[*own, *added])  # type: ignore[attr-defined]
        kept = {one.name: command.__annotations__[one.name] for one in own}
        command.__annotations__ = {**kept, **options, "return": int}
        return command

    return add


def _parameter(name: str, annotation: Any) -> inspect.Parameter:
    return inspect.Parameter(
        name, inspect.Parameter.KEYWORD_ONLY, default=_default(annotation), annotation=annotation
    )


def _default(annotation: Any) -> object:
    """A switch that is plainly bool is off; anything else is not given."""
    return False if getattr(annotation, "__origin__", None) is bool else None
