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
    "untested": "V",
    "comma": ",",
    "slash": ",",
    "and": ",",
    "colon": "-",
    "equals": "-",
    "is": "-",
    "open": "(",
    "close": ")",
}
"""What a token is to a run; any other ends it."""
RUN_NAMES = frozenset(kind for kind, letter in _LETTERS.items() if letter == "H")
"""Kinds that name what is graded; without one of them there is no run."""
_RUN = re.compile(r"H[HSV,()-]{4,}")
_LEADS = re.compile(r",[(]?S[)-]*H|S-+H")
"""A side that leads a name: behind a comma, or with a colon."""
_GROUP = re.compile(r"H[H,()-]*([SV,()-]*)")
_BLOCKS = re.compile(r"(?<![SHV])(S(?:HV,?){2,})(?<=[V,])(S(?:HV,?){2,})(?![SV])")
_BLOCK_ALONE = re.compile(r"(?:^|^N-?)(S(?:HV){2,})$")
_SAID = re.compile(r"V|VS|VSVS|SV|SVSV")


def part_runs(tokens: list[Token]) -> None:
    """Put commas between the reflexes of each run whose sides belong to the grades."""
    letters = "".join(_letter(tokens, index) for index in range(len(tokens)))
    for run in reversed(list(_RUN.finditer(letters))):
        led = letters[run.start() - 1 : run.start()] in ("S", "V")
        for start in reversed([] if led else _beginnings(run[0])):
            end = tokens[run.start() + start - 1].end
            tokens.insert(run.start() + start, Token("comma", end, end))


def lead_blocks(tokens: list[Token]) -> None:
    """Put a colon behind each side that leads the same names as the other: "R BJ 2 TJ 2 L BJ 2 TJ 1"."""
    letters = "".join(_letter(tokens, index) for index in range(len(tokens)))
    alone = _BLOCK_ALONE.search(letters)
    if alone and tokens[alone.start(1)].meaning in ("left", "right"):
        end = tokens[alone.start(1)].end
        tokens.insert(alone.start(1) + 1, Token("colon", end, end))
        return
    for two in reversed(list(_BLOCKS.finditer(letters))):
        blocks = [tokens[two.start(group) : two.end(group)] for group in (1, 2)]
        names = [[token.meaning for token in block if token.kind == "site"] for block in blocks]
        sides = {block[0].meaning for block in blocks}
        if names[0] == names[1] and sides == {"left", "right"}:
            for group in (2, 1):
                end = tokens[two.start(group)].end
                tokens.insert(two.start(group) + 1, Token("colon", end, end))


def _letter(tokens: list[Token], index: int) -> str:
    token = tokens[index]
    if token.meaning == "clonus_unspecified" or token.flags & {"part", "all"}:
        return "."
    if token.kind == "reflex" and index and tokens[index - 1].kind in ("site", "region"):
        return "-"
    return _LETTERS.get(token.kind, ".")


def _beginnings(run: str) -> list[int]:
    """Where the further reflexes begin, in a run whose sides belong to the grades."""
    if _LEADS.search(run):
        return []
    groups = list(_GROUP.finditer(run))
    said = [re.sub(r"V+", "V", re.sub("[,()-]", "", group[1])) for group in groups]
    if not all(_SAID.fullmatch(one) for one in said) or not (
        said[-1].endswith("S") or "SVSV" in said or "VSVS" in said
    ):
        return []
    return [
        group.start() for group, before in zip(groups[1:], said, strict=False) if _parted(run, group, before)
    ]


def _parted(run: str, group: re.Match[str], before: str) -> bool:
    """Whether a comma is wanting: where a side, or a grade behind its side, ends the group before."""
    return run[group.start() - 1] != "," and (before.endswith("S") or "SV" in before)
