"""Reads the places that follow a value: "reflexes are 2+ at the knees"."""

from dataclasses import replace

from converter.reading.grammar.lookahead import value_is_next_ones
from converter.reading.grammar.parser import VALUES, Parser
from converter.reading.grammar.parts import Target
from converter.reading.grammar.targets import targets_at


def places(p: Parser, index: int, header: Target) -> tuple[list[Target], int]:
    """The places that a value holds for after a noun that only announced them.

    places = [ AT | ONLY ] targets | "(" targets ")" ;

    Args:
        p: the sentence.
        index: the token after the value.
        header: the noun or region before the value.

    Returns:
        The places with what the header lends them, and the index after them; none where none follow.
    """
    start = p.skip(index, "at", "only")
    listed = header.general and p.kind(index) == "colon"  # "reflexes 2+ bilat: biceps, triceps"
    start += listed
    if p.kind(start) == "and" and p.kind(start + 1) == "region" and p.has(start + 1, "all"):
        start += 1
    if p.kind(start) == "open":
        start += 1
    targets, end = targets_at(p, start, after_value=True)
    if not targets or targets[0].foreign or targets[0].general or (listed and p.kind(end) != "end"):
        return [], index
    if header.region and targets[0].region and start == index:
        return _throughout(header, targets, end, index)
    if start == index and first_owns_value(p, targets, end):
        return [], index
    if header.site == "abdominal" and any(target.site != "abdominal" for target in targets):
        return [], index
    if header.site == "clonus_unspecified":
        return _as_clonus(header, [target for target in targets if target.site != "abdominal"]), end
    if any(target.sign or target.site == "plantar" for target in targets) and start == index:
        return [], index
    for target in targets:
        _lend_side(header, target)
    return targets, end


def _lend_side(header: Target, target: Target) -> None:
    unsaid = target.region and not any(role == "side" for _, role in target.used)
    if header.side in ("left", "right") and unsaid:
        target.side = header.side
    target.side = target.side or header.side
    target.implied = None


def _throughout(header: Target, targets: list[Target], end: int, index: int) -> tuple[list[Target], int]:
    """As in "legs 2+ throughout": the region named first, on both sides."""
    if len(targets) != 1 or "all" not in targets[0].flags:
        return [], index
    header.side = header.side or targets[0].side
    return [replace(header, used=header.used + targets[0].used)], end


def _as_clonus(header: Target, targets: list[Target]) -> list[Target]:
    where = {"achilles": "ankle_clonus", "patellar": "knee_clonus"}
    for target in targets:
        target.site = where.get(target.site, "clonus_unspecified")
        target.flags |= {"sign"}
        target.region = False
    return targets


def first_owns_value(p: Parser, targets: list[Target], end: int) -> bool:
    """Whether a value of their own follows the targets."""
    linked = p.skip(end, "is", "colon", "equals")
    return p.kind(linked) in VALUES and not value_is_next_ones(p, linked)
