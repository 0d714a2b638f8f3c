"""The compiled reader gives the same bytes as the interpreted one, for written notes and derived sentences.

`make compiled` builds it; `PLEXOR_COMPILED` names its Python. Where the variable is unset the tests skip.
"""

import json
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from derivations import Deriver, written
from grammar_file import FILE, read_grammar
from grammar_frames import makes_sense_in
from written_notes import written_notes

from converter.reading.grammar.rules import RULES

RUN = "from converter.cli.app import main; main()"
OF_EACH_RULE = 60


@pytest.fixture(scope="module")
def compiled() -> str:
    """The Python of the environment with the compiled reader; with `-E` it looks past the sources."""
    python = os.environ.get("PLEXOR_COMPILED")
    if not python:
        pytest.skip("PLEXOR_COMPILED is not set: no compiled reader to compare with")
    return str(Path(python).absolute())


def test_the_reader_is_machine_code(compiled: str, tmp_path: Path) -> None:
    names = [
        "reader",
        "tokens",
        "relevance.prefilter",
        "layouts.tables",
        "sentences.statuses",
        "grammar.rules",
    ]
    show = "; ".join(f"import converter.reading.{name} as module; print(module.__file__)" for name in names)
    files = _output([compiled, "-E", "-c", show], tmp_path).decode().split()
    assert len(files) == len(names)
    assert all(Path(file).suffix in (".so", ".pyd") for file in files), files


@pytest.mark.parametrize("workers", ["1", "2"])
def test_written_notes_and_derived_sentences_read_the_same(
    compiled: str, tmp_path: Path, workers: str
) -> None:
    notes = tmp_path / "notes.jsonl"
    texts = {**written_notes(), **_derived()}
    texts["all in one"] = "\n\n".join(written_notes().values())
    lines = [json.dumps({"id": name, "text": text}) for name, text in texts.items()]
    notes.write_text("\n".join(lines), encoding="utf-8")
    read = ["-c", RUN, "read", str(notes), "--format", "jsonl", "--workers", workers]
    ours = _output([compiled, "-E", *read], tmp_path)
    assert len(ours.splitlines()) == len(texts)
    assert ours == _output([sys.executable, *read], tmp_path)


def test_notes_of_outside_read_the_same(compiled: str, outside: Path, tmp_path: Path) -> None:
    read = ["-c", RUN, "read", str(outside / "corpus" / "notes.jsonl.gz"), "--format", "jsonl"]
    ours = _output([compiled, "-E", *read], tmp_path)
    assert ours.count(b"\n") > 1000
    assert ours == _output([sys.executable, *read], tmp_path)


def _derived() -> dict[str, str]:
    """Sentences of each rule, derived from the grammar at random, always the same ones."""
    grammar = read_grammar(FILE.read_text(encoding="utf-8"))
    made: dict[str, str] = {}
    for rule in RULES:
        name = rule.__name__
        deriver = Deriver(grammar, random.Random(name), makes_sense_in(name))
        made |= {f"{name} {n}": f"Reflexes: {written(deriver.derive(name))}." for n in range(OF_EACH_RULE)}
    return made


def _output(command: list[str], folder: Path) -> bytes:
    """What a command prints, run where no sources stand beside it."""
    ended = subprocess.run(command, capture_output=True, cwd=folder, timeout=300, check=False)
    assert ended.returncode in (0, 1), ended.stderr.decode()
    return ended.stdout
