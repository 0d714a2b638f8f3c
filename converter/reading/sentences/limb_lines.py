"""Finds the limb that a line or a clause is about, as in "RLE: PF 5. Patellar 2+" and "R UE 4/5, BJ 1+".

Takes a sentence and what earlier ones left; notes the limb and its side for reflexes whose side is not said,
and the limbs of a heading for those without a place: "LOWER LIMBS" over "Tone normal. Reflexes 3+".
"""

from converter.reading.grammar.parser import Context
from converter.reading.grammar.parts import Target
from converter.reading.sentences.dividing import Sentence
from converter.reading.tokens import Token
from converter.reading.written import Pair, Written
from converter.words import Vocabulary

_ONE_SIDE = frozenset({"left", "right"})
_FULL_STRENGTH = 5
_OF_NERVES = frozenset({"motor", "neuro", "provocation"})
_BEFORE_STRENGTH = frozenset({"other_exam", "is", "colon", "equals", "dash"})


def note_limb(sentence: Sentence, context: Context, vocabulary: Vocabulary) -> None:
    """Note the limb that a sentence begins with; one before a colon serves its whole line."""
    _note_limbs_of_heading(sentence, context, vocabulary)
    if sentence.new_line or not context.limb_of_line:
        context.limb = _limb_of_title(context, vocabulary)
    if "region" not in sentence.kinds:
        return
    limb, behind = _limb_at(sentence.tokens, vocabulary)
    if limb is None or len(_sides(sentence.tokens)) > 1:
        return
    headed = bool(behind) and (behind[0].kind == "colon" or _leads_names(sentence.tokens, behind))
    if headed or _is_strength(behind):
        context.limb, context.limb_of_line = limb, headed and sentence.new_line


def _limb_of_title(context: Context, vocabulary: Vocabulary) -> tuple[str, str] | None:
    """As in "Left leg" in a line of its own: its side serves the reflexes of that limb in the lines below."""
    title = context.limbs_headed if context.limbs_alone else None
    limb = vocabulary.reflexes[title.site].limb if title is not None else None
    side = title.side if title is not None else None
    return (limb, side) if limb is not None and side in _ONE_SIDE and side is not None else None


def _note_limbs_of_heading(sentence: Sentence, context: Context, vocabulary: Vocabulary) -> None:
    """Note the limbs that a heading names; in the same line they count once tone or power has been said."""
    others = [t for t in sentence.tokens if t.kind == "other_exam"] if "other_exam" in sentence.kinds else []
    examined = any(token.meaning in _OF_NERVES for token in others)
    heading, alone = _limbs_heading(sentence, vocabulary) if "region" in sentence.kinds else (None, False)
    if heading is not None:
        context.limbs_headed, context.limbs_examined, context.limbs_alone = heading, alone, alone
    elif sentence.new_block or (sentence.new_line and not context.limbs_alone):
        context.limbs_headed = None
    elif (sentence.heading and not examined) or any(t.meaning == "limb" for t in others):
        context.limbs_headed = None  # a limb whose pulses and skin are looked at, rather than its nerves
    context.limbs_examined = context.limbs_examined or examined


def _limbs_heading(sentence: Sentence, vocabulary: Vocabulary) -> tuple[Target | None, bool]:
    """The limbs that a line begins with, before a colon or alone, and whether they stand alone."""
    tokens = [token for token in sentence.tokens if token.kind != "bullet"]
    sided = bool(tokens) and tokens[0].kind == "side"
    named = tokens[sided : sided + 1]
    behind = tokens[sided + 1 : sided + 2]
    if not sentence.new_line or not named or named[0].kind != "region" or not _is_limb(named[0]):
        return None, False
    if behind and behind[0].kind != "colon":
        return None, False
    site, _, own = named[0].meaning.partition(":")
    if vocabulary.reflexes[site].limb is None:
        return None, False
    used = [(token, "side" if token.kind == "side" else "region") for token in tokens[: sided + 1]]
    alone = len(tokens) <= sided + 1 + len(behind) and not sentence.closed
    return Target(site, side=(tokens[0].meaning if sided else own) or None, region=True, used=used), alone


def _is_limb(token: Token) -> bool:
    return "limb" in token.flags and not token.flags & {"part", "partial", "bare"}


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


def _leads_names(tokens: list[Token], behind: list[Token]) -> bool:
    """As in "RUE BJ 2 TJ 2": the only limb of the sentence, before several names without a side."""
    names = sum(token.kind == "site" for token in behind)
    regions = sum(token.kind == "region" for token in tokens)
    return behind[0].kind == "site" and names > 1 and regions == 1


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
