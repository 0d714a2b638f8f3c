"""Reads lists of what a value is about, and settles which side and state each member has."""

from converter.reading.grammar.clonus_places import CLONUS_AT
from converter.reading.grammar.lookahead import owns_value
from converter.reading.grammar.parser import LINKS, VALUES, Here, Parser
from converter.reading.grammar.parts import Target
from converter.reading.grammar.target_heads import target_at
from converter.reading.tokens import Token

_TWO = 2


def targets_at(p: Parser, start: int, after_value: bool) -> tuple[list[Target], int]:
    """Read a list of targets.

    targets = target { ( "," | AND | "/" ) [ AT ] target } ;

    Args:
        p: the sentence.
        start: index of the first token.
        after_value: the list follows its value, so a target with a value of its own ends it.

    Returns:
        The targets with their sides settled, and the index after them; an empty list where none begins.
    """
    first = target_at(p, start)
    if first is None:
        return [], start
    named = _named_in_brackets(p, *first)
    if named is not None:
        return named
    targets, end = [first[0]], first[1]
    while True:
        found = _another(p, end, targets[-1], after_value)
        if found is None:
            break
        if _is_state_of(targets, found[0], p.tokens[end - 1]):
            targets = targets if _begins_list(p, start) else targets[-1:]
            _share_state(targets, found[0])
            end = found[1]
            break
        target, end = found
        _take_over(p, targets, target, end)
        targets.append(target)
    _settle_sides(p, targets)
    if _begins_list(p, start):
        _share_state_of_last(p, targets)
    apart = len(targets) > 1 and p.kind(p.tokens.index(targets[-1].used[0][0]) - 1) == "comma"
    _settle_implied(targets[:-1] if apart and owns_value(p, end, targets[-1]) else targets)
    return targets, end


def targets_here(p: Parser) -> tuple[list[Target], int]:
    """The list of targets where the next rule starts, as `targets_at` gives it.

    It is read once for all rules that are tried there; each gets targets of its own, which it may change.
    """
    here = p.here
    if here is None or here.start != p.index or here.drafts != len(p.drafts):
        here = p.here = Here(p.index, len(p.drafts), *targets_at(p, p.index, after_value=False))
    return [target.copy() for target in here.targets], here.end


def _is_state_of(targets: list[Target], state: Target, before: Token) -> bool:
    """Whether a state stands right behind the names that have it: "jaw/triceps/knee hyperreflexia"."""
    last = targets[-1]
    named = last.specific and not last.sign and last.used[-1][0] is before
    return named and state.general and state.implied is not None and state.used[0][1] != "side"


def _share_state(targets: list[Target], state: Target) -> None:
    for target in targets:
        if not (target.foreign or target.general or target.sign):
            target.implied = target.implied or state.implied
            target.used = [*target.used, *state.used]


def _take_over(p: Parser, targets: list[Target], target: Target, end: int) -> None:
    """Let a target replace the noun or region before it, where that only announces it."""
    last = targets[-1]
    if last.general and _refines(p, last, target):
        target.implied = target.implied or last.implied
    elif not (last.region and target.specific and p.kind(end - 1) != "and" and _heads(p, last, target)):
        return
    target.side = target.side or last.side
    target.used = targets.pop().used + target.used


def _named_in_brackets(p: Parser, noun: Target, end: int) -> tuple[list[Target], int] | None:
    """As in "DTRs (biceps, triceps, knees) 2+": the noun, then the reflexes it speaks of."""
    if not noun.general or noun.foreign or p.kind(end) != "open":
        return None
    targets, after = targets_at(p, end + 1, after_value=False)
    if not targets or p.kind(after) != "close" or not all(target.specific for target in targets):
        return None
    for target in targets:
        target.used = [*((token, "header") for token, _ in noun.used), *target.used]
        target.side = target.side or noun.side
    return targets, after + 1


def _heads(p: Parser, region: Target, target: Target) -> bool:
    """Whether a region only announces the reflex after it, as in "lower extremities patellar 2+"."""
    last, first = region.used[-1][0], target.used[0][0]
    between = [t for t in p.tokens if last.end <= t.start < first.start and t.kind not in ("colon", "dash")]
    return not between and "all" not in region.flags and p.vocabulary.reflexes[target.site].limb is not None


def _another(p: Parser, end: int, previous: Target, after_value: bool) -> tuple[Target, int] | None:
    separated = p.skip(end, "comma", "and", "slash")
    index = separated
    while p.kind(index) == "at":
        index += 1
    if p.kind(index) in ("only", "otherwise", "anaphor"):
        return None
    found = target_at(p, index)
    if found is None:
        return None
    target, after = found
    if after_value and target.sign and _another_sign(p, end, previous, target):
        return None
    if index == end and (previous.foreign or target.foreign or "all" in previous.flags & target.flags):
        return None
    if target.general and previous.specific and p.kind(end) == "comma" and separated == end + 1:
        return None
    if "root" in previous.flags and p.kind(end) == "comma" and _ends_range(p, previous):
        return None
    if separated == end < index and not previous.general:
        return None
    valued = p.kind(p.skip(after, "side", *LINKS)) in VALUES
    if _state_before_value(p, end, separated, previous) and (valued or owns_value(p, after, target)):
        return None
    if previous.general and previous.implied and target.sign and valued and p.kind(end) == "comma":
        return None  # "hyperreflexic, ankle clonus R 5 beats"
    if previous.region and target.general and p.kind(end) == "comma" and _stands_apart(p, previous, after):
        return None
    clonus_joint(p, previous, target, after)
    if (after_value or separated > end) and owns_value(p, after, target) and after_value:
        return None
    return found


