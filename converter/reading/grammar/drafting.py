"""Joins a target and a value into drafts of findings: what the value means for that kind of reflex."""

from dataclasses import replace

from converter.reading.grammar.parser import Parser
from converter.reading.grammar.parts import Details, Draft, Phrase, Target, Used
from converter.reading.tokens import Token
from converter.reading.written import Pair, Written

_STRONGEST = 5
_MAXIMA = (4.0, 5.0)
_AT_JOINTS = frozenset({"ankle_clonus", "knee_clonus", "wrist_clonus"})
_SIDES = {"left", "right"}
_BESIDE = "beside a reflex"
"""The flag of clonus that only adds to what was said of a reflex, which is still spoken of."""
_REACH = 5
"""Tokens between "with" and the clonus it adds: "with 3 beats of unsustained"."""


def draft(p: Parser, targets: list[Target], phrase: Phrase, extra: Used = []) -> bool:  # noqa: B006
    """Draft one finding for each target, or two where the value differs by side.

    Tokens of the phrase, and of targets that took it or are foreign, count as used; not where none took it.

    Returns:
        Whether any target took the value.
    """
    took = [target for target in targets if not target.foreign and _one(p, target, phrase, extra)]
    told = [target for target in targets if target.foreign or target in took]
    if told:
        p.mark([*(each for target in told for each in target.used), *phrase.used, *extra])
    if took:
        if _BESIDE not in p.drafts[-1].target.flags:
            p.context.last = [target for target in targets if not target.foreign]
        p.context.reflexes = True
    return bool(took)


def _one(p: Parser, target: Target, phrase: Phrase, extra: Used) -> bool:
    pair, value = phrase.pair, phrase.value
    if pair is not None:
        pair, value = as_maximum(p, pair)
        if pair is None and value is None:
            return False
    if pair is not None and _different(pair):
        return _two_sides(p, target, phrase, pair, extra)
    if pair is not None:
        value = pair.first
    side = _side(p, target, phrase, pair)
    return add(p, target, side, value, phrase, extra)


def as_maximum(p: Parser, pair: Pair) -> tuple[Pair | None, Written | None]:
    """Tell a pair of sides from a grade over its maximum.

    `2/4` and `2+/4+` are grades out of four unless the note writes right/left pairs elsewhere; a second
    value of 5 is a maximum too.
    """
    first, second = pair.first, pair.second
    pairs_elsewhere = p.context.pairs and second.low == 4
    maximum = second.low in _MAXIMA and second.low == second.high and not pairs_elsewhere
    if maximum and first.graded and (second.plus == "none" or first.plus != "none"):
        return None, replace(first, denominator=int(second.low or 0))
    p.context.pairs = p.context.pairs or first.graded
    return pair, None


def _different(pair: Pair) -> bool:
    first, second = pair.first, pair.second
    return (first.low, first.high, first.plus, first.descriptor, first.response, first.polarity) != (
        second.low,
        second.high,
        second.plus,
        second.descriptor,
        second.response,
        second.polarity,
    )


def _two_sides(p: Parser, target: Target, phrase: Phrase, pair: Pair, extra: Used) -> bool:
    order = p.context.pair_order.split("-")
    took = [
        add(p, target, side, value, replace(phrase, used=_half(p, phrase.used, half)), extra)
        for half, (side, value) in enumerate(zip(order, (pair.first, pair.second), strict=True))
    ]
    return any(took)


def _half(p: Parser, used: Used, half: int) -> Used:
    """The tokens of a phrase with each pair cut down to the value of one side."""
    halved: Used = []
    for token, role in used:
        if isinstance(token.written, Pair):
            text = p.text[token.start : token.end]
            slash = max(text.find("/"), text.find(","), 0)
            first_end, second_start = (slash, slash + 1) if slash > 0 else (1, 1)
            start, end = (0, first_end) if half == 0 else (second_start, len(text))
            start += len(text[start:end]) - len(text[start:end].lstrip())
            end -= len(text[start:end]) - len(text[start:end].rstrip())
            token = replace(token, start=token.start + start, end=token.start + end)
        halved.append((token, role))
    return halved


def _side(p: Parser, target: Target, phrase: Phrase, pair: Pair | None) -> str:
    if pair is not None and not (_one_arrow_twice(pair) and {target.side, phrase.side} & _SIDES):
        return "both"
    said = target.side or phrase.side
    if pair is not None:
        return said or "both"
    if phrase.side in ("left", "right") and _says_all(target):
        said = phrase.side
    if said is None and _says_symmetric(phrase):
        return "both"
    return said or p.context.side or _side_of_limb(p, target) or "unspecified"


def _side_of_limb(p: Parser, target: Target) -> str | None:
    """As in "RLE: PF 5. Achilles 1+": the side of the limb that is spoken of."""
    limb, side = p.context.limb or (None, None)
    return side if target.specific and limb == p.vocabulary.reflexes[target.site].limb else None


def _one_arrow_twice(pair: Pair) -> bool:
    """As in "R AJ ↓↓": of a named side an arrow twice is one strong arrow."""
    return pair.first.response is not None and pair.first == pair.second


