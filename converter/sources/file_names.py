"""Reads fields of a note out of its file's name, as in `{patient}-V*` or `{patient}/{authored}_{kind}`."""

import re
from functools import lru_cache
from itertools import pairwise
from pathlib import PurePosixPath

from converter.sources.options import FIELDS

_NAMEABLE = frozenset(FIELDS) - {"text"}
_PART = re.compile(r"\{([^{}]+)\}|(\*)|([^{}*]+)|(.)", re.DOTALL)


def fields_of_name(template: str, path: str) -> dict[str, str] | None:
    """The fields that a path holds by a template, or None where it does not fit.

    Args:
        template: `{field}` stands for the field, `*` for anything. It describes the name without its suffix,
            and as many folders above it as it has slashes.
        path: the file's path, without its suffix.

    Raises:
        ValueError: the template names no field, a field twice, or one that does not exist.
    """
    shape = compiled(template)
    parts = PurePosixPath(path).parts[-template.count("/") - 1 :]
    found = shape.fullmatch("/".join(parts))
    return found.groupdict() if found else None


@lru_cache(maxsize=8)
def compiled(template: str) -> re.Pattern[str]:
    """The template as a regular expression.

    Raises:
        ValueError: the template names no field, a field twice, or one that does not exist, or it leaves open
            where one of its parts ends.
    """
    parts = _PART.findall(template)
    named = [field for field, *_ in parts if field]
    if any(stray for *_, stray in parts) or not set(named) <= _NAMEABLE:
        raise ValueError(f"the template {template!r} may name in braces: {', '.join(sorted(_NAMEABLE))}")
    if not named or len(set(named)) < len(named):
        raise ValueError(f"the template {template!r} must name a field in braces, and each one once")
    if any(one[2] == other[2] == "" for one, other in pairwise(parts)):
        raise ValueError(f"the template {template!r} must say what stands between two of its open parts")
    return re.compile("".join(_expression(*part) for part in parts), re.DOTALL)


def _expression(field: str, anything: str, plain: str, _stray: str) -> str:
    if field:
        return f"(?P<{field}>[^/]+?)"
    return "[^/]*?" if anything else re.escape(plain)