def _ends_range(p: Parser, root: Target) -> bool:
    """As in "light touch L3-S1, KJ 2+": a root at the end of a range, which is of sensation or strength."""
    at = p.tokens.index(root.used[0][0])
    return p.kind(at - 1) == "dash" and p.has(at - 2, "root")


def _state_before_value(p: Parser, end: int, separated: int, previous: Target) -> bool:
    """As in "areflexic legs, arms 1+": a state and its place, a comma, then another place with a value."""
    stated = previous.implied is not None and not previous.general
    return stated and separated == end + 1 and p.kind(end) == "comma"


def _stands_apart(p: Parser, region: Target, index: int) -> bool:
    """As in "flaccid legs, reflexes 1+ in arms", "moving all 4, reflexes 2+": a region of something else."""
    value = p.skip(index, *LINKS)
    unknown = p.kind(p.tokens.index(region.used[0][0]) - 1) == "other"
    placed = p.kind(p.skip(value + 1, "at", "side")) == "region"
    return p.kind(value) in VALUES and (unknown or placed)


def _another_sign(p: Parser, end: int, previous: Target, target: Target) -> bool:
    """Whether a sign only stands beside the list: "brisk at the ankles, clonus on the right"."""
    if "clonus" in previous.site:
        return "clonus" not in target.site
    return not previous.sign and p.kind(end) != "and" and p.kind(end + 1) != "and"


def clonus_joint(p: Parser, previous: Target, target: Target, after: int) -> None:
    """As in "clonus at the ankles or knees": a further joint of the list is a further place of clonus."""
    further = previous.site.endswith("clonus") and target.site in CLONUS_AT and "joint" in target.flags
    if further and not owns_value(p, after, target):
        target.site, target.flags = CLONUS_AT[target.site], target.flags | {"sign"}


def _refines(p: Parser, general: Target, target: Target) -> bool:
    """Whether a place follows the reflex noun without a break: "reflexes at the knees", "DTRs biceps 2+"."""
    if target.foreign or target.general:
        return False
    low, high = general.used[-1][0].end, target.used[0][0].start
    between = {token.kind for token in p.tokens if low <= token.start < high}
    return between <= {"at"} and ("at" in between or not target.sign)


def _side_leads(target: Target) -> bool:
    """Whether the side is said before the name, so that it serves the rest of a list as well."""
    roles = [role for _, role in target.used if role in ("side", "site", "region")]
    return bool(roles) and roles[0] == "side"


def _settle_implied(targets: list[Target]) -> None:
    """As in "hyperreflexia in the arms and legs": the state serves every place of the list."""
    implied: str | None = None
    for target in targets:
        named = any(role == "header" for _, role in target.used)
        if named and target.implied is None:
            implied = None
        elif target.implied is None and (target.region or "joint" in target.flags) and not target.foreign:
            target.implied = implied
        elif not target.region and not target.general and "joint" not in target.flags:
            implied = None
        implied = target.implied or implied


def _parted(p: Parser, target: Target) -> bool:
    """Whether a comma and "and" stand before a target, or an article of its own: "a snout and a grasp"."""
    first = p.tokens.index(target.used[0][0])
    if p.kind(first - 1) != "and":
        return False
    return p.between(first - 1) in ("a", "an") or p.kind(first - 2) == "comma"


def _begins_list(p: Parser, start: int) -> bool:
    """Whether what is named first belongs to the list, and not to what stands before it."""
    return p.kind(start - 1) not in ("at", "other_exam", "other", "look_alike")


def _share_state_of_last(p: Parser, targets: list[Target]) -> None:
    """As in "arm and leg hyperreflexia": the state behind the last region is that of the others as well."""
    *others, last = targets
    if not last.region or last.implied is None or not all(target.region for target in others):
        return
    if p.kind(p.tokens.index(last.used[0][0]) - 1) not in ("and", "slash"):
        return
    states = [(token, role) for token, role in last.used if token.kind == "condition"]
    for target in others:
        if target.implied is None and states:
            target.implied, target.used = last.implied, [*target.used, *states]


def _settle_sides(p: Parser, targets: list[Target]) -> None:
    """A side said with one member of a list serves the members after it, and at the end the whole list.

    In "a snout reflex, and a palmomental on the right" it is of the last sign alone.
    """
    last = targets[-1]
    if len(targets) == _TWO and all(target.sign for target in targets) and _parted(p, last):
        return
    trailing = last.used[-1][1] in ("side", "region") and last.used[0][1] != "side"
    if trailing and last.side and not any(target.side for target in targets[:-1]):
        for target in targets[:-1]:
            target.side = last.side
    carried: str | None = None
    for target in targets:
        if target.foreign:
            continue
        if target.side is None:
            target.side = carried
        elif _side_leads(target):
            carried = target.side
