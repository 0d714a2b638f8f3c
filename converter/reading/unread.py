"""Lists the reflex wording of a sentence that no rule used."""

from converter.model import Unread
from converter.reading.grammar.parts import Draft
from converter.reading.relevance.stems import STEM
from converter.reading.tokens import Token
from converter.reading.written import Pair, Written

_REACH = 6
_NEAR = 4
_OTHERS = frozenset({"other_exam", "look_alike", "legend"})
_JOINERS = frozenset({"with", "reason", "only"})
_GRADES_ALONE = frozenset(
    {"value", "pair", "side", "region", "at", "and", "but", "comma", "is", "colon", "dash", "now"}
)
"""Kinds of a sentence that only grades what was named before."""
_FAR = frozenset({"assertion", "comparison", "exception"})
"""Parts of a finding that may stand far from it, with other things said between."""
_TAKEN = frozenset({"site", "value", "comparison", "detail"})
"""Roles in findings. Headings serve what follows; plans, legends and look-alikes make no findings."""
_ENDS = frozenset({"comma", "and", "but", "close", "open", "other_exam", "look_alike"})


def free_what_no_finding_holds(tokens: list[Token], drafts: list[Draft], new: list[Draft]) -> None:
    """Free the triggers that a rule took for a finding which was then not made, so that they are listed.

    Args:
        tokens: those of a sentence.
        drafts: the findings of the note so far.
        new: those of the sentence.
    """
    taken = [token for token in tokens if token.used in _TAKEN and "trigger" in token.flags]
    for made in (new, drafts):
        if taken:
            held = {id(token) for draft in made for token, _ in draft.used}
            taken = [token for token in taken if id(token) not in held]
    for token in taken:
        token.used = ""


def unread_of(text: str, tokens: list[Token]) -> list[Unread]:
    """Triggers that no rule consumed, each with its own span and a reason."""
    found = []
    for index, token in enumerate(tokens):
        word = text[token.start : token.end]
        if STEM in token.flags and not token.used:
            found.append(Unread(start=token.start, end=token.end, text=word, why="unknown-word"))
        if not token.used and "trigger" in token.flags:
            end = _end(tokens, index)
            found.append(Unread(start=token.start, end=end, text=text[token.start : end], why=_why(token)))
    return found


def unknown_words(text: str, tokens: list[Token], drafts: list[Draft]) -> list[Unread]:
    """Words the vocabulary does not know inside a finding or right beside it: they may change its meaning."""
    places = {id(token): index for index, token in enumerate(tokens)}
    near: set[int] = set()
    for draft in drafts:
        own = sorted(places[id(t)] for t, role in draft.used if id(t) in places and role not in _FAR)
        if own:
            listed = own[0] > 1 and tokens[own[0] - 1].kind == "slash"  # a name before it: "Jaw/KJ 2+"
            near.update(range(own[0] - 1 - listed, _past_joiners(text, tokens, own[-1] + 1) + 1))
    near |= {index for index in range(len(tokens)) if drafts and _names_a_grade(tokens, index)}
    return unknown(text, [t for i, t in enumerate(tokens) if i in near and t.kind == "other" and not t.used])


def unknown(text: str, tokens: list[Token]) -> list[Unread]:
    """Words that the vocabulary does not know, each by itself."""
    return [
        Unread(start=token.start, end=token.end, text=text[token.start : token.end], why="unknown-word")
        for token in tokens
        if text[token.start].isalpha()
    ]


def grades_left_over(text: str, tokens: list[Token], *, spoken: bool) -> list[Unread]:
    """Grades that no rule gave to a reflex, with nothing near that they may be of: "DTRs 2+ 2+ 1+".

    Args:
        text: the note.
        tokens: those of a sentence.
        spoken: the sentence before graded reflexes, so that a sentence of nothing but grades is about them.
    """
    found = []
    said = any(token.used == "value" for token in tokens)
    said = said or (spoken and all(token.kind in _GRADES_ALONE for token in tokens))
    for index, token in enumerate(tokens):
        near = {other.kind for other in tokens[max(0, index - _NEAR) : index + _NEAR]}
        explains = index + 1 < len(tokens) and tokens[index + 1].kind in ("value", "equals")
        if (
            said
            and not (token.used or explains or near & _OTHERS)
            and (_has_plus(token) or _again(tokens, index))
        ):
            found.append(
                Unread(start=token.start, end=token.end, text=text[token.start : token.end], why="no-site")
            )
    return found


def _has_plus(token: Token) -> bool:
    first = token.written.first if isinstance(token.written, Pair) else token.written
    return isinstance(first, Written) and first.plus == "trailing"


def _again(tokens: list[Token], index: int) -> bool:
    """As in "KJ + +": a second number of plus signs right behind the first."""
    first, second = tokens[index - 1].written if index else None, tokens[index].written
    both = isinstance(first, Written) and isinstance(second, Written) and first.counted and second.counted
    return _digit_again(tokens, index) or (
        both and tokens[index - 1].used == "value" and tokens[index].start - tokens[index - 1].end == 1
    )


def _digit_again(tokens: list[Token], index: int) -> bool:
    """As in "BJ 2 2 TJ 2, 1": a second digit right behind the one that was read."""
    comma = index > 1 and tokens[index - 1].kind == "comma"
    before = tokens[index - 1 - comma] if index else None
    digits = [getattr(token.written, "bare", False) for token in (before, tokens[index]) if token is not None]
    return len(digits) == 2 and all(digits) and before is not None and before.used == "value"


def _is_reflex_grade(token: Token) -> bool:
    written = token.written
    return isinstance(written, Pair) or (isinstance(written, Written) and written.plus != "none")


def _names_a_grade(tokens: list[Token], index: int) -> bool:
    """Whether a word stands right before a reflex grade that no rule used: "LUX 2+"."""
    following = tokens[index + 1] if index + 1 < len(tokens) else None
    if following is None or following.used or following.start - tokens[index].end > 1:
        return False
    if index and tokens[index - 1].kind == "open" and following.kind == "value":
        return True
    return _is_reflex_grade(following)


def _past_joiners(text: str, tokens: list[Token], index: int) -> int:
    """The place after words that only join: "2+ in the ... position"."""
    last_word = [token.kind for token in tokens[index : index + 3]] == ["and", "other"]
    if last_word:
        return index + 1
    while index < len(tokens) and (tokens[index].kind in _JOINERS or _places(text, tokens[index])):
        index += 1
    return index


def _places(text: str, token: Token) -> bool:
    return token.kind == "at" and text[token.start : token.end].lower() in ("in", "on", "at", "by")


def _end(tokens: list[Token], index: int) -> int:
    """The words right after a trigger that nothing used either belong to what was not understood."""
    end = tokens[index].end
    for token in tokens[index + 1 : index + 1 + _REACH]:
        if token.used or "trigger" in token.flags or token.kind in _ENDS:
            break
        end = token.end
    return end


def _why(token: Token) -> str:
    return "no-value" if token.kind in ("reflex", "site") else "no-rule"
