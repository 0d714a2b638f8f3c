"""Small charts as inline SVG: bars by group, bars by category, and the control chart by month.

Takes rows and control charts; gives SVG text whose colours come from the page's style sheet, so that they
follow light and dark. Every chart has a table with the same numbers beside it; shape and position carry
what colour carries.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from html import escape

from converter.audit.control import ControlChart, ControlPoint
from converter.audit.values import Row

_WIDTH, _LABEL, _VALUE, _STEP = 480, 130, 100, 26
_WIDE = 640
_MOST = 40
"""Bars that one chart shows; the table shows all."""

_LEFT, _RIGHT, _TOP, _HEIGHT = 48, 16, 16, 220


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


def _bars(title: str, bars: Sequence[tuple[str, float, str]], overall: float | None) -> str:
    height = len(bars) * _STEP + 28
    room = _WIDTH - _LABEL - _VALUE
    told = "; ".join(f"{label} {value}" for label, _, value in bars)
    lines = [*_opening("chart bars", title, told, _WIDTH, height)]
    for at, (label, share, value) in enumerate(bars):
        y = at * _STEP + 4
        lines += [
            f'<text x="{_LABEL - 8}" y="{y + 15}" text-anchor="end">{escape(_short(label))}</text>',
            f'<rect class="track" x="{_LABEL}" y="{y}" width="{room}" height="20"/>',
            f'<rect class="bar" x="{_LABEL}" y="{y}" width="{_number(share * room)}" height="20"/>',
            f'<text x="{_LABEL + room + 8}" y="{y + 15}">{escape(value)}</text>',
        ]
    if overall is not None:
        x = _number(_LABEL + overall * room)
        bottom = len(bars) * _STEP + 4
        said = f"all {percent(overall)}"
        lines += [
            f'<line class="overall" x1="{x}" y1="0" x2="{x}" y2="{bottom}"/>',
            f'<text class="small" x="{x}" y="{bottom + 15}" text-anchor="middle">{said}</text>',
        ]
    return "\n".join([*lines, "</svg>"])


def control_svg(title: str, chart: ControlChart) -> str:
    """The control chart: a line of months, the centre, stepped limits; points beyond them are diamonds."""
    step = max(34.0, (_WIDE - _LEFT - _RIGHT) / len(chart.points))
    width = int(_LEFT + _RIGHT + step * len(chart.points))
    highest = max(max(point.share, point.upper) for point in chart.points)
    top = min(1.0, (int(highest * 10) + 1) / 10)
    beyond = [point.month for point in chart.points if point.beyond]
    told = f"centre {percent(chart.centre)}; beyond the limits: {', '.join(beyond) or 'none'}"
    height = _TOP + _HEIGHT + 56
    return "\n".join(
        [
            *_opening("chart", title, told, width, height),
            *_scale(top, width),
            *_limits(chart, step, top),
            *_months(chart.points, step, top),
            "</svg>",
        ]
    )


def _scale(top: float, width: int) -> Iterator[str]:
    for share in (0.0, top / 2, top):
        y = _y(share, top)
        yield f'<line class="grid" x1="{_LEFT}" y1="{y}" x2="{width - _RIGHT}" y2="{y}"/>'
        yield f'<text class="small" x="{_LEFT - 6}" y="{y}" dy="4" text-anchor="end">{percent(share)}</text>'


def _limits(chart: ControlChart, step: float, top: float) -> Iterator[str]:
    first, last = _number(_LEFT), _number(_LEFT + step * len(chart.points))
    y = _y(chart.centre, top)
    yield f'<line class="centre" x1="{first}" y1="{y}" x2="{last}" y2="{y}"/>'
    for name in ("lower", "upper"):
        parts = []
        for at, point in enumerate(chart.points):
            height = _y(getattr(point, name), top)
            start, end = _number(_LEFT + at * step), _number(_LEFT + (at + 1) * step)
            parts.append(f"{'L' if at else 'M'}{start} {height} H{end}")
        yield f'<path class="limit" d="{" ".join(parts)}"/>'


def _months(points: Sequence[ControlPoint], step: float, top: float) -> Iterator[str]:
    places = [(_number(_LEFT + (at + 0.5) * step), _y(point.share, top)) for at, point in enumerate(points)]
    yield f'<polyline class="series" points="{" ".join(f"{x},{y}" for x, y in places)}"/>'
    for point, (x, y) in zip(points, places, strict=True):
        if point.beyond:
            yield f'<path class="beyond" d="M{x} {_number(float(y) - 8)} l8 8 l-8 8 l-8 -8 z"/>'
        else:
            yield f'<circle class="point" cx="{x}" cy="{y}" r="5"/>'
        bottom = _TOP + _HEIGHT + 14
        yield (
            f'<text class="small" x="{x}" y="{bottom}" text-anchor="end" '
            f'transform="rotate(-45 {x} {bottom})">{escape(point.month)}</text>'
        )


def _opening(name: str, title: str, told: str, width: int, height: int) -> Iterator[str]:
    yield (
        f'<svg class="{name}" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        f'style="max-width:{width}px">'
    )
    yield f"<title>{escape(title)}</title><desc>{escape(told)}</desc>"


def _y(share: float, top: float) -> str:
    return _number(_TOP + _HEIGHT * (1 - share / top))


def _number(value: float) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".")


def _short(label: str) -> str:
    return label if len(label) <= 18 else f"{label[:17]}\u2026"
