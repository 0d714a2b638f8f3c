"""A small drawing of one exam: a figure with the grades at its joints.

Takes an exam's findings; gives SVG text, the same for the same input. The patient faces the reader, so the
patient's right is on the reader's left, and both sides are lettered. High, low, absent and clonus have shapes
of their own beside their colours; a value given for a region, not for the reflex, stands in brackets. What
has no place on the figure is named below it.
"""

from collections.abc import Iterator
from html import escape

from converter.assess.exam_view import ExamView, view_of
from converter.assess.options import AssessOptions
from converter.assess.plain import printable
from converter.assess.strength import Strength
from converter.model import Assessment, Note, Reading
from converter.words import Vocabulary

_WIDTH, _HEIGHT, _MIDDLE = 440, 420, 220
_FONT = 'font-family="sans-serif" font-size="12"'
_LONGEST, _LONGEST_LINE = 14, 96
_KEY = "Dashed: level not told. In brackets: given for a whole region. ?: side not stated."
_CAUTION = "For records work, not a diagnosis; confirm with a licensed clinician and local policy."
_JOINTS = {
    "biceps": (42, 124),
    "triceps": (66, 150),
    "brachioradialis": (80, 186),
    "patellar": (30, 298),
    "achilles": (34, 376),
}
"""Distance of each reflex from the middle line and from the top."""

_SHAPE = (
    "M220 84 V220",
    "M220 100 L158 146 L134 214",
    "M220 100 L282 146 L306 214",
    "M220 220 L190 300 L186 380 L166 388",
    "M220 220 L250 300 L254 380 L274 388",
)
_COLOUR = {"absent": "#1b3a6b", "low": "#2f6fb5", "normal": "#4d4d4d", "high": "#c25700", "clonus": "#8a1c1c"}
_PLANTAR = {
    "extensor": "toe up",
    "flexor": "toe down",
    "not_extensor": "toe not up",
    "equivocal": "toe unclear",
    "withdrawal": "withdrawal",
    "mute": "mute",
    "absent": "no response",
}
_LEGEND = (
    ("high", "increased"),
    ("clonus", "clonus"),
    ("normal", "normal"),
    ("low", "reduced"),
    ("absent", "absent"),
)


def figure_svg(assessment: Assessment, reading: Reading, note: Note, vocabulary: Vocabulary) -> str:
    """The drawing of one exam as SVG text."""
    view = view_of(assessment.exam, reading.findings, note, vocabulary, AssessOptions())
    when = note.authored[:10] if note.authored else "time not known"
    title = f"Reflexes, note {note.id}, exam {assessment.exam}, {when}"
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT + 72}" role="img" {_FONT}>',
        f"<title>{_safe(title)}</title>",
        f"<desc>{_safe(_in_words(view))}</desc>",
        f'<text x="{_MIDDLE}" y="18" text-anchor="middle">{_safe(title)}</text>',
        *_body(),
        *_marks(view),
        *_plantar(view),
        *_legend(),
        *_below(_KEY, _CAUTION, _not_drawn(view)),
        "</svg>",
    ]
    return "\n".join(lines)


def _safe(text: str) -> str:
    return escape(printable(text))


def _in_words(view: ExamView) -> str:
    """The same in words, for readers who cannot see the drawing."""
    parts = [
        f"{view.vocabulary.reflexes[site].label} {side}: {strength.written} ({strength.level or 'no level'})"
        for (site, side), strength in view.strengths.items()
    ]
    return "; ".join(parts) or "no graded reflex"


def _body() -> Iterator[str]:
    style = 'fill="none" stroke="#9a9a9a" stroke-width="3" stroke-linecap="round" stroke-linejoin="round"'
    yield f'<circle cx="{_MIDDLE}" cy="58" r="24" {style}/>'
    yield f'<path d="{" ".join(_SHAPE)}" {style}/>'
    yield '<text x="20" y="58" font-weight="bold">Right</text>'
    yield f'<text x="{_WIDTH - 20}" y="58" text-anchor="end" font-weight="bold">Left</text>'


