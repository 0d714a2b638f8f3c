"""The reflex named before its value: "knee jerks are 2+ and ankle jerks 1+"."""

from converter.reading.grammar.clonus_places import beats_of_clonus
from converter.reading.grammar.drafting import add_bare, draft
from converter.reading.grammar.lookahead import counts_names, value_is_next_ones
from converter.reading.grammar.other_sides import other_sides
from converter.reading.grammar.parser import LINKS, VALUES, Parser
from converter.reading.grammar.parts import Phrase, Target
from converter.reading.grammar.phrases import phrase_at
from converter.reading.grammar.places import places
from converter.reading.grammar.target_heads import resolve_side, target_at
from converter.reading.grammar.targets import targets_at, targets_here
from converter.reading.grammar.value_owner import is_of_what_follows
from converter.reading.grammar.valued import late_side
from converter.reading.written import Written

_NEAR, _TWO = 3, 2
_STRONGEST = 5


def named_value(p: Parser) -> bool:
    """Named reflexes, then their value, then perhaps places or the other side's value.

    named_value = targets [ link ] phrase [ places ] { joint side_value } ;
    link = IS | ":" | "=" | "-" | "," ;
    joint = "," | AND | BUT ;
    """
    targets, index = _without_felt_toes(*targets_here(p))
    if not targets:
        return False
    index = _pass_range_of_scale(p, targets, index)
    linked = _both_before_value(p, _link(p, index, targets), targets)
    if p.kind(linked) == "side" and not all(target.foreign for target in targets):
        after = other_sides(p, linked, targets)
        if after > linked:
            p.index = after
            return True
    found = phrase_at(p, linked, sided=any(target.side for target in targets))
    found = found or _state_at(p, targets, index, linked) or _plantar_as_response(p, targets, index, linked)
    if found is None or not _may_take(p, index, linked, targets):
        return _bare_subject(p, targets, index)
    phrase, after = found
    after = _clonus_behind(p, targets, phrase, _toes_again(p, targets, phrase, after))
    header = _header(targets)
    placed, end = places(p, _past_comma(p, header, after), header) if header is not None else ([], after)
    if header is not None and placed:
        return _at_places(p, header, placed, end, phrase)
    if is_of_what_follows(p, targets, phrase, after, unlinked=index == linked):
        return _bare_subject(p, targets, index)
    after = _in_its_limb(p, targets, phrase, _against(p, after, phrase, targets[-1].site))
    _note_muscle(p, targets, phrase)
    _both_names(p, targets, phrase)
    targets, after = _with_included(p, targets, after)
    took = draft(p, _without_value_of_their_own(p, targets, phrase), phrase)
    if took or any(target.foreign for target in targets):
        p.index = other_sides(p, after, targets)
        return True
    return False


def _without_felt_toes(targets: list[Target], index: int) -> tuple[list[Target], int]:
    """As in "vibration reduced toes, pinprick reduced feet": the toes belong to what was felt."""
    foreign = bool(targets) and targets[-1].foreign
    return [target for target in targets if not (foreign and "toes" in target.flags)], index


def _both_names(p: Parser, targets: list[Target], phrase: Phrase) -> None:
    """As in "both knee and ankle jerks absent on the left": two names are counted, and the side follows."""
    counted = len(targets) == _TWO and phrase.side in ("left", "right") and targets[0].side == "both"
    token = targets[0].used[0][0]
    if not counted or p.text[token.start : token.end].lower() != "both":
        return
    for target in targets:
        if target.side == "both":
            target.side = None
    targets[0].used = [(token, "header"), *targets[0].used[1:]]


def _past_comma(p: Parser, header: Target, after: int) -> int:
    """As in "clonus, three beats, at the right ankle": the comma before the place."""
    parted = header.site == "clonus_unspecified" and p.kind(after) == "comma" and p.kind(after + 1) == "at"
    return after + 1 if parted else after


def _note_muscle(p: Parser, targets: list[Target], phrase: Phrase) -> None:
    """As in "R biceps 4/5, reflex 1+": the muscle whose strength is given, for the reflex behind it."""
    named = next((token for token, _ in targets[0].used if token.kind == "site"), None)
    out_of_five = phrase.pair.second.low if phrase.pair is not None else None
    if named is None or len(targets) > 1 or out_of_five != _STRONGEST or named.flags & {"root", "trigger"}:
        return
    site, _, which = named.meaning.partition(":")
    known = p.subject is not None and any(token is named for token, _ in p.subject.used)
    if not which and not known:
        side = next((resolve_side(p, token) for token, _ in targets[0].used if token.kind == "side"), None)
        side = targets[0].side or side or phrase.side
        p.subject = Target(site, side=side, flags=named.flags, used=list(targets[0].used))


