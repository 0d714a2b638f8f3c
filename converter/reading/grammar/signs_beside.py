"""A sign that goes with the value of one side, before the other side: "4+ R with clonus, 3+ L"."""

from dataclasses import replace

from converter.reading.grammar.drafting import add_bare, draft
from converter.reading.grammar.parser import VALUES, Parser
from converter.reading.grammar.parts import Details, Used
from converter.reading.grammar.phrases import phrase_at
from converter.reading.grammar.target_heads import target_at
from converter.reading.written import Count

_SIDES = {"left", "right"}


def sign_beside(p: Parser, index: int) -> int:
    """Take a sign and its beats where the other side's value follows; the index after it, or `index`."""
    last = p.drafts[-1] if p.drafts else None
    if p.kind(index) != "with" or last is None or last.side not in _SIDES:
        return index
    used: Used = []
    details, at = Details(), index + 1
    if p.kind(at) == "count":
        written = p.tokens[at].written
        details.beats = written.text or None if isinstance(written, Count) else None
        used.append((p.tokens[at], "value"))
        at = p.skip(at + 1, "at")
    elif p.kind(at) == "clonus_word":
        details.sustained = p.tokens[at].meaning == "sustained"
        used.append((p.tokens[at], "detail"))
        at += 1
    if p.kind(at) in VALUES:
        return _plantar_beside(p, at, last.side, index)
    found = target_at(p, at)
    if found is None or not found[0].sign or found[0].side is not None:
        return index
    target, after = found
    if not _other_side_follows(p, p.skip(after, "comma", "but"), last.side):
        return index
    before = list(p.context.last)
    add_bare(p, target, None, used, implied="present", details=details)
    p.context.last = before
    return after


def _plantar_beside(p: Parser, at: int, side: str, index: int) -> int:
    """As in "R brisk with upgoing plantar, L normal with flexor plantar": of the side just graded."""
    phrase = phrase_at(p, at)
    found = target_at(p, phrase[1]) if phrase is not None else None
    if phrase is None or found is None or found[0].site != "plantar" or found[0].side or phrase[0].side:
        return index
    target, after = found
    ends = p.kind(after) in ("end", "stop") or _other_side_follows(p, p.skip(after, "comma", "but"), side)
    singular = not p.text[p.tokens[after - 1].start : p.tokens[after - 1].end].endswith("s")
    before = list(p.context.last)
    if not (ends and singular and draft(p, [replace(target, side=side)], phrase[0])):
        return index
    p.context.last = before
    return after


def _other_side_follows(p: Parser, index: int, side: str) -> bool:
    """Whether a value and the other side follow, in either order."""
    first, second = (index, index + 1) if p.kind(index) == "side" else (index + 1, index)
    sided = p.kind(first) == "side" and p.tokens[first].meaning in _SIDES - {side}
    return sided and p.kind(second) in VALUES
