"""One side set against the other: "brisker at the left knee than the right", "knee jerks R>L", "R = L"."""

from converter.reading.grammar.drafting import add_bare, draft
from converter.reading.grammar.other_sides import on_side
from converter.reading.grammar.parser import Parser
from converter.reading.grammar.parts import Details, Phrase, Target, Used
from converter.reading.grammar.phrases import phrase_at
from converter.reading.grammar.target_heads import resolve_side, target_at
from converter.reading.grammar.targets import targets_at, targets_here


def side_against_side(p: Parser) -> bool:
    """One side set against the other: "brisker at the left knee than the right", "knee jerks R>L", "R = L".

    side_against_side = [ targets [ link ] ] SIDE compare SIDE [ value ]
                      | targets [ link ] weaker [ AT ] SIDE
                      | targets [ link ] phrase [ "," ] SIDE ( ">" | "<" | "=" ) SIDE
                      | ( MORE | LESS ) phrase [ AT ] targets [ THAN [ AT ] [ SIDE ] [ target ] ] ;
    compare = ">" | "<" | "=" | ( MORE | LESS ) THAN ;
    weaker = ( MORE | LESS ) THAN ;
    """
    return _by_mark(p) or _by_words(p)


def _by_mark(p: Parser) -> bool:
    targets, index = targets_here(p)
    index = p.skip(index, "is", "colon", "comma", "open", "equals")
    if p.kind(index) == "value" and targets:
        found = phrase_at(p, index)
        if found is not None and p.kind(p.skip(found[1], "comma", "open")) == "side":
            after = p.skip(found[1], "comma", "open")
            equal = p.kind(after + 1) == "equals" and p.kind(after + 2) == "side"
            if p.kind(after + 1) in ("greater", "lesser") or equal:
                return _compare(p, targets, found[0], after)
        return False
    if p.kind(index) in ("more", "less") and p.kind(index + 1) == "than":
        return _than_other(p, targets, index)
    if p.kind(index) != "side" or p.kind(index + 1) not in ("greater", "lesser", "equals", "more", "less"):
        return False
    if not targets:
        targets = [on_side(target, None) for target in p.context.last] if p.drafts else []
        if not targets:
            return False
    return _compare(p, targets, Phrase(), index)


def _than_other(p: Parser, targets: list[Target], index: int) -> bool:
    """As in "the right ankle reflex is weaker than the left": of the side named first."""
    other = p.skip(index + 2, "at")
    sides = {targets[0].side, p.tokens[other].meaning if p.kind(other) == "side" else None} if targets else {}
    if len(targets) != 1 or not targets[0].specific or sides != {"left", "right"}:
        return False
    comparison = "greater_than_other_side" if p.kind(index) == "more" else "less_than_other_side"
    used = [(token, "comparison") for token in p.tokens[index : other + 1]]
    add_bare(p, targets[0], None, used, details=Details(comparison=comparison))
    p.index = other + 1
    return True


def _compare(p: Parser, targets: list[Target], phrase: Phrase, index: int) -> bool:
    other = p.skip(index + 2, "than")
    if p.kind(other) != "side" or all(target.foreign or "toes" in target.flags for target in targets):
        return False
    used = [(token, "comparison") for token in p.tokens[index : other + 1]]
    p.index = p.skip(other + 1, "close")
    for target in targets:
        if target.foreign:
            continue
        if p.kind(index + 1) == "equals":
            _equal(p, target, phrase, used, other)
        else:
            _unequal(p, target, phrase, used, index)
    return True


def _equal(p: Parser, target: Target, phrase: Phrase, used: Used, other: int) -> None:
    """As in "R = L", with the value before or after it, or none."""
    target.side = "both"
    value = p.skip(other + 1, "comma", "close", "equals", "colon")
    after = phrase_at(p, value) if phrase.value is None else None
    if after is not None:
        phrase, p.index = after
    phrase.used = phrase.used + used
    if phrase.value is not None or phrase.pair is not None:
        draft(p, [target], phrase)
        return
    add_bare(p, target, None, used, implied="symmetric", details=Details(comparison="equal"))


def _unequal(p: Parser, target: Target, phrase: Phrase, used: Used, index: int) -> None:
    """As in "R>L": a finding for the side named first, with the value if that side was said to have it."""
    side = p.tokens[index].meaning
    more = p.kind(index + 1) in ("greater", "more")
    comparison = "greater_than_other_side" if more else "less_than_other_side"
    if phrase.value is not None and target.side == side:
        phrase.details.comparison = comparison
        phrase.used = phrase.used + used
        draft(p, [target], phrase)
        return
    if phrase.value is not None:
        phrase.used = phrase.used + used
        draft(p, [on_side(target, "unspecified")], phrase)
    add_bare(p, on_side(target, side), None, used, details=Details(comparison=comparison))


def _by_words(p: Parser) -> bool:
    """Words compare: "more brisk at the left knee than on the right"."""
    start = p.index
    if p.kind(start) not in ("more", "less"):
        return False
    found = phrase_at(p, start)
    if found is None:
        return False
    phrase, index = found
    phrase.details.comparison = (
        "greater_than_other_side" if p.kind(start) == "more" else "less_than_other_side"
    )
    targets, end = targets_at(p, p.skip(index, "at"), after_value=True)
    if not targets:
        side = p.skip(index, "at")
        if phrase.side is None and p.kind(side) == "side":
            phrase.side, index = resolve_side(p, p.tokens[side]), side + 1
            phrase.used.append((p.tokens[side], "side"))
        p.mark(phrase.used)
        if (
            p.drafts
            and p.context.last
            and {d.side for d in p.drafts[-2:]} != {"left", "right"}
            and phrase.side
        ):
            draft(p, [on_side(target, None) for target in p.context.last], phrase)
        p.index = _than(p, index)
        return True
    if not draft(p, targets, phrase):
        return False
    p.index = _than(p, end)
    return True


def _than(p: Parser, index: int) -> int:
    place = p.skip(index, "comma")
    if p.kind(place) != "than":
        return index
    after = p.skip(place + 1, "at", "side", "region")
    found = target_at(p, p.skip(place + 1, "at"))
    if found is not None:
        after = found[1]
    p.mark_range(place, after, "comparison")
    return after
