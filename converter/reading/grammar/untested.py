"""Reflexes that were not tested, with the reason: "ankle jerks not tested because of casts"."""

import re

from converter.reading.grammar.drafting import add_bare
from converter.reading.grammar.other_sides import on_side, other_sides
from converter.reading.grammar.parser import LINKS, VALUES, Parser
from converter.reading.grammar.parts import Target, Used
from converter.reading.grammar.places import places
from converter.reading.grammar.target_heads import resolve_side
from converter.reading.grammar.targets import targets_at, targets_here
from converter.reading.tokens import Token

_LONGEST_REASON = 8
_PAIN = re.compile(r"\bpain\b", re.IGNORECASE)
_ONE_SIDE = frozenset({"left", "right"})


def untested(p: Parser) -> bool:
    """Reflexes that were not tested, with the reason.

    untested = targets [ link ] UNTESTED [ because ] ;
    because = [ REASON ] ( REASON | WORD { WORD } ) ;
    """
    targets, index = targets_here(p)
    linked = p.skip(index, *LINKS, "comma", "slash", "open")
    if targets and p.kind(linked) == "side" and p.tokens[linked].meaning in _ONE_SIDE:
        targets = [_on_named_side(target, p.tokens[linked]) for target in targets]
        linked = _past_state(p, p.skip(linked + 1, *LINKS))
    parted = any(p.kind(i) in ("comma", "slash") for i in range(index, linked))
    if not targets or p.kind(linked) != "untested" or (parted and p.has(linked, "after")):
        return False
    p.index = other_sides(p, not_tested(p, targets, linked), targets)
    return True


def untested_named(p: Parser) -> bool:
    """What could not be tested, named after: "unable to test ankle jerks because of casts".

    untested_named = UNTESTED [ AT ] targets [ because ] ;
    """
    beside = p.kind(p.index + 1) in ("site", "reflex") or not p.has(p.index, "after")
    if p.kind(p.index) != "untested" or not beside:
        return False
    start = p.skip(p.index + 1, "at", "colon")
    targets, end = targets_at(p, start, after_value=True)
    if not targets or all(target.foreign for target in targets):
        return False
    said = p.tokens[p.index]
    p.tokens.insert(end, said)
    after = not_tested(p, targets, end)
    del p.tokens[end]
    p.index = after - 1
    return True


def untested_on_a_side(p: Parser) -> bool:
    """The reflexes just graded, not tested on a side: "the left could not be tested because of a cast".

    untested_on_a_side = SIDE [ link ] UNTESTED [ because ] | UNTESTED [ AT ] SIDE [ because ] ;
    """
    if _untested_then_side(p):
        return True
    linked = _past_state(p, p.skip(p.index + 1, *LINKS))
    said_of = p.kind(p.index) == "side" and p.tokens[p.index].meaning in ("left", "right")
    last = [target for target in p.context.last if target.specific]
    if not said_of or p.kind(linked) != "untested" or not last:
        return False
    side = p.tokens[p.index]
    targets = [_on_named_side(target, side) for target in last]
    p.index = not_tested(p, targets, linked)
    return True


def _untested_then_side(p: Parser) -> bool:
    """As in "KJ 2+ R, not tested L due to pain": the side behind."""
    side = p.skip(p.index + 1, "at")
    last = [target for target in p.context.last if target.specific]
    if p.kind(p.index) != "untested" or p.kind(side) != "side" or not last:
        return False
    if p.tokens[side].meaning not in _ONE_SIDE or p.tokens[side].meaning == p.context.graded_side:
        return False
    p.index = not_tested(p, [on_side(target, None) for target in last], p.index)
    return True


def _past_state(p: Parser, index: int) -> int:
    """As in "R in cast, not tested": the index behind the state of a limb that tells why."""
    told = p.skip(index + 1, "comma", "so", "dash")
    stated = p.kind(index) == "reason" and p.has(index, "state") and p.kind(told) == "untested"
    return told if stated else index


def _on_named_side(target: Target, side: Token) -> Target:
    """As in "KJ: R NT, L 2+": the side behind the name."""
    sided = on_side(target, side.meaning)
    sided.used.append((side, "side"))
    return sided


def not_tested(p: Parser, targets: list[Target], at: int) -> int:
    """Draft findings that say why there is no value; gives the index after the reason."""
    used: Used = [(p.tokens[at], "assertion")]
    targets, at = _placed(p, targets, at)
    side_at = p.skip(at + 1, "at")
    side: str | None = None
    if p.kind(side_at) == "side" and not _leads_value(p, side_at, targets):
        side = resolve_side(p, p.tokens[side_at])
        used.append((p.tokens[side_at], "side"))
        at = side_at
    reason, after = _reason(p, at + 1, used, p.tokens[at])
    reason = reason or _state_before(p, used) or _reason_before(p, targets, used)
    reason = reason or _limb_before(p, targets, used)
    for target in targets:
        p.mark(target.used)
        if not target.foreign:
            add_bare(p, target, side, used, status="not_tested", reason=reason)
    return after


