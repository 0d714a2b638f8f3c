"""Finds the limb that a line or a clause is about, as in "RLE: PF 5. Patellar 2+" and "R UE 4/5, BJ 1+".

Takes a sentence and what earlier ones left; notes the limb and its side for reflexes whose side is not said.
"""

from converter.reading.grammar.parser import Context
from converter.reading.sentences import Sentence
from converter.reading.tokens import Token
from converter.reading.written import Pair, Written
from converter.words import Vocabulary

_ONE_SIDE = frozenset({"left", "right"})
_FULL_STRENGTH = 5
_BEFORE_STRENGTH = frozenset({"other_exam", "is", "colon", "equals", "dash"})


def note_limb(sentence: Sentence, context: Context, vocabulary: Vocabulary) -> None:
    """Note the limb that a sentence begins with; one before a colon serves its whole line."""
    if sentence.new_line or not context.limb_of_line:
        context.limb = None
    limb, behind = _limb_at(sentence.tokens, vocabulary)
    if limb is None or len(_sides(sentence.tokens)) > 1:
        return
    headed = bool(behind) and behind[0].kind == "colon"
    if headed or _is_strength(behind):
        context.limb, context.limb_of_line = limb, headed and sentence.new_line


def _limb_at(tokens: list[Token], vocabulary: Vocabulary) -> tuple[tuple[str, str] | None, list[Token]]:
    """The limb and side that tokens begin with, and the tokens behind them."""
    start = next((i for i, token in enumerate(tokens) if token.kind != "bullet"), len(tokens))
    side = ""
    if start < len(tokens) and tokens[start].kind == "side":
        side, start = tokens[start].meaning, start + 1
    if start == len(tokens) or tokens[start].kind != "region":
        return None, []
    region, _, own = tokens[start].meaning.partition(":")
    limb = vocabulary.reflexes[region].limb
    found = side or own
    return ((limb, found) if limb and found in _ONE_SIDE else None), tokens[start + 1 :]


def _sides(tokens: list[Token]) -> set[str]:
    """The sides that are said in a sentence."""
    said = {token.meaning for token in tokens if token.kind == "side"}
    return said | {token.meaning.partition(":")[2] for token in tokens if token.kind == "region"} - {""}


def _is_strength(tokens: list[Token]) -> bool:
    """Whether a grade out of five comes first: it is of strength."""
    first = next((token for token in tokens if token.kind not in _BEFORE_STRENGTH), None)
    written = first.written if first is not None else None
    if isinstance(written, Pair):
        return written.second.low == _FULL_STRENGTH
    return isinstance(written, Written) and written.denominator == _FULL_STRENGTH
