"""What a value does not hold for, and what holds for the rest: "2+ except at the ankles", "otherwise 2+"."""

from converter.reading.grammar.drafting import add_bare, draft
from converter.reading.grammar.other_sides import on_side
from converter.reading.grammar.parser import Parser
from converter.reading.grammar.parts import Draft, Target
from converter.reading.grammar.phrases import phrase_at
from converter.reading.grammar.targets import targets_at


def exception(p: Parser) -> bool:
    """What the value before does not hold for, with its own value or without.

    exception = EXCEPT [ AT ] ( phrase [ AT ] targets | targets [ link phrase ] ) ;
    """
    if p.kind(p.index) != "except":
        return False
    mark = (p.tokens[p.index], "exception")
    start = p.skip(p.index + 1, "at", "anaphor", "is")
    earlier = list(p.drafts)
    found = phrase_at(p, start)
    if found is not None:
        phrase, index = found
        targets, end = targets_at(p, p.skip(index, "at"), after_value=True)
        if not targets and phrase.side is not None and earlier:
            targets, end = [on_side(earlier[-1].target, None)], index
        _lend_side(targets, earlier)
        if targets and draft(p, targets, phrase, [mark]):
            p.index = end
            return True
        return _foreign_exception(p, targets, end)
    targets, index = _quadrant(p, start) or targets_at(p, start, after_value=False)
    if not targets:
        return False
    if all(target.foreign for target in targets):
        return _foreign_exception(p, targets, index)
    _lend_side(targets, earlier)
    found = phrase_at(p, p.skip(index, "is", "colon", "comma", "equals", "anaphor", "open", "at"))
    if p.kind(p.skip(index, "is", "colon", "comma")) == "untested":
        p.mark([mark])
        return False
    if found is not None and draft(p, targets, found[0], [mark]):
        p.index = found[1]
        return True
    for target in targets:
        _excepted(p, target, mark)
    p.index = index
    return True


def _quadrant(p: Parser, start: int) -> tuple[list[Target], int] | None:
    """As in "abdominals absent except the right upper": a part of the abdomen that was just graded."""
    named = start + (p.kind(start) == "side")
    abdominal = bool(p.drafts) and p.drafts[-1].target.site == "abdominal"
    if not abdominal or p.word(named) not in ("upper", "lower") or p.kind(named + 1) not in ("end", "comma"):
        return None
    used = [(token, "side" if token.kind == "side" else "site") for token in p.tokens[start : named + 1]]
    side = p.tokens[start].meaning if named > start else None
    return [Target("abdominal", which=p.word(named), side=side, used=used)], named + 1


def _lend_side(targets: list[Target], earlier: list[Draft]) -> None:
    """As in "normal in the left arm except the triceps": what is excepted lies in the limb just named."""
    last = earlier[-1] if earlier else None
    if last is None or not last.target.region or last.side not in ("left", "right"):
        return
    sides = [(token, role) for token, role in last.target.used if role in ("side", "region")]
    for target in targets:
        if target.side is None and target.specific:
            target.side = last.side
            target.used = [*sides, *target.used]


def _foreign_exception(p: Parser, targets: list[Target], end: int) -> bool:
    if not targets:
        return False
    p.index = end
    return True


def _excepted(p: Parser, target: Target, mark: tuple[object, str]) -> None:
    """Where reflexes are "present except" here, here they are absent; else only the exception is known."""
    if target.foreign:
        return
    if target.sign:
        add_bare(p, target, None, [mark], implied="present")  # type: ignore[list-item]
        return
    last = p.drafts[-1] if p.drafts else None
    present = last is not None and last.value is not None and last.value.descriptor == "present"
    add_bare(
        p,
        target,
        None,
        [mark],  # type: ignore[list-item]
        implied="absent" if present else None,
        reason=None if present else "excepted",
    )


def otherwise(p: Parser) -> bool:
    """The rest: "left ankle absent, otherwise 2+".

    otherwise = OTHERWISE [ REFLEX ] [ IS | ":" | "," ] phrase [ [ AT ] targets ] ;
    """
    if p.kind(p.index) != "otherwise":
        return False
    mark = (p.tokens[p.index], "header")
    of_reflexes = p.context.reflexes or "trigger" in mark[0].flags
    index = p.skip(p.index + 1, "at", "is", "colon", "comma", "dash")
    targets, named = targets_at(p, index, after_value=False)
    if targets and not all(target.foreign for target in targets):
        if not all(target.general for target in targets):
            p.index += 1
            return True
        for target in targets:
            p.mark(target.used)
        index = p.skip(named, "is", "colon")
    found = phrase_at(p, index)
    if found is None or not of_reflexes:
        p.index += 1
        return True
    phrase, after = found
    places, end = targets_at(p, p.skip(after, "at"), after_value=True)
    if not places or places[0].foreign:
        places, end = [Target("unspecified", general=True, used=[])], after
    if not draft(p, places, phrase, [mark]):
        p.index += 1
        return True
    p.index = end
    return True
