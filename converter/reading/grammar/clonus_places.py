"""The joint at which clonus is seen: "clonus R ankle 4 beats, L ankle nil"."""

from converter.reading.grammar.parser import VALUES, Parser
from converter.reading.grammar.parts import Phrase, Target
from converter.reading.written import Count, Written

CLONUS_AT = {"achilles": "ankle_clonus", "patellar": "knee_clonus"}
"""The joint at which clonus is seen, by the reflex whose name it shares."""
_LINKS = ("is", "colon", "equals", "at")
_OTHER = {"left": "right", "right": "left"}


def joint_at(p: Parser, index: int) -> str | None:
    """The clonus that a joint, or the foot, at an index is the place of."""
    if p.kind(index) == "site":
        return CLONUS_AT.get(p.tokens[index].meaning) if p.has(index, "joint") else None
    foot = p.kind(index) == "region" and p.has(index, "part") and p.tokens[index].meaning == "lower_limb_all"
    return "ankle_clonus" if foot and p.word(index) in ("foot", "feet") else None


def counts_after(p: Parser, index: int) -> bool:
    """Whether beats, or how long they lasted, are said behind an index."""
    at = p.skip(index, "side", *_LINKS)
    at += p.kind(at) == "comma" and p.kind(at + 1) == "count"
    return p.kind(at) in ("count", "clonus_word")


def beats_of_clonus(phrase: Phrase, targets: list[Target]) -> bool:
    """Whether a value is nothing but beats; joints that have it are places of clonus: "3 beats L ankle"."""
    if phrase.details.beats is None or phrase.value is not None or phrase.pair is not None:
        return False
    for target in targets:
        if target.site in CLONUS_AT and "place" in target.flags:
            target.site, target.flags = CLONUS_AT[target.site], target.flags | {"sign"}
    return True


def clonus_again(p: Parser, index: int, side: str | None) -> str | None:
    """The clonus that a bare joint means behind clonus at a joint.

    Beats are always of clonus. A word that denies is so on the other side, or at another joint where
    clonus was there; a grade never is.
    """
    here = joint_at(p, index)
    last = p.drafts[-1] if p.drafts else None
    target = last.target if last is not None else _left_before(p)
    if here is None or (not p.has(index, "place") and p.kind(index) == "site"):
        return None
    if target is None or target.site not in CLONUS_AT.values():
        return None
    before, behind = _value(p, _before(p, index)), _value(p, p.skip(index + 1, "side", *_LINKS))
    if isinstance(before, Count) or isinstance(behind, Count):
        return here
    said = side or _side_behind(p, index)
    denied = last is not None and last.negated
    other_side = _OTHER.get(last.side if last is not None else target.side or "") == said is not None
    if not (other_side or (here != target.site and not denied)):
        return None
    return here if _denies_or_is_there(before) or _denies_or_is_there(behind) else None


def _left_before(p: Parser) -> Target | None:
    """The one thing that the sentence before spoke of, where this one begins with its place."""
    last = p.context.last
    return last[0] if len(last) == 1 and p.index == 0 else None


def _before(p: Parser, index: int) -> int:
    before = index - 1
    while p.kind(before) in ("side", "at"):
        before -= 1
    return before


def _side_behind(p: Parser, index: int) -> str | None:
    return p.tokens[index + 1].meaning if p.kind(index + 1) == "side" else None


def _value(p: Parser, index: int) -> Written | Count | None:
    written = p.tokens[index].written if p.kind(index) in VALUES else None
    return written if isinstance(written, Written | Count) else None


def _denies_or_is_there(written: Written | Count | None) -> bool:
    """Whether a value says that clonus is or is not there; a bare number counts beats."""
    if not isinstance(written, Written):
        return False
    return written.bare or written.polarity is not None or written.descriptor in ("absent", "present")
