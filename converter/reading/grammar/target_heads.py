"""Reads one thing that a value is about: a reflex, a region or the reflexes in general, with its side."""

from dataclasses import replace

from converter.reading.grammar.clonus_places import clonus_again, counts_after, joint_at
from converter.reading.grammar.lookahead import owns_value
from converter.reading.grammar.parser import HEADS, VALUES, Parser
from converter.reading.grammar.parts import Target, Used
from converter.reading.grammar.roots import past_roots
from converter.reading.tokens import Token
from converter.reading.written import Pair, Written

_STRONGEST = 5
"""The best grade of strength."""
_FEW_WORDS = 3
_FOREIGN = frozenset({"other_exam", "look_alike"})


def target_at(p: Parser, start: int) -> tuple[Target, int] | None:
    """Read one target.

    target = { SIDE | UNCERTAIN } head [ [ AT ] SIDE [ REGION ] | "(" SIDE ")" | AT REGION ] ;
    head = SITE [ "(" SITE ")" ] { REFLEX } | REGION [ REFLEX | CONDITION ] | REFLEX [ REFLEX ]
         | CONDITION | ANAPHOR | OTHER_EXAM | LOOK_ALIKE ;
    """
    used: Used = []
    side, index = _sides_at(p, start, used)
    again = clonus_again(p, index, side)
    if again is not None:
        head = Target(again, flags=p.tokens[index].flags | {"sign"}, used=[(p.tokens[index], "site")])
        found: tuple[Target, int] | None = (head, index + 1)
    else:
        found = _head_at(p, index)
    if found is None:
        return None
    target, index = found
    target.used = used + target.used
    target.side = side or target.side
    index = _trailing_side(p, target, index)
    return target, index


def _sides_at(p: Parser, start: int, used: Used) -> tuple[str | None, int]:
    side, index = None, start
    if p.kind(start) == "open" and p.kind(start + 1) == "side" and p.kind(start + 2) == "close":
        used.append((p.tokens[start + 1], "side"))
        return resolve_side(p, p.tokens[start + 1]), start + 3
    while p.kind(index) in ("side", "uncertain"):
        token = p.tokens[index]
        if token.kind == "side":
            if "letter" in token.flags and not _is_side_letter(p, index):
                break
            side = resolve_side(p, token)
            used.append((token, "side"))
        elif p.kind(index + 1) not in HEADS:
            break
        else:
            used.append((token, "doubt"))
        index += 1
    return side, index


def resolve_side(p: Parser, token: Token) -> str | None:
    """The side a word means; `ipsilateral` is the side named last."""
    if token.meaning in ("ipsilateral", "contralateral"):
        last = _side_before(p, token)
        if last not in ("left", "right"):
            return None
        return last if token.meaning == "ipsilateral" else {"left": "right", "right": "left"}[last]
    return token.meaning


def _side_before(p: Parser, token: Token) -> str | None:
    before = [t.meaning for t in p.tokens if t.kind == "side" and t.start < token.start]
    sides = [side for side in before if side in ("left", "right")]
    return sides[-1] if sides else p.context.last_side


def _is_side_letter(p: Parser, index: int) -> bool:
    token = p.tokens[index]
    neighbours = (
        HEADS | VALUES | {"colon", "equals", "greater", "lesser", "close", "comma", "and", "end", "is"}
    )
    beside = p.kind(index + 1) in neighbours or p.kind(index - 1) in HEADS | VALUES | {"at", "open"}
    return beside and (p.text[token.start].isupper() or p.reflexive[index])


def _head_at(p: Parser, index: int) -> tuple[Target, int] | None:
    kind = p.kind(index)
    if kind in _FOREIGN:
        token = p.tokens[index]
        return Target("unspecified", foreign=True, used=[(token, "look_alike")]), index + 1
    if kind == "site":
        return _site_at(p, index)
    if kind == "region":
        return _region_at(p, index)
    if kind == "reflex":
        return _reflex_at(p, index)
    if kind == "condition":
        token = p.tokens[index]
        target = Target(
            "unspecified", general=True, implied=token.meaning, flags=token.flags, used=[(token, "value")]
        )
        return target, index + 1
    if kind == "anaphor" and p.tokens[index].meaning == "it":
        return _it(p, index)
    if kind == "anaphor" and p.context.reflexes:
        return Target("unspecified", general=True, used=[(p.tokens[index], "header")]), index + 1
    return None


