"""Charts of the report, drawn by Vega-Lite: bars by group, bars by category, the control chart by month.

Takes rows and control charts; gives SVG text that stands inside the page. Its colours are those of the page's
style sheet, so that they follow light, dark and paper. Every chart has a table with the same numbers beside
it; shape and position carry what colour carries. What a chart shows is said in its title and description.

Vega-Lite comes with the package vl-convert-python; its own marks and axes are hidden from screen readers,
which get the description and the table instead.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Any

from converter.audit.control import ControlChart, ControlPoint
from converter.audit.values import Row

NEEDS = (
    "the HTML report draws its charts with the package vl-convert-python, which is not installed: "
    "pip install 'plexor[audit]', or choose --format json or csv"
)
_VERSION = "5.21"
"""The version of Vega-Lite, fixed so that the same report has the same bytes."""

_ROOM, _STEP = 250, 26
_AROUND_BARS = {"left": 130, "top": 2, "right": 100, "bottom": 22}
_MONTHS, _LEAST_MONTH, _HEIGHT = 576, 34, 220
_AROUND_MONTHS = {"left": 48, "top": 14, "right": 16, "bottom": 60}
_MOST = 40
"""Bars that one chart shows; the table shows all."""

_OPENING = re.compile(r'<svg\b[^>]*?\bviewBox="(0 0 ([\d.]+) [\d.]+)"[^>]*>')
_INVISIBLE = re.compile(
    r'<path class="(?:background|foreground)"[^>]*/>| (?:aria-[a-z]+|role|pointer-events|class)="[^"]*"'
    r'| opacity="1"| font-family="[^"]*"| font-size="13px"'
)
"""What the page needs of none of the drawing: empty frames, defaults, and names for screen readers."""

_CONFIG: dict[str, Any] = {
    "background": "transparent",
    "aria": False,
    "autosize": "none",
    "view": {"stroke": None},
    "axis": {
        "labelColor": "var(--ink)",
        "labelFontSize": 13,
        "title": None,
        "ticks": False,
        "domain": False,
        "grid": False,
        "gridColor": "var(--line)",
    },
    "text": {"fontSize": 13, "color": "var(--ink)"},
}


def charts_at_hand() -> bool:
    """Whether the package that draws is installed."""
    try:
        import vl_convert  # noqa: F401 - only whether it is there
    except ImportError:
        return False
    return True


def group_bars(title: str, rows: Iterable[Row], overall: float | None) -> str:
    """The share in each group as bars, the share of all notes as a line.

    Args:
        title: what the chart shows.
        rows: the rows of one dimension; those hidden or without a denominator are left out.
        overall: the share over all notes, or None where it is hidden.

    Returns:
        SVG, or the empty text where there is nothing to draw.
    """
    shown = [(row.group, share, row.of or 0) for row in rows if (share := row.share()) is not None]
    bars = [(group, share, f"{percent(share)} of {of}") for group, share, of in shown[:_MOST]]
    return _bars(title, bars, overall) if bars else ""


def category_bars(title: str, row: Row, labels: Mapping[str, str]) -> str:
    """The share of each category as bars; hidden categories are left out."""
    bars = [
        (label, share, f"{percent(share)} ({row.counts[name]})")
        for name, label in labels.items()
        if (share := row.share(name)) is not None
    ]
    return _bars(title, bars, None) if bars else ""


def percent(share: float) -> str:
    """A share for people, without a false 0 or 100."""
    if 0 < share < 0.01:
        return "<1%"
    if 0.99 < share < 1:
        return ">99%"
    return f"{share * 100:.0f}%"


def control_svg(title: str, chart: ControlChart) -> str:
    """The control chart: a line of months, the centre, stepped limits; points beyond them are diamonds."""
    beyond = [point.month for point in chart.points if point.beyond]
    told = f"centre {percent(chart.centre)}; beyond the limits: {', '.join(beyond) or 'none'}"
    return _drawn("chart", title, told, _control(chart))


def _bars(title: str, bars: Sequence[tuple[str, float, str]], overall: float | None) -> str:
    told = "; ".join(f"{label} {value}" for label, _, value in bars)
    labels = {"labelLimit": _AROUND_BARS["left"] - 8, "labelPadding": 8}
    layers: list[dict[str, Any]] = [
        {"mark": {"type": "bar", "size": 20, "color": "var(--track)"}, "encoding": {"x": {"datum": 1}}},
        {"mark": {"type": "bar", "size": 20, "color": "var(--bar)"}, "encoding": {"x": _share("share")}},
        {
            "mark": {"type": "text", "align": "left", "clip": False},
            "encoding": {"x": {"value": _ROOM + 8}, "text": {"field": "value"}},
        },
    ]
    spec = {
        "width": _ROOM,
        "height": {"step": _STEP},
        "padding": _AROUND_BARS,
        "data": {
            "values": [{"label": label, "share": share, "value": value} for label, share, value in bars]
        },
        "encoding": {"y": {"field": "label", "type": "nominal", "sort": None, "axis": labels}},
        "layer": [*layers, *_overall(overall)],
    }
    return _drawn("chart bars", title, told, spec)


def _overall(share: float | None) -> list[dict[str, Any]]:
    """The share over all notes, as a dashed line with its number below."""
    if share is None:
        return []
    at = {"x": {"datum": share, "type": "quantitative"}, "y": {"value": 0}}
    below = {"y": {"value": {"expr": "height + 14"}}, "text": {"value": f"all {percent(share)}"}}
    line = {"type": "rule", "color": "var(--mark)", "strokeWidth": 2, "strokeDash": [6, 3]}
    return [
        {"data": {"values": [{}]}, "mark": line, "encoding": {**at, "y2": {"value": {"expr": "height"}}}},
        {
            "data": {"values": [{}]},
            "mark": {"type": "text", "color": "var(--soft)"},
            "encoding": {**at, **below},
        },
    ]


def _control(chart: ControlChart) -> dict[str, Any]:
    top = min(1.0, (int(max(max(one.share, one.upper) for one in chart.points) * 10) + 1) / 10)
    ticks = [0, top / 2, top]
    month = {
        "field": "month",
        "type": "ordinal",
        "sort": None,
        "axis": {"labelAngle": -45, "labelPadding": 8},
    }
    share = {**_share("share", top), "axis": {"values": ticks, "format": ".0%", "grid": True}}
    limit = {"type": "line", "interpolate": "step", "color": "var(--mark)", "strokeDash": [3, 3]}
    centre = {"type": "rule", "color": "var(--soft)", "strokeWidth": 1.5, "strokeDash": [10, 5]}
    across = {"x": {"value": 0}, "x2": {"value": "width"}}
    point = {"type": "point", "filled": True, "opacity": 1}
    diamond = {**point, "shape": "diamond", "size": 170, "color": "var(--mark)"}
    return {
        "width": max(_MONTHS, _LEAST_MONTH * len(chart.points)),
        "height": _HEIGHT,
        "padding": _AROUND_MONTHS,
        "data": {"values": [_month(one) for one in chart.points]},
        "encoding": {"x": month},
        "layer": [
            _line(centre, {**across, "y": {"datum": chart.centre, "type": "quantitative"}}),
            _line(limit, {"y": {"field": "lower", "type": "quantitative"}}),
            _line(limit, {"y": {"field": "upper", "type": "quantitative"}}),
            _line({"type": "line", "color": "var(--bar)", "strokeWidth": 2}, {"y": share}),
            _line({**point, "size": 80, "color": "var(--bar)"}, {"y": share}, "!datum.beyond"),
            _line(diamond, {"y": share}, "datum.beyond"),
        ],
    }


def _line(mark: dict[str, Any], encoding: dict[str, Any], only: str = "") -> dict[str, Any]:
    layer = {"mark": mark, "encoding": encoding}
    return layer | ({"transform": [{"filter": only}]} if only else {})


def _month(point: ControlPoint) -> dict[str, Any]:
    return {
        "month": point.month,
        "share": point.share,
        "lower": point.lower,
        "upper": point.upper,
        "beyond": point.beyond,
    }


def _share(field: str, top: float = 1.0) -> dict[str, Any]:
    scale = {"domain": [0, top], "nice": False}
    return {"field": field, "type": "quantitative", "scale": scale, "axis": None}


def _drawn(name: str, title: str, told: str, spec: dict[str, Any]) -> str:
    """The SVG of a Vega-Lite specification, titled and described, as wide as it is drawn at most."""
    import vl_convert

    whole = {"$schema": "https://vega.github.io/schema/vega-lite/v5.json", "config": _CONFIG, **spec}
    drawn = vl_convert.vegalite_to_svg(whole, vl_version=_VERSION)
    found = _OPENING.match(drawn)
    if found is None:
        raise ValueError("the drawing does not begin as an SVG does")
    opening = (
        f'<svg class="{name}" xmlns="http://www.w3.org/2000/svg" viewBox="{found[1]}" role="img" '
        f'style="max-width:{found[2]}px">\n<title>{escape(title)}</title><desc>{escape(told)}</desc>'
    )
    return opening + _INVISIBLE.sub("", drawn[found.end() :])
