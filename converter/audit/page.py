"""The audit as one self-contained HTML page.

Takes an Audit; gives HTML that needs nothing from outside. The template escapes whatever it
is given; only our own style sheet, script and charts go in as they are, and the page allows no other script.
"""

import base64
import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from converter.audit.charts import category_bars, control_svg, group_bars, percent
from converter.audit.control import SOURCE, ControlChart, control_chart
from converter.audit.values import DIMENSIONS, NOT_STATED, YES, Audit, Result, Row

_HERE = Path(__file__).parent
_NOTES_SHOWN = 500
"""Notes listed behind one figure; beyond that the archive itself is the better list."""


def report_html(audit: Audit) -> str:
    """The report as HTML."""
    return render("report.html.jinja", **_report(audit))


def render(template: str, **values: Any) -> str:
    """A template of ours filled in, everything escaped; style and script are those of the report.

    Args:
        template: file name of the template.
        values: what it shows; text is escaped, `Markup` is not.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    jinja = Environment(
        loader=FileSystemLoader(_HERE),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    style = (_HERE / "report.css").read_text(encoding="utf-8")
    script = (_HERE / "report.js").read_text(encoding="utf-8")
    return jinja.get_template(template).render(
        style=Markup(style),  # noqa: S704 - our own file
        script=Markup(script),  # noqa: S704 - our own file
        style_hash=_hash(style),
        script_hash=_hash(script),
        **values,
    )


def _hash(text: str) -> str:
    """What a Content-Security-Policy calls a script or style by."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _report(audit: Audit) -> dict[str, Any]:
    topics: dict[str, list[dict[str, Any]]] = {}
    titles = {result.figure.figure: result.figure.title for result in audit.results}
    for result in audit.results:
        if result.figure.unit == "grades" and result.counted and not _any_number(result):
            continue  # a scale that nobody used
        topics.setdefault(result.figure.topic, []).append(_figure(result, audit, titles))
    return {
        "audit": audit,
        "topics": topics,
        "dimensions": DIMENSIONS,
        "control_source": SOURCE,
        "groups": sum(len(audit.results[0].of_dimension(name)) for name in DIMENSIONS),
    }


def _figure(result: Result, audit: Audit, titles: dict[str, str]) -> dict[str, Any]:
    figure = result.figure
    behind = audit.behind.get(figure.figure, ())
    return {
        "figure": figure,
        "counted": result.counted,
        "of_title": titles.get(figure.of or "", ""),
        "total": _total(result),
        "empty": result.counted and not _any_number(result),
        "chart": None if figure.is_share else _spread_chart(result),
        "panels": list(_panels(result)) if result.counted else [],
        "published": [one for one in audit.published if figure.figure in one.beside],
        "behind": behind[:_NOTES_SHOWN],
        "behind_count": len(behind),
    }


def _any_number(result: Result) -> bool:
    """Whether anything at all was counted; hidden numbers count as something."""
    return any(row.of is None or row.of for row in result.rows)


def _total(result: Result) -> dict[str, Any] | None:
    row = result.total()
    if row is None:
        return None
    share = row.share()
    return {
        "count": row.counts.get(YES),
        "of": row.of,
        "percent": None if share is None else percent(share),
        "cells": _cells(result, row),
    }


def _cells(result: Result, row: Row) -> list[dict[str, Any]]:
    return [
        {"count": row.counts[name], "percent": None if (share := row.share(name)) is None else percent(share)}
        for name in result.figure.categories
    ]


def _spread_chart(result: Result) -> Any:
    row = result.total()
    if row is None or not row.of:
        return None
    return _safe(category_bars(f"{result.figure.title}, all notes", row, result.figure.categories))


def _panels(result: Result) -> Iterator[dict[str, Any]]:
    for dimension, label in DIMENSIONS.items():
        rows = result.of_dimension(dimension)
        chart = control_chart(rows) if _trend(result, dimension) else None
        limits = {point.month: point for point in chart.points} if chart else {}
        yield {
            "dimension": dimension,
            "label": label,
            "chart": _chart(result, label, rows, chart),
            "control": chart,
            "percent": percent,
            "rows": [
                {
                    "group": row.group,
                    "stated": row.group != NOT_STATED,
                    "of": row.of,
                    "cells": _cells(result, row),
                    "limit": limits.get(row.group),
                }
                for row in rows
            ],
        }


def _trend(result: Result, dimension: str) -> bool:
    return dimension == "month" and result.figure.is_share and result.figure.of is not None


def _chart(result: Result, label: str, rows: tuple[Row, ...], chart: ControlChart | None) -> Any:
    figure = result.figure
    if not figure.is_share or figure.of is None:
        return None
    if chart is not None:
        return _safe(control_svg(f"{figure.title}, by month", chart))
    total = result.total()
    return _safe(group_bars(f"{figure.title}, by {label.lower()}", rows, total.share() if total else None))


def _safe(svg: str) -> Any:
    """A chart of ours, in which every text is escaped already."""
    from markupsafe import Markup

    return Markup(svg) if svg else None  # noqa: S704 - made by `charts`