def _it(p: Parser, index: int) -> tuple[Target, int] | None:
    """As in "It was absent": the one reflex spoken of last."""
    if len(p.context.last) != 1 or not p.context.reflexes:
        return None
    last = p.context.last[0]
    return replace(last, used=[*last.used, (p.tokens[index], "header")]), index + 1


def _reflex_at(p: Parser, index: int) -> tuple[Target, int] | None:
    token = p.tokens[index]
    if ("jerk" in token.flags and not p.reflexive[index]) or _named_unknown(p, index):
        return None
    target = Target("unspecified", general=True, flags=token.flags, used=[(token, "header")])
    if p.kind(index + 1) == "reflex":
        index += 1
        target.used.append((p.tokens[index], "header"))
    return target, index + 1


def _named_unknown(p: Parser, index: int) -> bool:
    """As in "anke reflexes 1+": the word that says which is unknown, so they are not all reflexes."""
    before = p.tokens[index - 1] if index else None
    if before is None or before.kind != "other" or "testing" in p.tokens[index].flags:
        return False
    gap = p.text[before.end : p.tokens[index].start]
    return gap == " " and p.text[before.start : before.end].isalpha()


def _site_at(p: Parser, index: int) -> tuple[Target, int] | None:
    token = p.tokens[index]
    joint = "joint" in token.flags or "toes" in token.flags
    if joint and (not _joint_counts(p, index) or _of_other_exam(p, index) or _felt_at_toes(p, index)):
        return Target("unspecified", foreign=True, used=[(token, "")]), index + 1
    if token.meaning.startswith("clonus") and any(_of_seizure(p, i) for i in range(len(p.tokens))):
        return Target("unspecified", foreign=True, used=[(token, "look_alike")]), index + 1
    site, _, rest = token.meaning.partition(":")
    rest, _, side = rest.partition(":")
    root = rest.removeprefix("root=") if rest.startswith("root=") else None
    target = Target(
        site,
        which=None if root else rest or None,
        root=root,
        side=side or None,
        flags=token.flags,
        used=[(token, "site")],
    )
    index = past_roots(p, target, index + 1)
    while p.kind(index) == "reflex" or _is_its_tendon(p, index, site):
        target.used.append((p.tokens[index], "header"))
        target.flags |= {"trigger"}
        index += 1
    return _clonus_place(p, target, index) if site == "clonus_unspecified" else (target, index)


def _is_its_tendon(p: Parser, index: int, site: str) -> bool:
    """As in "ankle Achilles tendon", but not in "patella Achilles 2+": another name of the same tendon."""
    return p.kind(index) == "site" and p.has(index, "tendon") and p.tokens[index].meaning == site


def _of_seizure(p: Parser, index: int) -> bool:
    """Whether a seizure is spoken of: "tonic-clonic movements with clonus of both arms"."""
    return p.tokens[index].meaning == "seizure" or p.word(index).replace("-", " ").startswith("tonic clonic")


def _of_other_exam(p: Parser, index: int) -> bool:
    """As in "strength of the right quadriceps": what is named belongs to the other examination."""
    before = index - 1
    while p.kind(before) in ("side", "at"):
        before -= 1
    if p.kind(before) != "other_exam":
        return False
    return "of" in p.text[p.tokens[before].end : p.tokens[index].start].split()


def _felt_at_toes(p: Parser, index: int) -> bool:
    """As in "vibration ↓ toes", "bowel sounds normal in both lower quadrants": where something else is."""
    toes, abdomen = p.has(index, "toes"), p.tokens[index].meaning.startswith("abdominal")
    if not (toes or abdomen or p.has(index, "place")):
        return False
    before = index - 1
    while p.kind(before) in (("side", "at", "and", "site", "region") if abdomen else ("side", "at")):
        before -= 1
    valued = p.kind(before) == "value" and p.kind(p.skip(index + 1, "side", "is", "colon")) not in VALUES
    if not (toes or valued):
        return False
    unknown = ("other",) if toes and valued and p.has(before, "arrow") else ()
    return p.kind(before - valued) in {"other_exam", *unknown}


