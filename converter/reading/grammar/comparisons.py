"""One side set against the other: "brisker at the left knee than the right", "knee jerks R>L", "R = L"."""

from converter.reading.grammar.drafting import add_bare, draft
from converter.reading.grammar.other_sides import on_side
from converter.reading.grammar.parser import Parser
from converter.reading.grammar.parts import Details, Phrase, Target
from converter.reading.grammar.phrases import phrase_at
from converter.reading.grammar.target_heads import resolve_side, target_at
from converter.reading.grammar.targets import targets_at


def side_against_side(p: Parser) -> bool:
    """One side set against the other: "brisker at the left knee than the right", "knee jerks R>L", "R = L".

    side_against_side = [ targets [ link ] ] ( more phrase [ at ] side | side compare side ) [ than side ] ;
    """
    return _by_mark(p) or _by_words(p)


def _by_mark(p: Parser) -> bool:
    targets, index = targets_at(p, p.index, after_value=False)
    index = p.skip(index, "is", "colon", "comma", "open", "equals")
    if p.kind(index) == "value" and targets:
        found = phrase_at(p, index)
        if found is not None and p.kind(p.skip(found[1], "comma", "open")) == "side":
            after = p.skip(found[1], "comma", "open")
            if p.kind(after + 1) in ("greater", "lesser"):
                return _compare(p, targets, found[0], after)
        return False
    if p.kind(index) != "side" or p.kind(index + 1) not in ("greater", "lesser", "equals", "more", "less"):
        return False
    if not targets:
        targets = [on_side(target, None) for target in p.context.last] if p.drafts else []
        if not targets:
            return False
    return _compare(p, targets, Phrase(), index)


def _compare(p: Parser, targets: list[Target], phrase: Phrase, index: int) -> bool:
    first = p.tokens[index]
    other = p.skip(index + 2, "than")
    if p.kind(other) != "side" or all(target.foreign or "toes" in target.flags for target in targets):
        return False
    kind = p.kind(index + 1)
    used = phrase.used + [(token, "comparison") for token in p.tokens[index : other + 1]]
    more = kind in ("greater", "more")
    for target in targets:
        if target.foreign:
            continue
        target.side = "both" if kind == "equals" else first.meaning
        if phrase.value is not None and p.drafts and kind != "equals":
            target.side = first.meaning
        details = Details(
            comparison="equal"
            if kind == "equals"
            else "greater_than_other_side"
            if more
            else "less_than_other_side"
        )
        if phrase.value is not None:
            target.side = "unspecified" if kind != "equals" else "both"
            phrase.used = used
            draft(p, [target], phrase)
            target.side = first.meaning
        after = phrase_at(p, p.skip(other + 1, "comma", "close")) if kind == "equals" else None
        if after is not None:
            after[0].used += used
            draft(p, [target], after[0])
            p.index = after[1]
            return True
        if kind == "equals":
            add_bare(
                p, target, None, used, implied="symmetric" if phrase.value is None else None, details=details
            )
        else:
            add_bare(p, target, None, used, implied=None, details=details)
    p.index = p.skip(other + 1, "close")
    return True


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
