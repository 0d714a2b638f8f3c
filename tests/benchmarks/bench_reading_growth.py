"""Shows how reading time grows with the length of a note, on notes made to be hard.

Run: python tests/benchmarks/bench_reading_growth.py [--size BYTES] [--limit SECONDS] [NAME ...]

Each note repeats a piece, most of them on one line. It is read at a quarter, a half and the whole of the
size; a note read in linear time takes about twice as long at each step. The figures are printed, and the exit
status is 1 where a step takes more than three times as long.
"""

import argparse
import sys
import time
from collections.abc import Iterator
from hashlib import sha256
from itertools import pairwise

from converter.model import Note
from converter.reading import read_note
from converter.words import shipped_vocabulary

PIECES = {
    "grades": "2+ ",
    "listed grades": "2+, ",
    "names and grades": "knee jerk 2+, ",
    "names": "knee jerks, ",
    "names joined": "knees and ",
    "no": "no ",
    "denials": "no clonus, ",
    "denied list": "or clonus ",
    "brackets": "(",
    "nested brackets": "(knees (2+ ",
    "sides": "left ",
    "side letters": "R ",
    "sides for names": "left knee jerk, right ",
    "exceptions": "except ankles ",
    "words of manner": "reinforcement ",
    "doubt": "possibly ",
    "joiners": ", and ",
    "pluses": "+",
    "slashes": "2/",
    "digits": "2",
    "pipes": "| 2+ ",
    "unknown words": "reflexes word ",
    "reflex nouns": "reflexes ",
    "untested": "ankle jerks not tested because of ",
    "clonus and beats": "clonus with 3 beats ",
    "earlier": "previously 2+ now 3+ ",
    "otherwise": "otherwise 2+ ",
    "spaces": "                ",
    "legends": "(scale 0-4) ",
    "drawing": "/|\\ ",
    "comparisons": "left > right ",
    "throughout": "throughout ",
    "values then names": "2+ knees ",
    "it": "it was ",
    "respectively": "1+ and 2+ respectively ",
    "lines of nouns": "DTRs\n",
    "lines of names": "Knee jerks:\n",
    "footnotes": "knee jerk 2+*\n* seated\n",
    "table rows": "Reflex  R  L\nKnee  2+  2+\n",
    "drawn lines": "2+ --/|\\-- 2+\n",
    "sides on lines": "Right:\nknee 2+\n",
    "exams": "Exam of 3 March:\nknee jerk 2+\nToday:\nknee jerk 1+\n",
    "empty lines": "\n\n",
    "plain words": "the patient walked home ",
}
LEAD = "Reflexes: "
STEPS = (4, 2, 1)
SUPERLINEAR = 3.0


def seconds_to_read(text: str) -> float:
    """Seconds that one reading takes."""
    note = Note(id="growth", text=text, hash=sha256(text.encode()).hexdigest())
    start = time.perf_counter()
    read_note(note, shipped_vocabulary())
    return time.perf_counter() - start


def measured(piece: str, size: int, limit: float) -> Iterator[tuple[int, float]]:
    """Length and seconds at each step, until a reading takes longer than the limit."""
    for part in STEPS:
        text = LEAD + piece * (size // part // len(piece))
        seconds = seconds_to_read(text)
        yield len(text), seconds
        if seconds > limit:
            return


def growth(figures: list[tuple[int, float]]) -> list[float]:
    """How many times as long each step takes as the one before."""
    return [later / earlier for (_, earlier), (_, later) in pairwise(figures)]


def main() -> int:
    """Print the figures; 1 where one note grows faster than its length."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--size", type=int, default=1_000_000, help="length of the longest note")
    parser.add_argument("--limit", type=float, default=30.0, help="stop a note after a reading this slow")
    parser.add_argument("names", nargs="*", help=f"which notes: {', '.join(PIECES)}")
    given = parser.parse_args()
    seconds_to_read(LEAD + "2+")
    slow = 0
    for name in given.names or PIECES:
        try:
            figures = list(measured(PIECES[name], given.size, given.limit))
        except RecursionError as error:
            slow += 1
            print(f"RAISES {name:18} {error}", flush=True)
            continue
        steps = growth(figures)
        bad = len(figures) < len(STEPS) or any(step > SUPERLINEAR for step in steps)
        slow += bad
        times = "  ".join(f"{length:>9,}: {seconds:8.2f} s" for length, seconds in figures)
        ratios = " ".join(f"x{step:.1f}" for step in steps)
        print(f"{'SLOW' if bad else 'ok  '} {name:20} {times}  {ratios}", flush=True)
    return 1 if slow else 0


if __name__ == "__main__":
    sys.exit(main())