def _with_included(p: Parser, targets: list[Target], after: int) -> tuple[list[Target], int]:
    """As in "neuro exam normal, including reflexes": what is said of the whole is said of its part."""
    at = p.skip(after, "comma")
    if not (p.has(at, "including") and p.has(at + 1, "trigger")):
        return targets, after
    included, end = targets_at(p, at + 1, after_value=True)
    return ([*targets, *included], end) if included and p.kind(end) in ("end", "comma") else (targets, after)


def _at_places(p: Parser, header: Target, placed: list[Target], end: int, phrase: Phrase) -> bool:
    """Draft the value for the places named after it."""
    end = _against(p, end, phrase, placed[0].site)
    end = late_side(p, phrase, placed, end)
    extra = [(token, "header") for token, _ in header.used if placed[0].used[0][0] is not token]
    took = draft(p, placed, phrase, extra)
    p.index = other_sides(p, end, placed) if took else p.index
    return took


def _without_value_of_their_own(p: Parser, targets: list[Target], phrase: Phrase) -> list[Target]:
    """The members of a list that wait for the value.

    In "areflexic legs, arm reflexes 1+" the state is what the legs have; in "crossed adductors, ankles 2+"
    the sign is there and takes no grade, and in "clonus bilat, plantars down" no direction.
    """
    graded = phrase.pair is not None or (phrase.value is not None and phrase.value.graded)
    stated = [target for target in targets if target.implied]
    signs = [t for t in targets if graded and t.sign and "clonus" not in t.site and t.site != "plantar"]
    signs += [t for t in targets if t.sign and t.side in ("left", "right") and not targets[-1].sign]
    if phrase.value is not None and phrase.value.response is not None and targets[-1].site == "plantar":
        signs += [t for t in targets if t.sign and t.site != "plantar" and (t.side or _before_comma(p, t))]
    own = [target for target in targets if target in stated + signs and not target.foreign]
    if not own or targets[-1] in own or len(own) == len(targets):
        return targets
    for target in own:
        add_bare(p, target, None, [], implied=target.implied or "present")
    return [target for target in targets if target not in own]


def _before_comma(p: Parser, target: Target) -> bool:
    """Whether a comma parts a target from the rest of its list."""
    return p.kind(p.tokens.index(target.used[-1][0]) + 1) == "comma"


def _plantar_as_response(
    p: Parser, targets: list[Target], index: int, linked: int
) -> tuple[Phrase, int] | None:
    """As in "Babinski reflexes are plantar": here the word is the response."""
    plantar = p.kind(linked) == "site" and p.word(linked) == "plantar" and linked > index
    if not plantar or targets[-1].site != "plantar":
        return None
    token = p.tokens[linked]
    return Phrase(value=Written(response="flexor"), used=[(token, "value")]), linked + 1


def _against(p: Parser, index: int, phrase: Phrase, site: str) -> int:
    """As in "brisk LLE>RLE", "more brisk in the legs than in the arms": one limb set against another."""
    limb = p.skip(index + 1, "at", "side")
    said = phrase.details.comparison or _direction(phrase)
    marked, worded = p.kind(index) in ("greater", "lesser"), p.kind(index) == "than" and said is not None
    if p.kind(limb) != "region" or p.kind(limb + 1) in VALUES or not (marked or worded):
        return index
    greater = p.kind(index) == "greater" if marked else (said or "").startswith("greater")
    same = marked and p.tokens[limb].meaning.partition(":")[0] == site
    direction, other = "greater" if greater else "less", "side" if same else "limb"
    phrase.details.comparison = f"{direction}_than_other_{other}"
    phrase.used += [(token, "comparison") for token in p.tokens[index : limb + 1]]
    return limb + 1


def _direction(phrase: Phrase) -> str | None:
    """In which direction a word for strength compares."""
    word = phrase.value.descriptor if phrase.value is not None and not phrase.value.graded else None
    known = {"brisk": "greater", "hyperactive": "greater", "diminished": "less", "trace": "less"}
    return known.get(word or "")