def _marks(view: ExamView) -> Iterator[str]:
    for (site, side), strength in view.strengths.items():
        if site == "jaw":
            yield _mark(strength, _MIDDLE, 70, 1)
        elif site in _JOINTS:
            away, down = _JOINTS[site]
            for sign in {"left": (1,), "right": (-1,)}.get(side, (-1, 1)):
                yield _mark(strength, _MIDDLE + sign * away, down, sign)


def _mark(strength: Strength, x: int, y: int, sign: int) -> str:
    name = "" if strength.site == "jaw" else f"{strength.site} "
    short = strength.short
    value = short if len(short) <= _LONGEST else f"{short[: _LONGEST - 1]}…"
    text = _safe(name + (f"({value})" if strength.region else value))
    unsided = "" if strength.side != "unspecified" or strength.site == "jaw" else " ?"
    anchor = "start" if sign > 0 else "end"
    return (
        f'<g class="{_safe(strength.site)} {strength.side} {strength.level or "unknown"}">'
        f"{_shape(strength.level, x, y)}"
        f'<text x="{x + sign * 12}" y="{y + 4}" text-anchor="{anchor}">{text}{unsided}</text></g>'
    )


def _shape(level: str | None, x: int, y: int) -> str:
    """Increased points up, reduced points down, clonus is doubled, absent is barred, normal is round."""
    colour = _COLOUR.get(level or "", "#4d4d4d")
    line = f'fill="#ffffff" stroke="{colour}" stroke-width="2"'
    up = f'<path d="M{x} {y - 8} l8 14 h-16 z" '
    if level == "high":
        return f"{up}{line}/>"
    if level == "clonus":
        roof = f'<path d="M{x - 8} {y - 4} l8 -12 l8 12" fill="none" stroke="{colour}" stroke-width="2"/>'
        return f"{up}{line}/>{roof}"
    if level == "low":
        return f'<path d="M{x} {y + 8} l8 -14 h-16 z" {line}/>'
    if level == "absent":
        return f'<path d="M{x - 7} {y - 7} h14 v14 h-14 z M{x - 7} {y + 7} l14 -14" {line}/>'
    dash = "" if level == "normal" else ' stroke-dasharray="3 2"'
    return f'<circle cx="{x}" cy="{y}" r="7" {line}{dash}/>'


def _plantar(view: ExamView) -> Iterator[str]:
    for finding in view.findings:
        if finding.kind != "plantar" or finding.response not in _PLANTAR or finding.negated:
            continue
        for sign in {"left": (1,), "right": (-1,)}.get(finding.side, (-1, 1)):
            anchor = "start" if sign > 0 else "end"
            text = _PLANTAR[finding.response] + ("" if finding.side != "unspecified" else " ?")
            yield f'<text x="{_MIDDLE + sign * 58}" y="406" text-anchor="{anchor}">{_safe(text)}</text>'


def _not_drawn(view: ExamView) -> str:
    """The reflexes and signs that the exam documents and the figure has no place for, as far as they fit."""
    reflexes = view.vocabulary.reflexes
    named = dict.fromkeys(
        f"{reflexes[finding.site].label} {finding.side}".removesuffix(" unspecified")
        for finding in view.findings
        if finding.site not in (*_JOINTS, "jaw", "plantar") and not reflexes[finding.site].covers
    )
    text = f"Documented but not drawn: {'; '.join(named)}." if named else ""
    return text if len(text) <= _LONGEST_LINE else f"{text[: _LONGEST_LINE - 1]}…"


def _below(*lines: str) -> Iterator[str]:
    for number, line in enumerate(lines):
        if line:
            y = _HEIGHT + 42 + 12 * number
            yield f'<text x="{_MIDDLE}" y="{y}" text-anchor="middle" font-size="8">{_safe(line)}</text>'


def _legend() -> Iterator[str]:
    for number, (level, word) in enumerate(_LEGEND):
        x = 36 + number * 80
        yield _shape(level, x, _HEIGHT + 20)
        yield f'<text x="{x + 12}" y="{_HEIGHT + 24}" font-size="10">{word}</text>'