def _joint_counts(p: Parser, index: int) -> bool:
    if p.has(index, "toes"):
        return True
    if p.has(index, "infant"):
        return (
            any(t.kind in ("reflex", "site") and "trigger" in t.flags for t in p.tokens) or p.context.reflexes
        )
    if p.has(index, "plantars"):
        return p.word(index) == "plantars" or p.reflexive[index] or _response_near(p, index)
    return p.reflexive[index]


def _response_near(p: Parser, index: int) -> bool:
    near = p.skip(index + 1, "is", "colon", "side", "at", "equals", "uncertain", "open", "close")
    token = p.tokens[near] if near < len(p.tokens) else None
    if token is None or token.kind == "untested":
        return token is not None
    return token.kind == "value" and getattr(token.written, "response", None) is not None


def _clonus_place(p: Parser, target: Target, index: int) -> tuple[Target, int]:
    """Clonus [ at ] [ side ] joint: the joint says which clonus it is."""
    used: Used = []
    place = p.skip(index, "at", "colon", "open")
    side, place = _sides_at(p, place, used)
    joint, counted = joint_at(p, place), counts_after(p, place + 1)
    if joint is None or (p.kind(index) in ("colon", "open") and not counted):
        return target, index
    if place == index and owns_value(p, place + 1, target) and not counted:
        return target, index
    target.site = joint
    target.side = side or target.side
    target.used += [*used, (p.tokens[place], "site")]
    return target, place + 1


def _region_at(p: Parser, index: int) -> tuple[Target, int] | None:
    token = p.tokens[index]
    state = _state_behind(p, index)
    if "part" in token.flags or ("partial" in token.flags and not _partial_counts(p, index)):
        return None
    speaks = p.spoken[index] or _graded_before(p, index)
    speaks = speaks or (_reflex_follows(p, index) and not _strength_before(p, index)) or state > index
    if p.kind(index + 1) == "other_exam" or not speaks:
        return Target("unspecified", foreign=True, used=[(token, "")]), index + 1
    site, _, side = token.meaning.partition(":")
    target = Target(site, side=side or None, region=True, flags=token.flags, used=[(token, "region")])
    index = max(index + 1, state)
    if "all" in token.flags:
        narrower = _narrower(p, index, target)
        if narrower is not None:
            return narrower
    if p.kind(index) in ("reflex", "condition"):
        target.used.append((p.tokens[index], "header" if p.kind(index) == "reflex" else "value"))
        target.implied = p.tokens[index].meaning or None
        index += 1
    return target, index


def _state_behind(p: Parser, index: int) -> int:
    """As in "left arm flaccid and areflexic": where a state stands that ends what is said of a limb."""
    behind = p.skip(index + 1, "is")
    words = p.skip(behind, "other", "other_exam", "comma")
    ends = p.kind(words + 2) in ("end", "comma", "but", "stop")
    state = p.kind(words) == "and" and p.kind(words + 1) == "condition" and ends
    adjective = p.word(words + 1).endswith(("ic", "ive"))
    said = behind < words <= behind + _FEW_WORDS and p.kind(behind) != "comma"
    return words + 1 if said and state and adjective and p.has(index, "limb") else index


def _graded_before(p: Parser, index: int) -> bool:
    """As in "+2 BUE, +1 BLE DTRs": a reflex grade right before it, where reflexes are named later."""
    written = p.tokens[index - 1].written if index else None
    graded = isinstance(written, Pair) or (isinstance(written, Written) and written.plus != "none")
    foreign = any(token.kind == "other_exam" for token in p.tokens)
    return graded and not foreign and any(token.kind == "reflex" for token in p.tokens[index:])


def _strength_before(p: Parser, index: int) -> bool:
    """As in "3/5 leg, reflexes 2+": a grade out of five right before it, which is of strength."""
    written = p.tokens[index - 1].written if index else None
    out_of = written.second.low if isinstance(written, Pair) else getattr(written, "denominator", None)
    return out_of == _STRONGEST


def _narrower(p: Parser, index: int, wide: Target) -> tuple[Target, int] | None:
    """As in "throughout the arms": the narrower region replaces "throughout"; the word states both sides."""
    following = p.skip(index, "at")
    if p.has(following, "all"):
        return None
    found = target_at(p, following)
    if found is None or not (found[0].region or found[0].general or found[0].specific) or found[0].foreign:
        return None
    target, after = found
    if target.specific:
        return None
    if target.general:
        target = replace(wide, used=wide.used + target.used, implied=target.implied)
        return target, after
    target.side = target.side or wide.side
    target.used = wide.used + target.used
    return target, after


