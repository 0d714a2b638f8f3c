"""An assessment as five readable lines with the words of the note beside each, and as a plain record.

Takes an Assessment with its reading and note; gives text or a dict. "None found" is only said of what was
examined, and what was not examined is listed.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
from typing import Any

from converter.assess.making import SIDE_WORDS, listed, start_upper
from converter.assess.plain import printable
from converter.model import Abnormality, Assessment, Diagnostic, Finding, Note, NotExamined, Reading
from converter.model.record import diagnostic_to_record, plain_number
from converter.words.anatomy import shipped_knowledge

LINES: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "Sides": (
        ("side-difference", "plantar-side-difference"),
        ("mixed-plus", "sides-not-compared", "comparison-contradicts-grades"),
    ),
    "Strength": (
        ("level", "quality"),
        ("may-be-normal", "absent-ankle-age", "conflicting-values", "quoted-exam"),
    ),
    "Signs": (
        ("clonus", "motor-neurone-signs", "upper-motor-neurone-pattern"),
        ("brief-clonus", "age-under-limit", "age-unknown", "equivocal-plantar"),
    ),
    "Pattern": (
        (
            "distribution",
            "distal-gradient",
            "arm-leg-difference",
            "level-pattern",
            "candidates",
            "upper-level",
        ),
        ("side-not-stated", "one-side-documented"),
    ),
}
"""The lines of a summary, each with the rules and the diagnostics that it shows."""

_QUOTE, _QUOTES, _GAP = 60, 5, 24
"""Longest quotation of one finding, how many stand beside one line, longest gap quoted within one."""

_GROUPED = frozenset({"level", "side-difference"})
_SIGN_KINDS = frozenset({"plantar", "clonus", "superficial", "primitive"})
_SIGN_SITES = frozenset({"hoffmann", "crossed_adductor", "jaw"})


def summary_text(assessment: Assessment, reading: Reading, note: Note, *, why: bool = False) -> str:
    """Five lines for one exam, headed by the note and closed by the caution.

    Args:
        assessment: the exam's assessment.
        reading: the reading it rests on.
        note: the note.
        why: whether each abnormality names its code, rule, source, HPO term and findings.
    """
    quotes = {finding.finding: _quote(finding, note.text) for finding in reading.findings}
    lines = [_heading(assessment, note) + _judged(assessment.exam, reading)]
    current = [f for f in reading.findings if f.exam == assessment.exam and f.status == "current"]
    for name, (rules, codes) in LINES.items():
        found = [a for a in assessment.abnormalities if a.rule in rules]
        notes = [d for d in assessment.diagnostics if d.code in codes]
        lines += _line(name, found, notes, quotes, current, why=why)
    lines.append(f"  {'Not examined':<13} {_not_examined(assessment.not_examined)}")
    lines.append(f"  {assessment.caution}")
    return "\n".join(printable(line) for line in lines)


def summary_record(assessment: Assessment, reading: Reading, note: Note) -> dict[str, Any]:
    """The assessment as a plain dict, ready for JSON, with the words of the note beside each abnormality."""
    quotes = {finding.finding: finding.quote for finding in reading.findings}
    return {
        "id": note.id,
        "system": note.system,
        "patient": note.patient,
        "author": note.author,
        "authored": note.authored,
        "exam": assessment.exam,
        "vocabulary": reading.vocabulary,
        "judged": {
            finding.finding: finding.verdict
            for finding in reading.findings
            if finding.verdict is not None and finding.exam == assessment.exam
        },
        "abnormalities": [_record(a, quotes) for a in assessment.abnormalities],
        "not_examined": [_plain(row) for row in assessment.not_examined],
        "diagnostics": [diagnostic_to_record(diagnostic) for diagnostic in assessment.diagnostics],
        "unread": [piece.text for piece in reading.unread],
        "caution": assessment.caution,
    }


def _record(abnormality: Abnormality, quotes: Mapping[str, str]) -> dict[str, Any]:
    record = _plain(abnormality)
    record["size"] = plain_number(abnormality.size)
    record["sites"], record["rests_on"] = list(abnormality.sites), list(abnormality.rests_on)
    record["modifiers"] = list(abnormality.modifiers)
    record["words"] = [quotes[finding] for finding in abnormality.rests_on]
    return record


def _plain(value: Abnormality | NotExamined) -> dict[str, Any]:
    return {field.name: getattr(value, field.name) for field in fields(value)}


def _judged(exam: int, reading: Reading) -> str:
    """How many findings of the exam a person judged."""
    count = sum(finding.verdict is not None for finding in reading.findings if finding.exam == exam)
    return f", {count} of its findings judged by a person" if count else ""


def _heading(assessment: Assessment, note: Note) -> str:
    parts = [f"note {note.id}", f"exam {assessment.exam}", note.authored or "time not known"]
    parts += [f"patient {note.patient}"] if note.patient else []
    parts += [f"examiner {note.author}"] if note.author else []
    return ", ".join(parts)


def _line(
    name: str,
    found: Sequence[Abnormality],
    notes: Sequence[Diagnostic],
    quotes: Mapping[str, str],
    current: Sequence[Finding],
    *,
    why: bool,
) -> list[str]:
    """The line of one kind: its abnormalities, or that none was found in what was examined."""
    texts = [
        f"{_sentence(group)} {_words((i for a in group for i in a.rests_on), quotes)}{_doubt(group[0])}"
        for group in _alike(found)
    ]
    texts += [f"{diagnostic.message}." for diagnostic in notes]
    if not found:
        texts.insert(0, _nothing(name, current))
    lines = [f"  {name:<13} {texts[0]}", *(f"  {'':<13} {text}" for text in texts[1:])]
    if why:
        lines += [f"  {'':<13}   why: {_why(abnormality)}" for abnormality in found]
    return lines


def _alike(found: Sequence[Abnormality]) -> list[list[Abnormality]]:
    """Reflexes that are abnormal alike, together; all others alone."""
    groups: dict[tuple[object, ...], list[Abnormality]] = {}
    for each in found:
        own = each.sentence.partition(": ")[2] if each.rule in _GROUPED else each.abnormality
        groups.setdefault((each.code, each.side, each.certainty, own), []).append(each)
    return list(groups.values())


def _sentence(group: Sequence[Abnormality]) -> str:
    first = group[0]
    if len(group) == 1:
        return first.sentence
    sites = listed([_site(site) for each in group for site in each.sites])
    said = first.sentence.partition(": ")[2]
    if first.rule == "level":
        return f"{start_upper(sites)} reflexes {SIDE_WORDS[first.side]}: {said}"
    return f"{shipped_knowledge().codes[first.code].label} of the {sites} reflexes: {said}"


def _nothing(name: str, current: Sequence[Finding]) -> str:
    """Whether there was anything to find."""
    if name == "Sides":
        return (
            "none found in what was examined."
            if _two_sides(current)
            else "no reflex is documented on both sides."
        )
    signs = [f for f in current if f.kind in _SIGN_KINDS or f.site in _SIGN_SITES]
    wanted = signs if name == "Signs" else [f for f in current if f.kind == "stretch"]
    return "none found in what was examined." if wanted else "not documented."


def _two_sides(current: Iterable[Finding]) -> bool:
    places = {(finding.site, finding.side) for finding in current}
    return any(side == "both" or (side == "left" and (site, "right") in places) for site, side in places)


def _words(rests_on: Iterable[str], quotes: Mapping[str, str]) -> str:
    words = list(dict.fromkeys(quotes[finding] for finding in rests_on if finding in quotes))
    more = [f"{len(words) - _QUOTES} more"] if len(words) > _QUOTES else []
    return "[" + " | ".join(words[:_QUOTES] + more) + "]"


def _doubt(abnormality: Abnormality) -> str:
    return " (uncertain)" if abnormality.certainty == "uncertain" else ""


def _quote(finding: Finding, text: str) -> str:
    """The words of the note; what stands between them is left out where it is long or holds other values."""
    words, end = "", finding.start
    for span in finding.spans:
        gap = text[end : span.start]
        words += gap if len(gap) <= _GAP and not any(letter.isdigit() for letter in gap) else " … "
        words += text[max(end, span.start) : span.end]
        end = max(end, span.end)
    words = " ".join((words or finding.quote).split())
    return words if len(words) <= _QUOTE else f"{words[: _QUOTE - 1]}…"


def _why(abnormality: Abnormality) -> str:
    hpo = f"; {abnormality.hpo} {abnormality.hpo_label}" if abnormality.hpo else ""
    modifiers = f" ({', '.join(abnormality.modifiers)})" if abnormality.modifiers else ""
    return (
        f"{abnormality.code}, rule {abnormality.rule}; source: {abnormality.source}{hpo}{modifiers}; "
        f"rests on {', '.join(abnormality.rests_on)}"
    )


def _not_examined(rows: Sequence[NotExamined]) -> str:
    """The reflexes by reason: `not documented: biceps left, triceps both`."""
    by_reason: dict[str, list[str]] = {}
    for row in rows:
        side = "" if row.side == "unspecified" else f" {row.side}"
        by_reason.setdefault(row.reason, []).append(_site(row.site) + side)
    return (
        "; ".join(f"{reason}: {', '.join(names)}" for reason, names in by_reason.items())
        or "nothing left out"
    )


def _site(site: str) -> str:
    special = {"achilles": "Achilles", "unspecified": "reflexes, place not stated"}
    return special.get(site) or site.replace("_", " ")
