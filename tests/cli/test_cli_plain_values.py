"""Values that pass by the converter of the command line's library are what it would have made of them."""

import shlex
import subprocess
import sys
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
import typer
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from converter.cli.app import COMMANDS, program_with
from converter.cli.plain_values import pass_plain_values


def commands(*, plain: bool) -> dict[str, Any]:
    """Every command, as the program makes it or as the library does."""
    made: Any = typer.main.get_command(program_with(COMMANDS))
    for name in COMMANDS if plain else ():
        pass_plain_values(made.commands[name], getattr(import_module(f"converter.cli.{name}"), name))
    return dict(made.commands)


PLAIN, USUAL = commands(plain=True), commands(plain=False)
VALUES = [
    *("", "-", "a.csv", ".", "é", "0", "1", "007", "-3", "65536", "9" * 30, "1.5"),
    *("jsonl", "text", "TEXT", "R5"),
]


def outcome(command: Any, name: str, arguments: list[str]) -> Any:
    """The values that a command gets, with their types, or what is said of a mistake."""
    try:
        given = command.make_context(name, [*arguments]).params
    except Exception as error:
        return type(error), str(getattr(error, "message", error))
    kept = {key: list(value) if isinstance(value, list | tuple) else value for key, value in given.items()}
    return {key: (type(value), value) for key, value in kept.items() if value not in (None, [])}


def options_of(name: str) -> list[str]:
    return sorted({option for one in USUAL[name].params for option in (*one.opts, *one.secondary_opts)})


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_every_command_gets_the_same_values_either_way(data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(COMMANDS))
    words = st.sampled_from(["-h", *(option for option in options_of(name) if option.startswith("--"))])
    arguments = data.draw(st.lists(words | st.sampled_from(VALUES), max_size=6))
    assert outcome(PLAIN[name], name, arguments) == outcome(USUAL[name], name, arguments)


@pytest.mark.parametrize("name", COMMANDS)
def test_each_option_takes_each_value_alike(name: str) -> None:
    required = ["--out", "out"] if name in ("convert", "export", "demo") else []
    for option in options_of(name):
        for value in VALUES:
            arguments = ["a.csv", *required, *([option, value] if option.startswith("--") else [value])]
            assert outcome(PLAIN[name], name, arguments) == outcome(USUAL[name], name, arguments)


def test_a_path_that_may_not_be_read_is_left_to_the_library(tmp_path: Path) -> None:
    closed = tmp_path / "closed.toml"
    closed.write_text("")
    closed.chmod(0)
    arguments = ["a.csv", "--config", str(closed)]
    assert outcome(PLAIN["read"], "read", arguments) == outcome(USUAL["read"], "read", arguments)


@pytest.mark.parametrize(
    "line", ["read a.txt", "read a.txt --format jsonl --out b.jsonl --workers 2", "read a.txt --format=csv"]
)
def test_a_plain_command_line_needs_no_converter(tmp_path: Path, line: str) -> None:
    (tmp_path / "a.txt").write_text("KJ 2+/2+")
    code = f"""
import sys
from converter.cli.app import main
sys.argv = ["plexor", *{shlex.split(line)!r}]
try:
    main()
except SystemExit as end:
    print("STATUS", end.code, "pydantic" in sys.modules, file=sys.stderr)
"""
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=tmp_path
    )
    assert done.stderr.splitlines()[-1] == "STATUS 0 False"