def _says_all(target: Target) -> bool:
    """Whether "both" comes only from a word such as "throughout", which a named side narrows."""
    return target.side == "both" and target.region and not any(role == "side" for _, role in target.used)


def _says_symmetric(phrase: Phrase) -> bool:
    return any(
        isinstance(token.written, Written) and token.written.descriptor == "symmetric"
        for token, _ in phrase.used
    )


def add(p: Parser, target: Target, side: str, value: Written | None, phrase: Phrase, extra: Used) -> bool:
    """Add one draft if the value can be a value of this kind of reflex."""
    narrowed, target = target, _placed(p, target)
    if side == "both" and narrowed is not target and target.side in ("left", "right") and _says_all(narrowed):
        side = target.side
    if p.vocabulary.reflexes[target.site].kind == "plantar":
        value = _response(value, phrase)
    elif target.sign and value is not None and value.response == "equivocal" and value.polarity is None:
        value = replace(value, polarity="doubtful", uncertain=True)  # "Hoffmann equivocal"
    if side == "unspecified" and target.side is not None:
        side = target.side
    if not _fits(p, target, value, phrase):
        return False
    if side in ("left", "right", "both"):
        p.context.last_side = side
    p.context.graded_side = side
    details = replace(phrase.details, uncertain=phrase.details.uncertain or _doubted(target.used))
    if details.beats == "0":  # "clonus 0 beats": there is none
        value, details.beats = Written(descriptor="absent"), None
    twin = _twin(p, target, side, phrase)
    if twin is not None:
        twin.used = [*twin.used, *target.used]
        return True
    p.drafts.append(
        Draft(
            target=target,
            side=side,
            value=value,
            details=details,
            used=target.used + phrase.used + extra,
            negated=phrase.negated,
            status=p.context.status,
        )
    )
    return True


def _twin(p: Parser, target: Target, side: str, phrase: Phrase) -> Draft | None:
    """The finding made already, where one value is given to one reflex twice: "left quadriceps, left KJ"."""
    values = [token for token, role in phrase.used if role == "value"]
    for made in p.drafts:
        reflex = made.target.site, made.target.which, made.target.root
        alike = reflex == (target.site, target.which, target.root) and made.side == side
        if alike and any(role == "value" and token in values for token, role in made.used):
            return made
    return None


def _response(value: Written | None, phrase: Phrase) -> Written | None:
    """As in "brisk withdrawal": of a plantar response the movement is the value, not its strength."""
    said = [token.written for token, role in phrase.used if role == "value"]
    moved = [w for w in said if isinstance(w, Written) and w.response is not None]
    worded = value is not None and value.response is None and value.polarity is None and not value.graded
    return moved[0] if worded and moved else value


def _placed(p: Parser, target: Target) -> Target:
    """A reflex without a place takes the region that leads the sentence."""
    region = p.context.region or _limbs_headed(p)
    if target.site == "clonus_unspecified":
        return _clonus_of_last(p, target)
    if target.site in _AT_JOINTS and target.side is None:
        return _clonus_beside_last(p, target)
    if target.general and p.subject is not None and "singular" in target.flags:
        return replace(p.subject, side=target.side or p.subject.side, used=p.subject.used + target.used)
    if target.site == "all_limbs" and "all" in target.flags:
        return _throughout_limbs(p, target)
    if not target.general or region is None:
        return target
    return replace(
        target,
        site=region.site,
        general=False,
        region=True,
        side=target.side or region.side,
        used=region.used + target.used,
    )


def _throughout_limbs(p: Parser, target: Target) -> Target:
    """As in "UL: tone normal, reflexes 2+ throughout": of the limbs that the heading names."""
    headed = _leading_limbs(p) or p.context.limbs_headed
    named = [token for token in p.tokens if token.kind == "region" and "all" not in token.flags]
    if headed is None or named != [_head_of(headed)]:
        return target
    return replace(headed, side=headed.side or target.side, used=headed.used + target.used)


def _leading_limbs(p: Parser) -> Target | None:
    """The limbs that a sentence begins with, before a colon: "Legs: reflexes 3+ throughout"."""
    sided = p.kind(0) == "side"
    if p.kind(sided) != "region" or not p.has(sided, "limb") or p.kind(sided + 1) != "colon":
        return None
    site, _, own = p.tokens[sided].meaning.partition(":")
    used = [(token, "side" if token.kind == "side" else "region") for token in p.tokens[: sided + 1]]
    return Target(site, side=(p.tokens[0].meaning if sided else own) or None, region=True, used=used)


def _limbs_headed(p: Parser) -> Target | None:
    """The limbs of the heading above, unless the sentence itself speaks of limbs."""
    context = p.context
    said = any(token.kind == "region" for token in p.tokens if token is not _head_of(context.limbs_headed))
    return context.limbs_headed if context.limbs_examined and not said else None


def _head_of(target: Target | None) -> Token | None:
    return target.used[-1][0] if target is not None else None


