"""An audit as plain records: one dict for JSON, one row for each number for CSV.

Takes an Audit; gives dicts in a fixed order. A hidden number is None and says so.
"""

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from converter.audit.control import SOURCE, control_chart
from converter.audit.values import Audit, Result, Row

SCHEMA = "plexor-audit-1"
COLUMNS = (
    "figure", "topic", "title", "unit", "dimension", "group", "category", "count", "of", "share", "hidden",
    "counted", "control_centre", "control_lower", "control_upper", "control_beyond", "caution",
)  # fmt: skip


def audit_record(audit: Audit) -> dict[str, Any]:
    """The audit as one dict, ready for JSON."""
    return {
        "schema": SCHEMA,
        "program": audit.program,
        "made": audit.made,
        "vocabularies": list(audit.vocabularies),
        "cautions": list(audit.cautions),
        "min_count": audit.min_count,
        "text_in_archive": audit.has_text,
        "every_note_names_its_patient": audit.patients_named,
        "figures": [_figure(result, audit) for result in audit.results],
        "published": [asdict(one) | {"beside": list(one.beside)} for one in audit.published],
        "control_chart_source": SOURCE,
    }


def audit_rows(audit: Audit) -> Iterator[dict[str, Any]]:
    """One dict for each number of the audit; a figure that cannot be counted has one without numbers."""
    caution = " ".join(audit.cautions)
    for result in audit.results:
        figure = result.figure
        head = {name: getattr(figure, name) for name in ("figure", "topic", "title", "unit")}
        tail = {"counted": result.counted, "caution": caution}
        limits = _limits(result)
        for row in result.rows:
            for category in figure.categories:
                limit = limits.get(row.group, {}) if row.dimension == "month" else {}
                yield head | _number(row, category) | limit | tail
        if not result.counted:
            yield head | tail


def _figure(result: Result, audit: Audit) -> dict[str, Any]:
    figure = result.figure
    record: dict[str, Any] = {
        "figure": figure.figure,
        "topic": figure.topic,
        "title": figure.title,
        "meaning": figure.meaning,
        "of": figure.of,
        "unit": figure.unit,
        "categories": dict(figure.categories),
        "counted": result.counted,
        "rows": [_number(row, category) for row in result.rows for category in figure.categories],
        "control_chart": [{"month": month, **limit} for month, limit in _limits(result).items()],
    }
    if figure.figure in audit.behind:
        record["notes"] = [
            {"system": one.system, "id": one.id, "groups": list(one.groups), "words": one.words}
            for one in audit.behind[figure.figure]
        ]
    return record


def _number(row: Row, category: str) -> dict[str, Any]:
    share = row.share(category)
    return {
        "dimension": row.dimension,
        "group": row.group,
        "category": category,
        "count": row.counts[category],
        "of": row.of,
        "share": None if share is None else round(share, 4),
        "hidden": row.counts[category] is None or row.of is None,
    }


def _limits(result: Result) -> dict[str, dict[str, Any]]:
    chart = (
        control_chart(result.of_dimension("month")) if result.figure.is_share and result.figure.of else None
    )
    if chart is None:
        return {}
    return {
        point.month: {
            "control_centre": round(chart.centre, 4),
            "control_lower": round(point.lower, 4),
            "control_upper": round(point.upper, 4),
            "control_beyond": point.beyond,
        }
        for point in chart.points
    }