def _leads_value(p: Parser, side: int, targets: list[Target]) -> bool:
    """As in "KJ R NT L 2+": the side behind is that of the next value."""
    sided = all(target.side in _ONE_SIDE for target in targets)
    return sided and p.kind(p.skip(side + 1, *LINKS)) in VALUES | {"untested"}


def _placed(p: Parser, targets: list[Target], at: int) -> tuple[list[Target], int]:
    """As in "reflexes could not be tested in the right leg": the places that the noun only announced."""
    if len(targets) != 1 or not targets[0].general or p.kind(at + 1) != "at":
        return targets, at
    placed, end = places(p, at + 1, targets[0])
    for target in placed:
        target.used = [*targets[0].used, *target.used]
    return (placed, end - 1) if placed else (targets, at)


def _state_before(p: Parser, used: Used) -> str | None:
    """The state of a limb right before what says that it was not tested."""
    at = p.tokens.index(used[0][0]) - 1
    while p.kind(at) in ("comma", "dash"):
        at -= 1
    if p.kind(at) != "reason" or not p.has(at, "state") or p.tokens[at].used:
        return None
    used.append((p.tokens[at], "detail"))
    return p.tokens[at].meaning


def _reason_before(p: Parser, targets: list[Target], used: Used) -> str | None:
    """As in "Because of pain the knee jerk was not tested", "sedated, so reflexes were not assessed"."""
    first = min((token.start for target in targets for token, _ in target.used), default=0)
    before = [token for token in p.tokens if token.start < first]
    opens = bool(before) and before[0].kind == "reason"
    if not opens or p.drafts or len(before) > _LONGEST_REASON:
        return None
    used.append((before[0], "detail"))
    if "cause" not in before[0].flags:
        return before[0].meaning
    words = [t for t in before[1:] if t.kind not in ("comma", "side", "at", "and")]
    known = next((token for token in words if token.kind == "reason"), None)
    if known is not None:
        used.append((known, "detail"))
        return known.meaning
    used += [(token, "detail") for token in words]
    return p.text[words[0].start : words[-1].end] if words else None


def _limb_before(p: Parser, targets: list[Target], used: Used) -> str | None:
    """As in "R leg in POP - KJ/AJ not tested": the state of a limb tells the side and the reason."""
    first = min((token.start for target in targets for token, _ in target.used), default=0)
    said = max((token.end for draft in p.drafts for token, _ in draft.used), default=0)
    before = [token for token in p.tokens if said <= token.start < first]
    state = next((token for token in before if token.kind == "reason" and "state" in token.flags), None)
    sides = [token for token in before if token.kind == "side" and token.meaning in _ONE_SIDE]
    limbs = {
        p.vocabulary.reflexes[t.meaning.partition(":")[0]].limb
        for t in before
        if t.kind in ("region", "site")
    }
    others = {target.side for target in targets} - {None, *(token.meaning for token in sides)}
    if state is None or state.used or others:
        return None
    if not limbs <= {p.vocabulary.reflexes[target.site].limb for target in targets} | {None}:
        return None
    if len(sides) == 1:
        for target in targets:
            target.side = sides[0].meaning
        used.append((sides[0], "side"))
    used.append((state, "detail"))
    return state.meaning


def _in_own_words(words: str) -> str:
    """A reason as the note words it; any pain is `pain`, as in "pain after the knee replacement"."""
    return "pain" if _PAIN.search(words) else words


def _ends_clause(p: Parser, index: int) -> bool:
    return p.kind(index) in ("end", "close", "comma", "stop")


def _other_side(p: Parser, comma: int) -> bool:
    """As in "not tested because of pain, right 2+": what follows is said of the other side."""
    return p.kind(comma) == "comma" and p.kind(p.skip(comma + 1, "at")) == "side"


def _reason(p: Parser, index: int, used: Used, said: Token) -> tuple[str | None, int]:
    """[ because ] words: a known reason by its name, another one in the note's own words."""
    own = said.meaning or None
    start = p.skip(index, "open", "dash", "comma", "with", "at")
    parted = start == index + 1 and p.kind(index) in ("dash", "open", "colon")
    cause = (p.kind(start) == "reason" and p.has(start, "cause")) or p.word(start) == "2/2"
    if cause:
        used.append((p.tokens[start], "detail"))
        start += 1
    end = start
    ends = {"end", "close", "stop", "but", "and"} | ({"comma"} if parted else set())
    while p.kind(end) not in ends and end - start < _LONGEST_REASON:
        token = p.tokens[end]
        refused = token.kind == "untested" and token.meaning and _ends_clause(p, end + 1)
        if refused or (token.kind == "reason" and not p.has(end, "cause")):
            used.append((token, "detail"))
            return token.meaning, end + 1
        named = token.kind in ("site", "reflex", "condition") and not (cause and p.has(end, "place"))
        if named or token.kind in VALUES or _other_side(p, end):
            break
        end += 1
    if (cause or (parted and _ends_clause(p, end))) and end > start:
        used += [(token, "detail") for token in p.tokens[start:end]]
        return _in_own_words(p.text[p.tokens[start].start : p.tokens[end - 1].end]), end
    return own, index