def _clonus_beside_last(p: Parser, target: Target) -> Target:
    """As in "left knee jerk brisk with 3 beats of clonus at the ankle": clonus on the side just graded."""
    first = min(token.start for token, _ in target.used)
    near = {token.kind for token in [token for token in p.tokens if token.start < first][-_REACH:]}
    if not p.drafts or "with" not in near or near & {"comma", "and"}:
        return target
    side = p.drafts[-1].side if p.drafts[-1].side != "unspecified" else None
    return replace(target, side=side, flags=target.flags | {_BESIDE})


def _clonus_of_last(p: Parser, target: Target) -> Target:
    """As in "ankle jerk 4+ with 3 beats of clonus": clonus at the joint just graded, on its side."""
    first = min(token.start for token, _ in target.used)
    before = [token for token in p.tokens if token.start < first]
    while before and before[-1].kind in ("at", "clonus_word"):
        before.pop()  # "3 beats of clonus", "sustained clonus"
    last = p.drafts[-1].target if p.drafts else None
    if last is not None and last.site in _AT_JOINTS and {target.side, p.drafts[-1].side} == _SIDES:
        return replace(target, site=last.site)  # "at the left ankle and sustained clonus at the right"
    joint = {"achilles": "ankle_clonus", "patellar": "knee_clonus"}.get(last.site if last else "")
    near = {token.kind for token in before[-4:]}
    attached = near & {"with"} or (before and before[-1].kind in ("open", "count"))
    denied = joint == "knee_clonus" and any(token.kind == "no" for token in before[-2:])
    if last is None or joint is None or denied or not attached or near & {"comma", "and"}:
        return target  # "knee jerks 3+ with no clonus" says of no joint that it was sought there
    if target.side == "both" and p.drafts[-1].side == "unspecified":
        p.drafts[-1].side = "both"
    own = [(token, role) for token, role in last.used if role in ("site", "side")]
    side = target.side or (p.drafts[-1].side if p.drafts[-1].side != "unspecified" else None)
    return replace(target, site=joint, side=side, used=own + target.used)


def _fits(p: Parser, target: Target, value: Written | None, phrase: Phrase) -> bool:
    kind = p.vocabulary.reflexes[target.site].kind
    if value is None:
        return (
            kind == "clonus"
            or phrase.details.beats is not None
            or phrase.details.quality is not None
            or (phrase.details.comparison is not None)
        )
    if value.polarity == "negative" and "singular" in target.flags:
        return False
    if kind != "plantar" and target.sign and value.response == "equivocal" and value.descriptor is None:
        return value.polarity == "doubtful"
    if value.low == _STRONGEST and value.bare and _named_again(p, target):
        return False
    if value.denominator == 5 and not target.general and "trigger" not in target.flags:
        return False
    if kind == "plantar":
        return _fits_plantar(p, target, value)
    if value.response is not None and value.descriptor is None:
        return value.response in ("equivocal", "mute", "withdrawal") and kind != "stretch"
    return True


def _named_again(p: Parser, target: Target) -> bool:
    """As in "tri 5, triceps reflex 1+": the muscle and its strength, before its reflex."""
    again = any(token.meaning == target.site and "trigger" in token.flags for token in p.tokens)
    return again and "trigger" not in target.flags


def _fits_plantar(p: Parser, target: Target, value: Written) -> bool:
    if value.response is not None or "toes" in target.flags:
        return value.response is not None or _other_toes_answer(p, value)
    if value.polarity is not None or value.low == 0:
        return True
    said = (
        "absent",
        "normal",
        "intact",
        "trace",
        *(("present", "symmetric", "brisk", "hyperactive") if target.sign else ()),
    )
    return value.descriptor in said


def _other_toes_answer(p: Parser, value: Written) -> bool:
    """As in "toes down R, no response L": the response of the other side tells what is absent."""
    before = p.drafts[-1] if p.drafts else None
    answered = before is not None and before.value is not None and before.value.response is not None
    return answered and value.descriptor == "absent" and value.low is None


def _doubted(used: Used) -> bool:
    return any(role == "doubt" for _, role in used)


def add_bare(
    p: Parser,
    target: Target,
    side: str | None,
    used: Used,
    *,
    implied: str | None = None,
    negated: bool = False,
    status: str | None = None,
    reason: str | None = None,
    details: Details | None = None,
) -> None:
    """Add a draft that carries no written value: a sign that is there, denied, excepted or not tested."""
    p.mark(target.used + used)
    placed = _placed(p, target)
    side = placed.side or side or p.context.side or "unspecified"
    if side in ("left", "right", "both"):
        p.context.last_side = side
    p.drafts.append(
        Draft(
            target=placed,
            side=side,
            value=None,
            details=replace(details or Details(), uncertain=_doubted(target.used)),
            used=placed.used + used,
            negated=negated,
            status=status or p.context.status,
            reason=reason,
            implied_value=implied,
        )
    )
    p.context.reflexes = True
    if _BESIDE not in placed.flags:
        p.context.last = [placed]
