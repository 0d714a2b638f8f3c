"""Reads what a value says: a grade, a pair, a word or several, with side, doubt and manner around it."""

from dataclasses import replace

from converter.reading.grammar.parser import HEADS, LINKS, VALUES, Parser
from converter.reading.grammar.parts import Phrase
from converter.reading.grammar.phrase_sides import alike, before_value, placed_side, sides_a_part, take_side
from converter.reading.grammar.value_joins import about_next, joins
from converter.reading.tokens import Token
from converter.reading.written import Count, Pair, Written

DETAILS = frozenset(
    {"reinforcement", "manoeuvre", "position", "technique", "quality", "clonus_word", "before", "uncertain"}
)
"""Kinds that say how a reflex was elicited and what else was seen."""
_JOINERS = frozenset({"comma", "and", "but", "slash", "with", "anaphor", "is", "open"})


def phrase_at(p: Parser, start: int, sided: bool = False) -> tuple[Phrase, int] | None:
    """Read a value phrase.

    phrase = { UNCERTAIN | NO | MORE | LESS | manner } value { more } | manner { more } ;
    more = [ "," | AND | BUT | WITH ] value | AT value | "to" value | "/" value
         | [ "," ] SIDE | [ ONLY ] AT SIDE | "(" SIDE ")" | "=" [ SIDE ]
         | [ "," | AND | WITH | AT ] manner | NO manner | THAN ( PAST | BEFORE | SIDE ) ;
    value = GRADE | PAIR | COUNT | VALUE | RESPONSE | POLARITY ;
    manner = REINFORCEMENT | MANOEUVRE | POSITION | TECHNIQUE | QUALITY | CLONUS_WORD | BEFORE ;

    Two values become one where they say the same thing twice: a number beats a word, and a word for strength
    beats "symmetric", "present" and their like.

    Args:
        p: the sentence.
        start: index of the first token.
        sided: a side has been said already, so a side before another value belongs to that value.
    """
    phrase = Phrase()
    index = _lead(p, start, phrase)
    if p.kind(index) in VALUES:
        if not take(p, index, phrase):
            return None
        index += 1
    elif not _stands_alone(phrase):
        return None
    while True:
        after = _more(p, index, phrase, sided)
        if after is None:
            break
        index = after
    return phrase, index


def _lead(p: Parser, index: int, phrase: Phrase) -> int:
    while True:
        kind = p.kind(index)
        if kind in ("more", "less"):
            phrase.used.append((p.tokens[index], "comparison"))
            if p.kind(index + 1) not in VALUES:
                return index
            phrase.details.comparison = (
                "greater_than_other_side" if kind == "more" else "less_than_other_side"
            )
        elif kind in DETAILS and _leads(p, index, phrase):
            _detail(p.tokens[index], phrase)
        elif kind == "at" and phrase.details.comparison is not None and p.kind(index + 1) in VALUES:
            pass
        elif kind == "no" and p.kind(index + 1) in VALUES and phrase.value is None:
            phrase.negated = True
            phrase.used.append((p.tokens[index], "assertion"))
        else:
            return index
        index += 1


def _leads(p: Parser, index: int, phrase: Phrase) -> bool:
    """Whether a word of manner begins a phrase: before a value, or as all that is said."""
    if p.kind(index) in ("clonus_word", "quality", "before"):
        return "than" not in p.tokens[index].flags
    return p.kind(index + 1) in VALUES | DETAILS or bool(phrase.used and p.kind(index) != "uncertain")


def _stands_alone(phrase: Phrase) -> bool:
    details = phrase.details
    return details.sustained is not None or details.quality is not None or details.comparison == "unchanged"


def take(p: Parser, index: int, phrase: Phrase) -> bool:
    """Take the value at an index into the phrase."""
    token = p.tokens[index]
    written = token.written
    if isinstance(written, Pair):
        if phrase.pair is None:
            phrase.pair = written
        else:
            phrase.pair = _range_of_pairs(phrase.pair, written)
    elif isinstance(written, Count):
        if phrase.details.beats is not None:
            return False
        phrase.details.beats = written.text or None
    elif isinstance(written, Written) and phrase.pair is None:
        phrase.value = _merged(phrase.value, written)
        if "neither" in token.flags and not any(p.word(i) == "nor" for i in range(index, len(p.tokens))):
            phrase.side = "both"
        if "comparative" in token.flags:
            phrase.details.comparison = "greater_than_other_side"
    phrase.used.append((token, "value"))
    return True


def _range_of_pairs(low: Pair, high: Pair) -> Pair:
    return Pair(
        replace(low.first, high=high.first.high or low.first.high),
        replace(low.second, high=high.second.high or low.second.high),
    )


def _merged(old: Written | None, new: Written) -> Written:
    if old is None or (old.weak and not new.weak):
        return new
    if old.counted and old.polarity == "positive" and new.descriptor is not None and not new.weak:
        return new
    if new.graded and not old.graded:
        return new
    return old


