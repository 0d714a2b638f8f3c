"""Fills in the page's templates: everything is escaped, and no character hides or misleads.

Takes the name of a template and plain values; gives HTML. Only what the templates themselves say goes in
as it is.
"""

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from converter.review.showing import visible

if TYPE_CHECKING:
    from jinja2 import Environment

HERE = Path(__file__).parent
TEMPLATES = HERE / "templates"
STATIC = HERE / "static"


def render(template: str, **values: Any) -> str:
    """A template filled in."""
    return _environment().get_template(f"{template}.html.jinja").render(**values)


def address(base: str, *parts: str, **query: str | int | None) -> str:
    """An address of the page; empty values of the query are left out."""
    asked = {name: value for name, value in query.items() if value not in (None, "")}
    path = "/".join((base, *parts))
    return f"{path}?{urlencode(asked)}" if asked else path


@cache
def _environment() -> "Environment":
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_shown,
    )
    made.globals["address"] = address
    return made


def _shown(value: Any) -> Any:
    """What a template writes: nothing for None, and text without hidden characters; markup stays."""
    if value is None:
        return ""
    return visible(value) if type(value) is str else value
