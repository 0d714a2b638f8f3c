"""Writes findings in shorthand, with marks that clinicians write, so that the reader reads the same findings.

Takes findings and the vocabulary; gives text. Leaves out what no such mark exists for, and says so. The marks
themselves are data (`words/shorthand.toml`).

shorthand = [ scale ";" ] clause { ";" clause } ;
clause    = [ "previously" | "FH" | "if" ] ( named | between | "no" [ lasting ] name | "except" name ) ;
named     = name [ "?" ] value { detail } [ "unchanged" | "R=L" | "compared to" ( side | "prior" ) ] ;
between   = reflex ( "R>L" | "R<L" | "L>R" | "L<R" | "R=L" ) ;
name      = [ side ] reflex | sided_region ;
value     = [ "not" ] ( grade | word | response ) | "not tested" [ "due to" reason ] | beats [ "," lasting ] ;
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from converter.model import Finding
from converter.words import Vocabulary
from converter.words.phrases import wordings
from converter.words.vocabulary import SHIPPED, read_table

_PLUS_COUNT = "plus-count"
_TRACE = 0.5
_STATUS = {"historical": "previously ", "family": "FH ", "hypothetical": "if "}
_DETAILS = ("reinforcement", "manoeuvre", "position", "technique", "quality")
_OVER = frozenset({"absent", "trace"})
_WEAKER = frozenset({"absent", "trace", "diminished"})
_OTHER_LIMB = {"lower_limb_all": "UE", "upper_limb_all": "LE"}
_MARKS_BETWEEN = {"greater_than_other_side": ">", "less_than_other_side": "<"}


@dataclass(frozen=True, slots=True)
class Shorthand:
    """Findings in shorthand.

    Attributes:
        text: one line; empty where nothing could be written.
        left_out: findings for which clinicians have no mark, e.g. those about the family.
    """

    text: str
    left_out: tuple[Finding, ...]


def shorthand_of(findings: Iterable[Finding], vocabulary: Vocabulary) -> Shorthand:
    """Write findings as one line.

    Args:
        findings: findings of one note, in order.
        vocabulary: the words that must read the line again.
    """
    clauses: list[str] = []
    left_out: list[Finding] = []
    scale = None
    marks = _marks(vocabulary)
    for finding in findings:
        clause = _clause(finding, marks)
        if clause is None:
            left_out.append(finding)
            continue
        clauses.append(clause)
        if finding.scale_basis == "legend":
            scale = marks.scales.get(finding.scale or "", scale)
    return Shorthand("; ".join([scale, *clauses] if scale else clauses), tuple(left_out))


@dataclass(frozen=True, slots=True)
class _Marks:
    sites: Mapping[str, str]
    sided: Mapping[str, str]
    sides: Mapping[str, str]
    details: Mapping[str, str]
    scales: Mapping[str, str]
    roots: frozenset[str]


@lru_cache(maxsize=8)
def _marks(vocabulary: Vocabulary) -> _Marks:
    table = read_table(SHIPPED / "shorthand.toml")
    sites, details, scales = dict(table["sites"]), dict(table["details"]), dict(table["scales"])
    for row in vocabulary.rows:
        wording = next(iter(wordings(row.phrase)))
        if row.role == "site" and row.flags & {"trigger"}:
            sites.setdefault(row.meaning, wording)
        elif row.role in _DETAILS:
            details.setdefault(row.meaning, wording)
        elif row.role == "legend":
            scales.setdefault(row.meaning, wording)
    roots = frozenset(row.meaning for row in vocabulary.rows if "root" in row.flags)
    return _Marks(sites, table["sided"], table["sides"], details, scales, roots)


def _clause(finding: Finding, marks: _Marks) -> str | None:
    name = _name(finding, marks)
    if name is None:
        return None
    said = _excepted(finding, name) or _side_by_side(finding, marks) or _valued(finding, name, marks)
    return None if said is None else _STATUS.get(finding.status, "") + said


def _excepted(finding: Finding, name: str) -> str | None:
    return f"except {name}" if finding.reason == "excepted" and finding.status != "not_tested" else None


def _side_by_side(finding: Finding, marks: _Marks) -> str | None:
    """`KJ R>L`, `KJ R=L`: one side against the other, and nothing else said."""
    bare = _reflex(finding, marks)
    valued = finding.as_written and finding.descriptor != "symmetric"
    if bare is None or finding.comparison is None or valued:
        return None
    if finding.comparison == "equal" and (finding.side, finding.descriptor) == ("both", "symmetric"):
        return f"{bare} R=L"
    between = _MARKS_BETWEEN.get(finding.comparison)
    if between is None or finding.side not in ("left", "right") or _value(finding) is not None:
        return None
    sides = ("R", "L") if finding.side == "right" else ("L", "R")
    return f"{bare} {sides[0]}{between}{sides[1]}"


def _valued(finding: Finding, name: str, marks: _Marks) -> str | None:
    value, details = _value(finding), _details(finding, marks)
    compared = _compared(finding)
    if compared is None or (value is None and not details and not compared):
        return None
    doubt = "?" if finding.certainty == "uncertain" else ""
    if _denied_sign(finding):
        value, name = None, _no(finding, name)
    said = [name, f"{doubt}{value or ''}", *details, compared]
    return " ".join(part for part in said if part)


def _details(finding: Finding, marks: _Marks) -> list[str]:
    return [marks.details[said] for said in (getattr(finding, one) for one in _DETAILS) if said]


def _compared(finding: Finding) -> str | None:
    """What the value is compared with; None where shorthand has no mark for it."""
    if finding.comparison in (None, "unchanged"):
        return finding.comparison or ""
    if finding.comparison == "equal" and finding.side == "both":
        return "R=L"
    weaker = finding.descriptor in _WEAKER
    direction = "less" if weaker else "greater"
    if finding.side in ("left", "right") and finding.comparison == f"{direction}_than_other_side":
        return f"compared to {'L' if finding.side == 'right' else 'R'}"
    if finding.comparison == f"{direction}_than_before":
        return "compared to prior"
    other = _OTHER_LIMB.get(finding.site)
    marks = {"greater_than_other_limb": ">", "less_than_other_limb": "<"}
    return f"{marks[finding.comparison]} {other}" if finding.comparison in marks and other else None


def _denied_sign(finding: Finding) -> bool:
    return finding.negated and finding.descriptor == "absent"


def _no(finding: Finding, name: str) -> str:
    lasting = {True: "sustained ", False: "unsustained "}
    return f"no {'' if finding.sustained is None else lasting[finding.sustained]}{name}"


def _name(finding: Finding, marks: _Marks) -> str | None:
    """The reflex with its side: `R KJ`, `BUE reflexes`, `bilat ankle clonus`."""
    sided = marks.sided.get(f"{finding.site}:{finding.side}")
    if sided is not None:
        return sided
    name = _reflex(finding, marks)
    if name is None or finding.side == "unspecified":
        return name
    return f"{marks.sides[finding.side]} {name}"


def _reflex(finding: Finding, marks: _Marks) -> str | None:
    if finding.root is not None:
        if f"{finding.site}:root={finding.root}" in marks.roots:
            return f"{finding.root} reflex"
        return f"{marks.sites[finding.site]} ({finding.root})" if finding.site in marks.sites else None
    if finding.response == "not_extensor" and finding.which is None:
        return marks.sites.get(f"{finding.site}:{finding.response}")
    return marks.sites.get(f"{finding.site}:{finding.which}" if finding.which else finding.site)


def _value(finding: Finding) -> str | None:
    if finding.status == "not_tested":
        return f"not tested due to {finding.reason}" if finding.reason else "not tested"
    if finding.grade_low is not None:
        return f"not {_grade(finding)}" if finding.negated else _grade(finding)
    if finding.response is not None:
        return _response(finding)
    if finding.kind == "clonus":
        return _clonus(finding)
    if finding.descriptor is None:
        return finding.as_written if finding.comparison is None and finding.quality is None else None
    over = f"/{finding.denominator}" if finding.denominator and finding.descriptor in _OVER else ""
    return f"not {finding.descriptor}" if finding.negated else f"{finding.descriptor}{over}"


def _response(finding: Finding) -> str | None:
    if finding.response == "not_extensor":
        return "negative"
    return f"not {finding.response}" if finding.negated else finding.response


def _clonus(finding: Finding) -> str:
    beats = [f"x{finding.beats}"] if finding.beats else []
    lasting = [] if finding.sustained is None else ["sustained" if finding.sustained else "unsustained"]
    return ", ".join([*beats, *lasting]) or finding.descriptor or "present"


def _grade(finding: Finding) -> str:
    low, high = float(finding.grade_low or 0), float(finding.grade_high or 0)
    if finding.scale == _PLUS_COUNT:
        return "+" * int(low) if low == high else f"{'+' * int(low)} to {'+' * int(high)}"
    lead = "+" if finding.plus == "leading" else ""
    trail = "+" if finding.plus == "trailing" else ""
    over = f"/{finding.denominator}" if finding.denominator else ""
    if low == high:
        return f"{lead}{high:g}{trail}{over}"
    start = f"trace to {lead}" if low == _TRACE else f"{lead}{low:g}-"
    return f"{start}{high:g}{trail}{over}"