def _more(p: Parser, index: int, phrase: Phrase, sided: bool) -> int | None:
    """Take one further piece of the phrase; the index after it, or None at the end of the phrase."""
    joined = p.skip(index, *_JOINERS)
    kind = p.kind(joined)
    if kind == "close" and joined == index:
        return index + 1 if any(t.kind == "open" for t in p.tokens[max(0, index - 6) : index]) else None
    if kind == "side" and p.kind(joined + 1) == "equals" and p.kind(joined + 2) == "side":
        return alike(p, joined, phrase)
    if kind == "region" and joined == index and sides_a_part(p, index):
        return take_side(p, index + 1, index + 1, phrase)
    if kind in VALUES and joined == index and _said_twice(p, joined, phrase):
        return joined + 1
    if kind == "side":
        return None if sided and before_value(p, joined) else take_side(p, index, joined, phrase)
    if kind == "only" and joined == index and p.kind(p.skip(index + 1, "at")) == "side":
        return placed_side(p, p.skip(index + 1, "at"), phrase)
    bracketed = joined == index + 1 and p.kind(index) == "open" and p.kind(joined + 1) == "close"
    beside = joined == index or bracketed
    if kind == "side_ref" and beside and phrase.side is None and phrase.pair is None:
        phrase.side = "both"
        phrase.used.append((p.tokens[joined], "side"))
        return joined + 1
    if kind == "dash" and joined == index and _ranges_on(p, joined, phrase):
        return _to(p, joined, phrase)
    if kind in VALUES:
        return joined + 1 if joins(p, index, joined, phrase) and take(p, joined, phrase) else None
    if kind == "at":
        return _after_at(p, index, joined, phrase)
    return _manner(p, index, joined, phrase)


def _said_twice(p: Parser, at: int, phrase: Phrase) -> bool:
    """As in "toes dn dn": the same movement once for each side."""
    value, again = phrase.value, p.tokens[at].written
    moved = isinstance(again, Written) and again.response is not None and again == value
    if not moved or phrase.side is not None or phrase.pair is not None:
        return False
    phrase.side = "both"
    phrase.used.append((p.tokens[at], "value"))
    return True


def _ranges_on(p: Parser, at: int, phrase: Phrase) -> bool:
    """As in "tr-1+": a dash between the ends of a range whose lower end is a word."""
    trace = phrase.value is not None and phrase.value.descriptor == "trace"
    return trace and p.kind(at + 1) in VALUES and p.tokens[at].end == p.tokens[at + 1].start


def _manner(p: Parser, index: int, joined: int, phrase: Phrase) -> int | None:
    """Take a detail, a comparison or an equals sign."""
    kind = p.kind(joined)
    if kind in DETAILS and (_detail_fits(p, index, joined, phrase) or _of_beats(p, joined, phrase)):
        _detail(p.tokens[joined], phrase)
        return joined + 1
    if kind == "no" and p.kind(joined + 1) in DETAILS:
        return _denied_detail(p, joined, phrase)
    if kind == "past" and phrase.details.comparison is not None:
        phrase.used.append((p.tokens[joined], "comparison"))
        return joined + 1
    if kind == "than" and joined == index:
        return _than(p, joined, phrase)
    return _equals(p, joined, phrase) if kind == "equals" else None


def _after_at(p: Parser, index: int, at: int, phrase: Phrase) -> int | None:
    """Take what follows a preposition: "to 2+", "at 3+", "on the right", "in the seated position"."""
    following = p.kind(at + 1)
    if p.word(at) == "to" and following in VALUES:
        return _to(p, at, phrase)
    if following in ("pair", "value") and at == index and _at_grade(p, at, phrase):
        return at + 2 if take(p, at + 1, phrase) else None
    worded = p.skip(at + 1, "is", "at")
    if p.word(at + 1) == "grade" and p.kind(worded) in VALUES and at == index and phrase.weak:
        return worded + 1 if take(p, worded, phrase) else None  # "obtained at a grade of 2"
    if following == "clonus_word" and phrase.details.beats is not None and p.has(at + 2, "sign"):
        _detail(p.tokens[at + 1], phrase)
        return at + 2
    if following in ("position", "manoeuvre", "technique", "past"):
        return _manner(p, index, at + 1, phrase)
    if following != "side":
        return None
    late = at == index + 1 and p.kind(index) == "comma" and p.tokens[at + 1].meaning == "both"
    return placed_side(p, at + 1, phrase) if at == index or late else None


def _than(p: Parser, at: int, phrase: Phrase) -> int | None:
    """As in "brisker than last visit", "decreased compared to the left": what it is compared with."""
    weaker = phrase.value is not None and phrase.value.descriptor in ("absent", "trace", "diminished")
    direction = "less" if weaker else "greater"
    place = p.skip(at + 1, "at")
    if p.kind(place) in ("past", "before"):
        phrase.details.comparison = f"{direction}_than_before"
    elif p.kind(place) == "side" and p.kind(place + 1) not in VALUES:
        phrase.details.comparison = f"{direction}_than_other_side"
    else:
        return None
    phrase.used += [(token, "comparison") for token in p.tokens[at : place + 1]]
    return place + 1