def _toes_again(p: Parser, targets: list[Target], phrase: Phrase, after: int) -> int:
    """As in "toes are downgoing to plantar reflexes bilaterally": the response names its reflex again."""
    at = p.skip(after, "at")
    toes = p.has(at, "toes") and "toes" not in targets[-1].flags
    if targets[-1].site != "plantar" or (at == after and not toes) or p.kind(at) != "site":
        return after
    again = target_at(p, at)
    if again is None or again[0].site != "plantar":
        return after
    phrase.used += again[0].used
    phrase.side = phrase.side or again[0].side
    return again[1]


def _clonus_behind(p: Parser, targets: list[Target], phrase: Phrase, after: int) -> int:
    """As in "R ankle 3 beats clonus": beats at a joint are of clonus, named before or behind them."""
    if not beats_of_clonus(phrase, targets):
        return after
    behind = p.skip(after, "at")
    named = p.kind(behind) == "site" and p.tokens[behind].meaning == "clonus_unspecified"
    if not named or not all("clonus" in target.site for target in targets):
        return after
    phrase.used.append((p.tokens[behind], "site"))
    return behind + 1


def _in_its_limb(p: Parser, targets: list[Target], phrase: Phrase, after: int) -> int:
    """As in "KJ/AJ brisk LL, UL N": the limb in which reflexes lie, said behind their value."""
    at = after + (p.kind(after) == "side")
    limb = p.kind(at) == "region" and p.has(at, "limb") and p.kind(at + 1) in ("end", "comma")
    if not limb or not all(target.specific for target in targets) or (at > after and phrase.side):
        return after
    site, _, side = p.tokens[at].meaning.partition(":")
    if at > after:
        side = resolve_side(p, p.tokens[after]) or ""
    limbs = {p.vocabulary.reflexes[target.site].limb for target in targets}
    if limbs != {p.vocabulary.reflexes[site].limb} or phrase.details.comparison is not None:
        return after
    phrase.side = phrase.side or side or None
    phrase.used += [(p.tokens[i], "side" if i < at else "region") for i in range(after, at + 1)]
    return at + 1


def _state_at(p: Parser, targets: list[Target], index: int, linked: int) -> tuple[Phrase, int] | None:
    """As in "the legs are areflexic": a state said of a place."""
    foreign = all(target.foreign for target in targets)
    if p.kind(linked) != "condition" or linked == index or foreign:
        return None
    token = p.tokens[linked]
    phrase = Phrase(value=Written(descriptor=token.meaning), used=[(token, "value")])
    return phrase, linked + 1


def _pass_range_of_scale(p: Parser, targets: list[Target], index: int) -> int:
    """As in "Reflexes (0-4+):": a heading that tells the range of the scale is no value."""
    opened = p.kind(index) in ("open", "is") and p.kind(index + 1) == "value"
    written = p.tokens[index + 1].written if opened else None
    if not (
        targets[-1].general and isinstance(written, Written) and written.low == 0 and (written.high or 0) >= 4
    ):
        return index
    if p.kind(index) == "is" and p.kind(index + 2) != "colon":
        return index
    p.mark_range(index, index + 2, "header")
    return p.skip(index + 2, "close", "other")


def _link(p: Parser, index: int, targets: list[Target]) -> int:
    """Pass over what stands between a name and its value."""
    linked = p.skip(index, *LINKS)
    while p.kind(linked) == "and" and p.kind(linked + 1) == "is" and linked > index:
        linked = p.skip(linked + 1, *LINKS)  # "were checked and found to be"
    linked = _counted_again(p, linked, targets)
    if p.kind(linked) == "open" and p.kind(linked + 1) in VALUES:
        return linked + 1
    if p.kind(linked) == "at" and (p.kind(linked + 1) in VALUES or p.kind(linked + 1) == "uncertain"):
        return linked + 1
    if p.kind(linked) in ("past", "only") and linked > index and p.kind(linked + 1) in VALUES:
        return linked + 1
    if p.kind(linked) == "past" and p.kind(linked + 1) in VALUES:
        return linked + 1
    if p.kind(linked) == "position" and p.kind(linked + 1) == "comma" and p.kind(linked + 2) in VALUES:
        return linked + 2  # "AJs tested kneeling, 1+"
    if _included(p, linked):
        return p.skip(linked + 1, *LINKS)
    if p.kind(linked) == "comma" and p.kind(linked + 1) == "past" and p.kind(linked + 2) in VALUES:
        return linked + 2
    clause = _which_is(p, linked)
    if p.kind(clause) in VALUES:
        return clause
    beats = p.kind(linked + 1) == "count" and "clonus" in targets[-1].site
    if p.kind(linked) == "comma" and (p.kind(linked + 1) == "clonus_word" or beats):
        return linked + 1
    if p.kind(linked) == "comma" and p.kind(linked + 1) in VALUES and not value_is_next_ones(p, linked + 1):
        return linked + 1
    if p.kind(linked) == "other" or (p.word(linked) == "by" and p.kind(linked + 1) == "other"):
        skipped = linked
        while p.kind(skipped) in ("other", "at") and skipped - linked < 4:
            skipped += 1
        if p.kind(skipped) == "is" and any(not target.foreign for target in targets):
            return p.skip(skipped, *LINKS)
    return linked


