"""Proposed rows of a local word list, with the notes behind each, as a file for a person to go through.

Takes proposals; gives the text of a word list in the format of `words/README.md`. What nobody can know but a
person stands in it as a comment.
"""

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

_SHOWN = 10
_HEAD = """\
# Proposed rows for a word list of your own. Nothing here is in force: go through it line by line, delete what
# is wrong, fill in what stands behind a #, and name the file under [vocabulary] in plexor.toml. Then read the
# notes again and look at what changed (plexor read --against). Wording of notes can hold names: look first.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """One row that would make the reader read as persons did.

    Attributes:
        phrase: the wording.
        role: what it is to the grammar; empty where only a person can tell.
        meaning: its canonical value; empty where the role says all.
        flags: further facts.
        why: where it comes from, e.g. `corrected by a person`.
        notes: the notes behind it.
        others: notes without a judgement that the row would read otherwise.
    """

    phrase: str
    role: str = ""
    meaning: str = ""
    flags: str = ""
    why: str
    notes: tuple[str, ...]
    others: tuple[str, ...] = ()


def word_list(proposals: Iterable[Proposal], origin: str) -> str:
    """The word list; a proposal without a role is a comment.

    Args:
        proposals: in the order in which they are to stand.
        origin: what they were made from, for the head.
    """
    text = io.StringIO()
    text.write(f"{_HEAD}# Made from {_flat(origin)}.\n")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(("phrase", "role", "meaning", "flags", "source"))
    for one in proposals:
        text.write(f"# {_flat(one.why)}: {_listed(one.notes)}\n")
        if one.others:
            text.write(f"# would also change what is read in {_listed(one.others)}\n")
        source = f"{one.why} in {len(one.notes)} notes"
        row = (one.phrase, one.role, one.meaning, one.flags, source)
        text.write("" if one.role else "# ")
        writer.writerow([_flat(cell) for cell in row])
    return text.getvalue()


def _listed(notes: Sequence[str]) -> str:
    shown = ", ".join(_flat(name) for name in notes[:_SHOWN])
    more = f" and {len(notes) - _SHOWN} more" if len(notes) > _SHOWN else ""
    return f"{len(notes)} {'note' if len(notes) == 1 else 'notes'}: {shown}{more}"


def _flat(text: str) -> str:
    """Text on one line."""
    return " ".join(text.split())
