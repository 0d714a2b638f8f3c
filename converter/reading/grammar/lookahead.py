"""Looks ahead: whether the next value belongs to the name before it or to the one after."""

from converter.reading.grammar.parser import HEADS, VALUES, Parser
from converter.reading.grammar.parts import Target

_COUNTS = {"both": 2, "three": 3, "3": 3, "four": 4, "4": 4, "five": 5, "5": 5, "six": 6, "6": 6}


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


def counts_names(p: Parser, index: int, names: int) -> bool:
    """Whether "both" stands for two names and "all three" for three, rather than for sides or limbs."""
    if p.kind(index) not in ("side", "region", "anaphor"):
        return False
    said = p.word(index).split()
    count = _COUNTS.get(said[-1] if len(said) == 2 and said[0] == "all" else said[0], 0)
    return count == names or (p.kind(index) == "anaphor" and said[0] in ("all", "each") and said[1] == "of")


def value_is_next_ones(p: Parser, index: int) -> bool:
    """Whether the value at an index stands right before another name."""
    following = p.skip(index + 1, "at", "side")
    return p.kind(following) in HEADS
