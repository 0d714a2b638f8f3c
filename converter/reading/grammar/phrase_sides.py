"""Takes the side said with a value: "2+ bilaterally", but not "brisk and both toes"."""

from converter.reading.grammar.parser import HEADS, LINKS, VALUES, Parser
from converter.reading.grammar.parts import Phrase
from converter.reading.grammar.target_heads import resolve_side
from converter.reading.written import Written


def take_side(p: Parser, index: int, at: int, phrase: Phrase) -> int | None:
    """Take a side, unless it belongs to what follows: "2+ bilaterally", but "brisk and both toes"."""
    token = p.tokens[at]
    number_next = phrase.worded and not phrase.weak and token.meaning == "both" and _is_grade(p, at + 1)
    if phrase.side is not None or not (number_next or _side_belongs(p, index, at)):
        return None
    phrase.side = resolve_side(p, token)
    phrase.used.append((token, "side"))
    return at + 2 if _only_part(p, at + 1) else at + 1


def placed_side(p: Parser, at: int, phrase: Phrase) -> int | None:
    """As in "upward on the right": a side after "at", unless it belongs to a reflex named next."""
    followed = p.kind(at + 1) in HEADS and not p.has(at + 1, "limb") and not p.has(at + 1, "toes")
    if phrase.side is not None or followed:
        return None
    phrase.side = resolve_side(p, p.tokens[at])
    phrase.used.append((p.tokens[at], "side"))
    passed = any(p.has(at + 1, flag) for flag in ("toes", "bare", "part"))
    return at + 2 if passed else at + 1


def alike(p: Parser, at: int, phrase: Phrase) -> int | None:
    """As in "2+ R=L": alike on both sides."""
    sides = {p.tokens[at].meaning, p.tokens[at + 2].meaning}
    if phrase.side is not None or phrase.pair is not None or sides != {"left", "right"}:
        return None
    phrase.side, phrase.details.comparison = "both", "equal"
    phrase.used += [(token, "side") for token in p.tokens[at : at + 3]]
    return at + 3


def sides_a_part(p: Parser, at: int) -> bool:
    """As in "grasp + hands bilat": a part of a limb before the side that it only carries."""
    part = p.has(at, "part") and p.kind(at + 1) == "side"
    return part and p.kind(at + 2) in ("end", "comma", "close")


def before_value(p: Parser, at: int) -> bool:
    """Whether a side at an index has a value of its own behind it."""
    return p.kind(p.skip(at + 1, "is", "colon", "equals")) in VALUES | {"clonus_word", "untested"}


def _only_part(p: Parser, at: int) -> bool:
    """As in "present both hands": a part of a limb that only carries the side."""
    ends = ("end", "comma", "and", "but", "close", "open", "slash")
    return p.kind(at) == "region" and p.has(at, "part") and p.kind(at + 1) in ends


def _trails(p: Parser, index: int, at: int) -> bool:
    """As in "KJ 2+ bilat AJ 1+": behind a name and its value, and before the next name with its own."""
    adverb = p.tokens[at].meaning == "both" and not p.word(at).endswith("al") and at == index
    before = index - 1
    while p.kind(before) in VALUES:  # "sluggish 1+ bilat"
        before -= 1
    named = before < index - 1 and p.kind(before) == "site"
    valued = p.kind(at + 1) == "site" and p.kind(p.skip(at + 2, *LINKS)) in VALUES
    closed = p.text[p.tokens[at].end : p.tokens[at].end + 1] == "."
    return adverb and (closed or (named and (valued or p.kind(at + 1) == "other_exam")))


def _side_belongs(p: Parser, index: int, at: int) -> bool:
    token, following = p.tokens[at], p.kind(at + 1)
    if p.kind(at - 1) == "open" and following == "close" and p.kind(at + 2) == "colon":
        return False  # "Right: KJ 2+, (L): KJ 3+"
    if "letter" in token.flags and not p.text[token.start].isupper() and at > index:
        return False
    toes = p.has(at + 1, "toes") and p.kind(p.skip(at + 2, *LINKS)) not in VALUES
    if at == index and (toes or _only_part(p, at + 1)):
        return True
    if index + 1 == at and p.kind(index) == "open" and p.kind(at + 1) == "close":
        return True
    if _trails(p, index, at):
        return True
    if p.kind(p.skip(at + 1, "close")) in HEADS or following == "other_exam":
        return False
    if at > index:
        between = {p.kind(i) for i in range(index, at)}
        if between & {"but", "with", "anaphor", "is", "slash"} or following in VALUES | {
            "colon",
            "is",
            "equals",
        }:
            return False
        closes = following == "end" and between == {"comma"} and not p.drafts
        return token.meaning == "both" or "open" in between or closes
    compares = following in ("greater", "lesser") and p.kind(at + 2) == "side"
    return not (compares or following in ("colon", "equals")) or token.meaning == "both"


def _is_grade(p: Parser, index: int) -> bool:
    written = p.tokens[index].written if index < len(p.tokens) else None
    return isinstance(written, Written) and written.graded
