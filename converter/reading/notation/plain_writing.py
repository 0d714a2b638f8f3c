"""Writes marks plainly: circled sides and signs, blanks, names of fields, slashed columns, comma pairs.

Takes the text of a note; gives a text of the same length, so that every place stays what it was. What the
marks enclose is left as it is.
"""

import re

_CIRCLED = str.maketrans("ⓇⓁⓡⓛ⊕⊖⊝➕➖", "RLRL+--+-")
"""Circled letters for sides and circled signs, as hands write them; "2⊕" is no grade with a plus."""
_EQUAL_SIDES = re.compile(r"(?<=\b[RrLl])( ?)≈( ?)(?=[RrLl]\b)")
_COMPARED = str.maketrans({"≠": ",", "≈": ","})
"""Marks between the values of two sides, each of which is written."""
_CIRCLED_R = re.compile(r"(?<!\S)®(?!\S)|(?<=\()®(?=\))")
"""A circled R that stands alone; behind a word it marks a name."""
_GRADE = r"[0-5]\+?|\+{1,4}|[↓↑±]"
_BLANKS = (
    re.compile(rf"(?<![^\W_])_+ (?:{_GRADE}) _+"),
    re.compile(r"(?<!\w)_+[^\W_](?:[^_\r\n]{0,14}[^\s_])?_+(?!\w)"),
    re.compile(r"(?<!\w)_+(?= ?[+\d↑↓±])"),
    re.compile(r"(?<=[\d+↑↓±])_+(?!\w)"),
)
"""A value with a blank on both sides, touching it or not; a word on a blank; a value behind or before one."""
_NESTED = re.compile(r"[\"'][A-Za-z_ ]+[\"']\s*:\s*\{")
_BRACES = str.maketrans({"{": " ", "}": ";", '"': " "})
"""Keys with values in braces: each closing brace ends what its key is about."""
_ORDER = re.compile(
    r"[(\[](?:R|Rt|Right|L|Lt|Left)(?P<comma>[,/]) ?(?:R|Rt|Right|L|Lt|Left)[)\]]", re.IGNORECASE
)
_COMMA_PAIR = re.compile(
    rf"(?<![\w.,+/])(?<![\d+↓↑], )(?:{_GRADE})(?P<comma>,) ?(?:{_GRADE})(?![\w+/]|[.,] ?[\d+↓↑])"
)
_SIDED = r"(?:[0-4]\+?|\+{1,4}),(?:[0-4]\+?|\+{1,4})(?![\w+/]|[.,]\d)"
_PAIR_RUN = re.compile(rf"(?:\b[A-Za-z]{{1,16}}(?: [A-Za-z]{{1,8}})?:? ?{_SIDED}[;,]?[ \t]*){{2,}}")
"""Names with a pair each, one behind the other: "BJ 2,1 TJ 2,2"; one alone may be a decimal number."""
_BOXED_GRADE = re.compile(r"\[ ?(?:[0-4]\+|\+{2,4}) ?\]")
_BOXED = re.compile(r"\[ ?(?:[0-4]\+?|\+{1,4}) ?\]")
"""A grade in a box, "[2+]"; a digit alone may be the mark of a reference unless grades stand in boxes too."""
_WORD = (
    r"(?:up|down)(?:going)?|flexor|extensor|mute|equivocal|absent|present|positive|negative|pos|neg"
    r"|brisk|normal"
)
_COMMA_WORDS = re.compile(
    rf"(?<=[:)] )(?:{_WORD})(?P<comma>,) ?(?:{_WORD})(?=\s*(?:[.;\r\n]|$))", re.IGNORECASE
)
_SEMICOLON = re.compile(
    rf"^(?P<name>[^;\r\n]*[^\W\d_]);(?=(?:[+\d↑↓]|(?:{_WORD})\b)[^;\r\n]*$)", re.IGNORECASE | re.MULTILINE
)
"""What parts a name from its value in an export: "Patellar R;3+"."""
_IN_FIELD = re.compile(r"(?<=[^\W_])_{1,2}(?=[^\W_])")
"""What joins the words of a field: `reflex_knee_right`."""
_QUOTED = re.compile(r'"[^"\r\n]{1,60}"(?=[ \t]*:)|(?<=:)[ \t]*"[^"\r\n]{1,60}"')
"""A quoted name of a field, and its quoted value."""
_SIDE = r"(?:R|Rt|Right|L|Lt|Left)"
_STOPPED_FIELD = re.compile(
    rf"(?<![\w.])[^\W\d_]+(?:(?:\.[^\W\d_]+)+\.|\.(?={_SIDE}\b))[^\W\d_]+(?=[ \t]*[:=])", re.IGNORECASE
)
"""The same with stops: `dtr.knee.r =`. One alone may end a sentence, unless a side follows: `knee.left:`."""
_BEATS_OF_SIDES = re.compile(r"(?<=\db)[/ ](?=[RL] ?\d{1,2}b\b)")
"""What parts the beats of clonus of two sides: "R2b/L2b", "R 2b L 3b"."""
_EQUALS_BETWEEN = re.compile(r"(?<=[\d+] )=(?= (?:R|L|Rt|Lt) ?[\d+])")
"""What stands between two sides that both have a value: "R 2+ = L 2+"."""
_COMMA_RUN = re.compile(
    r"(?<=\b[RL] )[0-5]\+?(?:,[0-5]\+?){2,7}(?![\d,.]\d)|(?<=\b[RL]: )[0-5]\+?(?:,[0-5]\+?){2,7}(?![\d,.]\d)"
)
"""Grades of a side for several names: "R 2,2,3; L 2,1,2"."""
_EMPTY_LINE = re.compile(r"\n[ \t]*\r?\n")


