"""Collects the grammar from the docstrings of the functions that read it: docstrings in, one text out.

Run `python -m converter.reading.grammar.ebnf` to write `reading/grammar.ebnf` anew. The rules come in the
order in which they are tried, after them what they are made of, in the order in which it is first named.
"""

import ast
import inspect
import re
from collections.abc import Iterable, Iterator
from pathlib import Path

FILE = Path(__file__).parent.parent / "grammar.ebnf"
START = "sentence"
HEAD = """\
(* The grammar of reflex notes, collected from the docstrings of `converter/reading/grammar`.
   To change it, change them, and run `python -m converter.reading.grammar.ebnf`.

   lower_case   a shape, defined below
   UPPER_CASE   a word of that role in the word lists of `converter/words`, where the roles are explained; and
     GRADE      a grade as written: 2+, +2, 2/4, 2 out of 4, II/IV, ++, two plus, 1-2+, trace to 1+
     PAIR       two grades for two sides: 2+/1+, ++/+, 2+/trace
     COUNT      a number of beats, or a repeat: 3 beats, x3
     WORD       a word that is in no list
   "quoted"     that mark or word

   The words left out of every sentence (role FILLER) are not shown. *)
"""
_PRODUCTION = re.compile(r"^[ \t]*([a-z_]+) = .*?;[ \t]*$", re.MULTILINE | re.DOTALL)
_NAME = re.compile(r'"[^"]*"|\b([a-z_]+)\b')


def productions_of(docstring: str) -> Iterator[tuple[str, str]]:
    """The productions that a docstring holds: name and text, without the docstring's indentation."""
    for match in _PRODUCTION.finditer(inspect.cleandoc(docstring)):
        yield match[1], match[0]


def grammar_of(docstrings: Iterable[str]) -> str:
    """The text of the grammar file.

    Args:
        docstrings: docstrings of functions, each with or without productions, in any order.

    Raises:
        ValueError: two docstrings define one name, or a name is used and defined nowhere.
    """
    defined: dict[str, str] = {}
    for docstring in docstrings:
        for name, text in productions_of(docstring):
            if name in defined:
                raise ValueError(f"{name} is defined twice")
            defined[name] = text
    ordered = list(_in_order(defined))
    unused = sorted(set(defined) - set(ordered))
    if unused:
        raise ValueError(f"no shape names {', '.join(unused)}")
    return "\n".join([HEAD, *(defined[name] + "\n" for name in ordered)])


def _in_order(defined: dict[str, str]) -> Iterator[str]:
    """Names breadth first from the start, so that a shape stands before what it is made of."""
    ordered = [START]
    for name in ordered:
        if name not in defined:
            raise ValueError(f"{name} is defined nowhere")
        yield name
        used = (match[1] for match in _NAME.finditer(defined[name]))
        ordered += dict.fromkeys(part for part in used if part and part not in ordered)


def docstrings_in(folder: Path) -> Iterator[str]:
    """The docstrings of all functions of a folder's modules."""
    for file in sorted(folder.glob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"), str(file))):
            if isinstance(node, ast.FunctionDef):
                yield ast.get_docstring(node) or ""


def shipped_grammar() -> str:
    """The text that `reading/grammar.ebnf` must hold."""
    return grammar_of(docstrings_in(Path(__file__).parent))


if __name__ == "__main__":
    FILE.write_text(shipped_grammar(), encoding="utf-8")
