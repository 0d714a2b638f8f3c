"""Looks ahead: whether the next value belongs to the name before it or to the one after."""

from converter.reading.grammar.parser import HEADS, VALUES, Parser
from converter.reading.grammar.parts import Target


def owns_value(p: Parser, after: int, target: Target) -> bool:
    """Whether a value of its own follows a target: "knees 1+", but not the knees of "2+ knees, 1+ ankles"."""
    index = p.skip(after, "side", "open", "close") if p.kind(after) == "side" else after
    linked = p.skip(index, "is", "colon", "equals", "no")
    if p.kind(linked) == "count":
        return target.site.endswith("clonus") or target.site == "clonus_unspecified"
    if p.kind(linked) not in VALUES and p.kind(linked) != "untested":
        return False
    if linked > index:
        return True
    following = p.skip(linked + 1, "side", "at")
    return p.kind(following) not in HEADS


def value_is_next_ones(p: Parser, index: int) -> bool:
    """Whether the value at an index stands right before another name."""
    following = p.skip(index + 1, "at", "side")
    return p.kind(following) in HEADS