_SLASH = re.compile(r"(?<!\S)/(?!\S)")
_VALUE = re.compile(r"[\d+↑↓]")
_FEWEST_SLASHES, _FEWEST_LINES = 2, 2


def plain_writing(text: str) -> str:
    """The text with spaces for blanks and for the marks inside names, and `2/1` for `2,1` under "(R,L)"."""
    if not text.isascii():
        text = _CIRCLED_R.sub("R", text.translate(_CIRCLED))
        text = _EQUAL_SIDES.sub(r"\1=\2", text).translate(_COMPARED)
    if "_" in text:
        for blank in _BLANKS:
            text = blank.sub(_without_blanks, text)
        text = _IN_FIELD.sub(_without_blanks, text)
    if "+" in text and "[" in text and len(_BOXED_GRADE.findall(text)) > 1:
        text = _BOXED.sub(lambda match: match[0].replace("[", " ").replace("]", " "), text)
    if "{" in text and _NESTED.search(text) is not None:
        text = text.translate(_BRACES)
    if '":' in text or '" :' in text:
        text = _QUOTED.sub(_without_quotes, text)
    if "." in text:
        text = _STOPPED_FIELD.sub(_without_stops, text)
    if ";" in text:
        text = _SEMICOLON.sub(r"\g<name>:", text)
    text = with_slashed_columns(text)
    text = _BEATS_OF_SIDES.sub(",", text)
    if "=" in text:
        text = _EQUALS_BETWEEN.sub(",", text)
    if "," in text:
        text = _COMMA_RUN.sub(lambda match: match[0].replace(",", "/"), text)
        text = _PAIR_RUN.sub(_with_slashes, text)
    if "," in text and (order := _ORDER.search(text)) is not None:
        text = _with_pairs(text, order)
    return text


def _without_blanks(match: re.Match[str]) -> str:
    return match[0].replace("_", " ")


def _without_quotes(match: re.Match[str]) -> str:
    return match[0].replace('"', " ")


def _without_stops(match: re.Match[str]) -> str:
    return match[0].replace(".", " ")


def _with_slashes(run: re.Match[str]) -> str:
    return re.sub(_SIDED, lambda pair: pair[0].replace(",", "/", 1), run[0])


def _with_pairs(text: str, order: re.Match[str]) -> str:
    """The text with the pairs of the part that a pair of sides heads."""
    empty = _EMPTY_LINE.search(text, order.end())
    end = empty.start() if empty else len(text)
    pairs = [*_COMMA_PAIR.finditer(text, order.end(), end), *_COMMA_WORDS.finditer(text, order.end(), end)]
    letters = list(text)
    for found in (order, *pairs):
        letters[found.start("comma")] = "/"
    return "".join(letters)


_PAIRED_SIDES = re.compile(
    r"\s*(?:(?:R|L|Right|Left) / (?:R|L|Right|Left)(?:\s{2,}|\s*$)){2,}", re.IGNORECASE
)
"""Heads of pairs, "R / L     R / L": there a slash parts the values of one column."""


def with_slashed_columns(text: str) -> str:
    """The text with pipes for the slashes that part columns: heads without a value, and rows under them."""
    if "/ " not in text or "\n" not in text:
        return text
    lines = text.splitlines(keepends=True)
    counts = [len(_SLASH.findall(line)) for line in lines]
    start = 0
    while start < len(lines):
        end = start + 1
        while end < len(lines) and counts[end] == counts[start] >= _FEWEST_SLASHES:
            end += 1
        heads = _VALUE.search(lines[start]) is None and _PAIRED_SIDES.fullmatch(lines[start]) is None
        if end - start >= _FEWEST_LINES and heads:
            lines[start:end] = [_SLASH.sub("|", line) for line in lines[start:end]]
        start = end
    return "".join(lines)