def _partial_counts(p: Parser, index: int) -> bool:
    """As in "upper and lower extremities": `upper` alone is a region only beside another; `uppers` is one."""
    if p.spoken[index] and p.word(index).endswith("s"):
        return True
    following = p.skip(index + 1, "and", "slash", "comma")
    if p.spoken[index] and p.kind(index + 1) == "colon" and p.kind(index + 2) in VALUES:
        return p.kind(p.skip(index + 3, "side")) in ("end", "comma", "region")  # "Upper: 2+"
    if p.spoken[index] and following > index + 1 and p.kind(following) in VALUES:
        other = p.kind(following + 1) == "region" and p.has(following + 1, "limb")
        return other and not p.tokens[following + 1].flags & {"part", "bare"}  # "1+ upper, 2+ lower limbs"
    return p.kind(following) == "region" or (p.kind(following) == "reflex" and following == index + 1)


def _reflex_follows(p: Parser, index: int) -> bool:
    following = p.skip(index + 1, "and", "slash", "comma", "region", "side")
    if p.kind(index - 1) == "other_exam":
        return False
    if p.kind(following) == "is":
        return p.kind(following + 1) == "condition"
    return p.kind(following) in ("reflex", "condition")


def _trailing_side(p: Parser, target: Target, index: int) -> int:
    """[ at ] side [ region ]: "biceps on the right", "triceps reflex on the right arm", "knees (R)"."""
    if p.kind(p.skip(index, "open")) == "side_ref":
        return _both_sides(p, target, index)
    place = p.skip(index, "at", "open")
    if p.kind(place) != "side" or ("letter" in p.tokens[place].flags and not _is_side_letter(p, place)):
        return _trailing_limb(p, target, index)
    token = p.tokens[place]
    if p.kind(place + 1) in ("greater", "lesser", "more", "less") or (
        p.kind(place + 1) == "equals" and p.kind(place + 2) == "side"
    ):
        return index
    joint = target.sign and p.has(place + 1, "place")
    if p.kind(place + 1) in HEADS and not joint and not _is_limb_of(p, place + 1, target):
        return index
    if target.side is not None and token.meaning != target.side and "all" not in target.flags:
        return index
    after = p.skip(place + 1, "close")
    target.side = resolve_side(p, token) or target.side
    target.used.append((token, "side"))
    if _is_limb_of(p, after, target) or joint:
        target.used.append((p.tokens[after], "region"))
        after += 1
    return after


def _both_sides(p: Parser, target: Target, index: int) -> int:
    """As in "Hoffmann (R/L) negative": one value for both sides; before a pair it is their order."""
    bracketed = p.kind(index) == "open"
    order, after = p.tokens[index + bracketed], index + 1 + 2 * bracketed
    first = p.skip(after, "colon", "is", "equals")
    worded = p.kind(first + 1) == "slash" and p.kind(first + 2) == "value"
    valued = "pair" if p.kind(first) == "value" and worded else p.kind(first)
    if bracketed and p.kind(after - 1) != "close":
        return index
    if target.side is not None or not target.specific or valued not in ("value", "untested", "pair"):
        return index
    if valued == "pair":
        p.context.pair_order, p.context.pairs = order.meaning, True
    else:
        target.side = "both"
    target.used.append((order, "header" if valued == "pair" else "side"))
    return after


def _trailing_limb(p: Parser, target: Target, index: int) -> int:
    """As in "knee reflex in the RLE": a limb that carries its side."""
    place = p.skip(index, "at")
    if place == index or not _is_limb_of(p, place, target) or target.region:
        return index
    side = p.tokens[place].meaning.partition(":")[2]
    target.side = target.side or side or None
    target.used.append((p.tokens[place], "region"))
    return place + 1


def _is_limb_of(p: Parser, index: int, target: Target) -> bool:
    if p.kind(index) != "region" or not p.has(index, "limb") or not target.specific:
        return False
    region = p.vocabulary.reflexes[p.tokens[index].meaning.partition(":")[0]]
    return region.limb in (None, p.vocabulary.reflexes[target.site].limb)