def _included(p: Parser, comma: int) -> bool:
    """As in "his examination, including the reflexes, was normal": what is said of all is said of them."""
    before = p.skip(p.index - 1, "comma")
    said = p.kind(comma) == "comma" and p.kind(comma + 1) == "is" and p.kind(comma + 2) in VALUES
    if not said or getattr(p.tokens[comma + 2].written, "polarity", None) is not None:
        return False  # a negative examination is a normal one
    return p.has(before, "including") and p.kind(before - 1) == "comma"


def _both_before_value(p: Parser, linked: int, targets: list[Target]) -> int:
    """As in "biceps jerk = both sides 2+", "are bilaterally brisk": the sides between link and value."""
    both = p.kind(linked) == "side" and p.tokens[linked].meaning == "both" and p.kind(linked + 1) in VALUES
    if not both or any(target.side is not None or target.foreign for target in targets):
        return linked
    for target in targets:
        target.side = "both"
        target.used = [*target.used, (p.tokens[linked], "side")]
    return linked + 1


def _counted_again(p: Parser, index: int, targets: list[Target]) -> int:
    """As in "KJ and AJ are both 2+", "BJ, TJ, KJ, AJ: all four 1+": names are counted, no side is said."""
    if not counts_names(p, index, len(targets)) or not all(target.specific for target in targets):
        return index
    after = p.skip(index + 1, *LINKS)
    if p.kind(after) not in VALUES:
        return index
    p.mark([(p.tokens[index], "header")])
    return after


def _which_is(p: Parser, comma: int) -> int:
    """As in "the triceps jerk, which had been absent": where a clause about what was just named says it."""
    if p.kind(comma) != "comma" or p.kind(comma + 1) not in ("is", "anaphor"):
        return comma
    which = "which" in p.text[p.tokens[comma].end : p.tokens[comma + 1].end].lower()
    return p.skip(comma + 2, "is") if which else comma


def _may_take(p: Parser, index: int, linked: int, targets: list[Target]) -> bool:
    """A lone digit is a grade only right after the name or a link."""
    token = p.tokens[linked] if linked < len(p.tokens) else None
    bare = token is not None and getattr(token.written, "bare", False)
    if bare and linked == index and targets[-1].foreign:
        return False
    far = linked == index and token is not None and _gap(p, targets, linked) > _NEAR
    blank = token is not None and not p.text[targets[-1].used[-1][0].end : token.start].strip(" \t")
    return not (bare and far and not blank)


def _gap(p: Parser, targets: list[Target], linked: int) -> int:
    return p.tokens[linked].start - targets[-1].used[-1][0].end


def _header(targets: list[Target]) -> Target | None:
    """The noun that only announces the places after the value: "reflexes are 2+ at the knees"."""
    last = targets[-1]
    if (
        all(target.foreign for target in targets[:-1])
        and not last.foreign
        and (last.general or last.region or last.site == "clonus_unspecified" or _whole_abdomen(last))
    ):
        return last
    return None


def _whole_abdomen(target: Target) -> bool:
    """Abdominal reflexes without a quadrant, which may be named after the value."""
    return target.site == "abdominal" and target.which is None


def _bare_subject(p: Parser, targets: list[Target], index: int) -> bool:
    """A foreign subject without a value of ours is passed over whole; others wait for another rule."""
    if all(target.foreign for target in targets):
        for target in targets:
            p.mark(target.used)
        p.index = index
        return True
    named = targets[0]
    known = p.subject is not None and p.subject.used[-1][0] is named.used[-1][0]
    if len(targets) == 1 and named.specific and not named.sign and not known:
        p.subject = named
    return False
