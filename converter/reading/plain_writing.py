"""Writes the marks of filled forms plainly: blanks with a value on them, and pairs parted by a comma.

Takes the text of a note; gives a text of the same length, so that every place stays what it was. What the
marks enclose is left as it is.
"""

import re

_GRADE = r"[0-5]\+?|\+{1,4}|[↓↑±]"
_BLANKS = (
    re.compile(rf"(?<![^\W_])_+ (?:{_GRADE}) _+"),
    re.compile(r"(?<!\w)_+[^\W_](?:[^_\r\n]{0,14}[^\s_])?_+(?!\w)"),
    re.compile(r"(?<!\w)_+(?= ?[+\d↑↓±])"),
    re.compile(r"(?<=[\d+↑↓±])_+(?!\w)"),
)
"""A value with a blank on both sides, touching it or not; a word on a blank; a value behind or before one."""
_KEY = re.compile(r"^[ \t\"']*[A-Za-z]+(?:_[A-Za-z]+)+(?=[\"']?[ \t]*[:=])", re.MULTILINE)
"""A key of several words at the beginning of a line: "biceps_reflex_right: 2+"."""
_NESTED = re.compile(r"[\"'][A-Za-z_ ]+[\"']\s*:\s*\{")
_BRACES = str.maketrans({"{": " ", "}": ";", '"': " "})
"""Keys with values in braces: each closing brace ends what its key is about."""
_ORDER = re.compile(
    r"[(\[](?:R|Rt|Right|L|Lt|Left)(?P<comma>[,/]) ?(?:R|Rt|Right|L|Lt|Left)[)\]]", re.IGNORECASE
)
_COMMA_PAIR = re.compile(
    rf"(?<![\w.,+/])(?<![\d+↓↑], )(?:{_GRADE})(?P<comma>,) ?(?:{_GRADE})(?![\w+/]|[.,] ?[\d+↓↑])"
)
_WORD = (
    r"(?:up|down)(?:going)?|flexor|extensor|mute|equivocal|absent|present|positive|negative|pos|neg"
    r"|brisk|normal"
)
_COMMA_WORDS = re.compile(
    rf"(?<=[:)] )(?:{_WORD})(?P<comma>,) ?(?:{_WORD})(?=\s*(?:[.;\r\n]|$))", re.IGNORECASE
)
_EMPTY_LINE = re.compile(r"\n[ \t]*\r?\n")


def plain_writing(text: str) -> str:
    """The text with blanks made of spaces where a value stands on them, and `2,1` as `2/1` under "(R,L)"."""
    if "_" in text:
        for blank in _BLANKS:
            text = blank.sub(_without_blanks, text)
        text = _KEY.sub(_without_blanks, text)
    if "{" in text and _NESTED.search(text) is not None:
        text = text.translate(_BRACES)
    if "," in text and (order := _ORDER.search(text)) is not None:
        text = _with_pairs(text, order)
    return text


def _without_blanks(match: re.Match[str]) -> str:
    return match[0].replace("_", " ")


def _with_pairs(text: str, order: re.Match[str]) -> str:
    """The text with the pairs of the part that a pair of sides heads."""
    empty = _EMPTY_LINE.search(text, order.end())
    end = empty.start() if empty else len(text)
    pairs = [*_COMMA_PAIR.finditer(text, order.end(), end), *_COMMA_WORDS.finditer(text, order.end(), end)]
    letters = list(text)
    for found in (order, *pairs):
        letters[found.start("comma")] = "/"
    return "".join(letters)
