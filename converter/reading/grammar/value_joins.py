"""Decides whether a further word belongs to the value before it, or to what follows."""

from converter.reading.grammar.parser import HEADS, VALUES, Parser
from converter.reading.grammar.parts import Phrase
from converter.reading.written import Count, Pair, Written

_DATE_REACH = 6


def joins(p: Parser, index: int, at: int, phrase: Phrase) -> bool:
    """Whether the value at `at` is a further word for the same value, and not the value of what follows."""
    token = p.tokens[at]
    new = token.written
    between = [p.kind(i) for i in range(index, at)]
    if p.word(at) == "→" and p.kind(p.skip(at + 1, "now")) in VALUES:
        return False
    if phrase.value is not None and not phrase.details.reinforcement and _reinforced(p, at, phrase):
        return False
    if _alternative(p, index, at, phrase):
        phrase.details.uncertain = True
        return True
    was = any(p.word(i) in ("was", "were") for i in range(index, at))
    if was and ("open" in between or past_in_bracket(p, at + 1) is not None):
        return False
    if "open" in between and past_in_bracket(p, at + 1) is not None:
        return False
    if isinstance(new, Count) and phrase.side in ("left", "right") and _sided_next(p, at):
        return False
    if isinstance(new, Count):
        of_clonus = p.kind(p.skip(at + 1, "at", "side", "clonus_word")) in HEADS
        return phrase.details.beats is None and not of_clonus and not about_next(p, at)
    if "slash" in between:
        return _pairs_up(p, index, at, phrase)
    if isinstance(new, Pair):
        return phrase.weak or ("open" in between and phrase.worded)
    if not isinstance(new, Written) or (phrase.pair is not None and not new.weak):
        return False
    return _written_joins(p, new, at, between, phrase)


def _reinforced(p: Parser, at: int, phrase: Phrase) -> bool:
    """As in "absent (1+ with reinforcement)": a strength of its own, which is that of another trial."""
    new = p.tokens[at].written
    behind = p.kind(p.skip(at + 1, "with")) in ("reinforcement", "manoeuvre")
    if not (behind and isinstance(new, Written)) or phrase.weak:
        return False
    return not new.weak or (phrase.value is not None and phrase.value.descriptor == "absent")


def _written_joins(p: Parser, new: Written, at: int, between: list[str], phrase: Phrase) -> bool:
    if phrase.side in ("left", "right") and _sided_next(p, at) and new.descriptor != "symmetric":
        return False
    if new.weak:
        return phrase.side is None or new.descriptor == "symmetric" or not about_next(p, at)
    if phrase.details.beats is not None and new.descriptor == "absent":
        return False
    if phrase.weak and about_next(p, at) and ("with" in between or (phrase.side and "comma" in between)):
        return False
    if _only_there(phrase) and new.descriptor is not None and not about_next(p, at):
        return phrase.side is None
    if _present_but_placed(p, at, between, phrase):
        return False
    if phrase.weak and phrase.value is not None:
        said = phrase.value.descriptor == "present" and "comma" in between and not new.graded
        return not ("but" in between or said) or not about_next(p, at)
    if phrase.weak:
        return True
    if phrase.worded and new.graded:
        return phrase.side in (None, "both")
    if "open" in between:
        return not about_next(p, at) and not (phrase.value is not None and phrase.value.graded and new.graded)
    if p.kind(at + 1) in ("side",) or phrase.side is not None or about_next(p, at):
        return False
    if any(p.has(i, "or") for i in range(at - 2, at)) and not new.graded:
        phrase.details.uncertain = True
        return True
    return phrase.worded and not new.graded and (new.response is None or not between)


def _only_there(phrase: Phrase) -> bool:
    """Whether a single plus is all that was said, as in "jaw jerk +, brisk", so that a word says more."""
    value = phrase.value
    return value is not None and value.counted and value.polarity == "positive"


def _present_but_placed(p: Parser, at: int, between: list[str], phrase: Phrase) -> bool:
    """As in "reflexes present, reduced at the left ankle": the second word is of that place alone."""
    present = phrase.value is not None and phrase.value.descriptor == "present"
    return present and "comma" in between and p.kind(at + 1) == "at" and about_next(p, at)


def past_in_bracket(p: Parser, index: int) -> int | None:
    """The word for an earlier time behind a value in brackets, as in "(absent last week)", if one follows."""
    for at in range(index, index + _DATE_REACH):
        if p.kind(at) == "past":
            return at
        if p.kind(at) in HEADS or p.kind(at) in ("close", "end", "now", "comma"):
            return None
    return None


def _alternative(p: Parser, index: int, at: int, phrase: Phrase) -> bool:
    """As in "reduced/absent knee jerks", "reduced or absent ankle jerks": doubt between two words."""
    new = p.tokens[at].written
    joined = at == index + 1 and (p.kind(index) == "slash" or (p.kind(index) == "and" and p.has(index, "or")))
    if (
        not joined
        or not isinstance(new, Written)
        or new.descriptor is None
        or new.graded
        or not phrase.worded
    ):
        return False
    if (
        phrase.weak
        or new.weak
        or phrase.side is not None
        or p.kind(at + 1) not in ("site", "region", "reflex")
    ):
        return False
    before = min(p.tokens.index(token) for token, _ in phrase.used) - 1
    return p.kind(before) in ("end", "comma", "and", "but", "with", "is", "colon")


def _sided_next(p: Parser, at: int) -> bool:
    return p.kind(p.skip(at + 1, "at", "close")) == "side"


def _pairs_up(p: Parser, index: int, at: int, phrase: Phrase) -> bool:
    """As in "flexor/extensor": two words for the two sides."""
    new = p.tokens[at].written
    if at != index + 1 or not isinstance(new, Written) or phrase.value is None or phrase.pair is not None:
        return False
    if phrase.side is not None:
        return False
    phrase.pair = Pair(phrase.value, new)
    phrase.value = None
    p.tokens[at].written = new
    return True


def about_next(p: Parser, at: int) -> bool:
    """Whether the value at an index is about the target after it."""
    passed = ("close",) if getattr(p.tokens[at].written, "polarity", None) is not None else ()
    following = p.skip(at + 1, "at", "side", *passed)
    return p.kind(following) in HEADS or p.kind(following) == "other_exam"
