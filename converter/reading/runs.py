"""Parts runs of names, sides and grades that stand without commas: "KJ 3+ R 2+ L AJ 1+ R 0 L".

Takes the tokens of a sentence; puts a comma of no width where one reflex ends and the next begins.
Whether a side belongs to the grade before it or to the name after it is decided from the whole run.
"""

import re

from converter.reading.tokens import Token

_LETTERS = {
    "site": "H",
    "region": "H",
    "reflex": "N",
    "side": "S",
    "value": "V",
    "count": "V",
    "comma": ",",
    "slash": ",",
    "and": ",",
    "colon": "-",
    "equals": "-",
    "is": "-",
    "open": "-",
    "close": "-",
}
"""What a token is to a run; any other ends it."""
_RUN = re.compile(r"H[HSV,-]{4,}")
_LEADS = re.compile(r",S-*H|S-+H")
"""A side that leads a name: behind a comma, or with a colon."""
_GROUP = re.compile(r"H[H,-]*([SV,-]*)")
_SAID = re.compile(r"V|VS|VSVS|SV|SVSV")


def part_runs(tokens: list[Token]) -> None:
    """Put commas between the reflexes of each run whose sides belong to the grades."""
    letters = "".join(_letter(tokens, index) for index in range(len(tokens)))
    for run in reversed(list(_RUN.finditer(letters))):
        led = letters[run.start() - 1 : run.start()] in ("S", "V")
        for start in reversed([] if led else _beginnings(run[0])):
            end = tokens[run.start() + start - 1].end
            tokens.insert(run.start() + start, Token("comma", end, end))


def _letter(tokens: list[Token], index: int) -> str:
    token = tokens[index]
    if token.kind == "region" and token.flags & {"part", "all"}:
        return "."
    if token.kind == "reflex" and index and tokens[index - 1].kind in ("site", "region"):
        return "-"
    return _LETTERS.get(token.kind, ".")


def _beginnings(run: str) -> list[int]:
    """Where the further reflexes begin, in a run whose sides belong to the grades."""
    if _LEADS.search(run):
        return []
    groups = list(_GROUP.finditer(run))
    said = [re.sub(r"V+", "V", re.sub("[,-]", "", group[1])) for group in groups]
    if not all(_SAID.fullmatch(one) for one in said) or not (
        said[-1].endswith("S") or "SVSV" in said or "VSVS" in said
    ):
        return []
    return [group.start() for group in groups[1:] if run[group.start() - 1] in "SV-"]