def _equals(p: Parser, at: int, phrase: Phrase) -> int | None:
    """As in "2+ = B", "2+ =": alike on both sides."""
    after = p.kind(at + 1)
    if after not in ("side", "end", "comma", "at") or (
        after == "side" and p.tokens[at + 1].meaning != "both"
    ):
        return None
    phrase.side = phrase.side or "both"
    end = at + 2 if after == "side" else at + 1
    phrase.used += [(token, "side") for token in p.tokens[at:end]]
    return end


def _at_grade(p: Parser, at: int, phrase: Phrase) -> bool:
    """As in "symmetric at 2+", "brisk at 3+"."""
    written = p.tokens[at + 1].written
    graded = isinstance(written, Pair) or (isinstance(written, Written) and written.graded)
    whole = p.has(at + 2, "all")
    whole = whole or p.word(at) == "at"
    return phrase.weak or (phrase.worded and graded and (whole or not about_next(p, at + 1)))


def _denied_detail(p: Parser, index: int, phrase: Phrase) -> int:
    """As in "without a delayed relaxation phase": said, and nothing seen."""
    phrase.used += [(p.tokens[index], "assertion"), (p.tokens[index + 1], "detail")]
    return index + 2


def _to(p: Parser, index: int, phrase: Phrase) -> int | None:
    """As in "decreased to absent", "1+/1+ to 2+/2+": the ends of a range."""
    token = p.tokens[index + 1]
    if isinstance(token.written, Written) and not token.written.graded and phrase.worded:
        phrase.details.uncertain = True
        phrase.used.append((token, "value"))
        return index + 2
    graded = isinstance(token.written, Pair) or (isinstance(token.written, Written) and token.written.graded)
    if graded and phrase.weak and phrase.value is not None and phrase.value.descriptor == "present":
        return index + 2 if take(p, index + 1, phrase) else None  # "have returned to 1+"
    trace = phrase.value is not None and phrase.value.descriptor == "trace"
    if isinstance(token.written, Pair) and trace and token.written.second.low in (4, 5):
        maximum = int(token.written.second.low)
        phrase.value = replace(token.written.first, low=0.5, denominator=maximum)
        phrase.used.append((token, "value"))
        return index + 2
    if isinstance(token.written, Written) and token.written.graded and trace:
        phrase.value = replace(token.written, low=0.5)
        phrase.used.append((token, "value"))
        return index + 2
    if (
        isinstance(token.written, Written)
        and token.written.descriptor == "trace"
        and phrase.value is not None
    ):
        phrase.value = replace(phrase.value, low=0.5)
        phrase.used.append((token, "value"))
        return index + 2
    return index + 2 if isinstance(token.written, Pair) and take(p, index + 1, phrase) else None


def _of_beats(p: Parser, at: int, phrase: Phrase) -> bool:
    """As in "three beats unsustained clonus"."""
    return p.kind(at) == "clonus_word" and phrase.details.beats is not None and p.has(at + 1, "sign")


def _detail_fits(p: Parser, index: int, joined: int, phrase: Phrase) -> bool:
    lasting = p.tokens[joined].kind == "clonus_word"
    other = phrase.side in ("left", "right") and p.kind(p.skip(joined + 1, "at")) == "side"
    if lasting and (p.kind(joined + 1) == "site" or (joined > index and other)):
        return False
    if p.tokens[joined].kind == "quality" and joined > index and _of_next(p, joined, phrase):
        return False
    return not (joined > index and p.tokens[joined].kind == "uncertain")


def _of_next(p: Parser, at: int, phrase: Phrase) -> bool:
    """As in "BJ 2+, inverted SJ": the value before has its name, so this is said of the name behind it."""
    first = min((p.tokens.index(token) for token, _ in phrase.used if token in p.tokens), default=0)
    while first and p.kind(first - 1) in {"side", *LINKS}:
        first -= 1
    return p.kind(first - 1) in HEADS and p.kind(p.skip(at + 1, "side")) == "site"


def _detail(token: Token, phrase: Phrase) -> None:
    details, role = phrase.details, "detail"
    if token.kind == "uncertain":
        details.uncertain, role = True, "assertion"
    elif token.kind == "clonus_word":
        details.sustained = token.meaning == "sustained"
    elif token.kind == "before":
        details.comparison = token.meaning or _than_before(token, phrase) or details.comparison
    else:
        details.note(token)
    phrase.used.append((token, role))


def _than_before(token: Token, phrase: Phrase) -> str | None:
    """As in "brisker than before"; the value says in which direction."""
    if "than" not in token.flags or phrase.value is None:
        return None
    weaker = phrase.value.descriptor in ("absent", "trace", "diminished")
    return "less_than_before" if weaker else "greater_than_before"
