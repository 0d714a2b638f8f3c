"""The program as a whole: help, examples, start-up, exit statuses and streams."""

import json
import os
import re
import shlex
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import typer
from commands import plexor, program, stop_from_keyboard_works

from converter.cli.app import app
from converter.model import Note, Reading
from converter.reading import read_note

GROUP: Any = typer.main.get_command(app)
COMMANDS = tuple(GROUP.commands)
HEAVY = ("duckdb", "lxml", "fhir", "fhirpathpy", "jinja2", "rich", "converter.reading")


def examples_of(command: str) -> list[str]:
    shown = re.sub(r" {2,}", "\n", plexor(command, "--help").out.partition("Example:")[2])
    return [line.strip() for line in shown.splitlines() if line.strip()]


def test_the_main_job_has_its_commands() -> None:
    assert {"read", "convert", "check", "summary", "load", "find", "demo"} <= set(COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_help_says_what_a_command_does_and_shows_an_example(command: str) -> None:
    ran = plexor(command, "--help")
    assert ran.status == 0
    assert f"Usage: plexor {command}" in ran.out or f"Usage: root {command}" in ran.out or command in ran.out
    assert any(
        line.startswith(f"plexor {command}") or f"| plexor {command}" in line for line in examples_of(command)
    )


@pytest.mark.parametrize("command", COMMANDS)
def test_every_example_of_the_help_is_a_command_line_that_parses(command: str) -> None:
    for example in examples_of(command):
        name, *arguments = shlex.split(example.rpartition("| ")[2].removeprefix("plexor "))
        GROUP.commands[name].make_context(name, arguments)


def test_help_alone_and_no_arguments_show_the_commands() -> None:
    for arguments in (["--help"], []):
        ran = plexor(*arguments)
        assert all(command in ran.out + ran.err for command in COMMANDS)


def test_the_version_is_shown() -> None:
    assert re.fullmatch(r"plexor \d+\.\d+\.\d+\n", plexor("--version").out)


@pytest.mark.parametrize("arguments", [["--help"], *([command, "--help"] for command in COMMANDS)])
def test_help_imports_nothing_heavy(arguments: list[str]) -> None:
    code = f"""
import sys
from converter.cli.app import app
try:
    app({arguments!r})
except SystemExit:
    pass
print("LOADED", *sorted(name for name in sys.modules if name in {HEAVY!r}), file=sys.stderr)
"""
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stderr.splitlines()[-1].split() == ["LOADED"]
    assert "Usage:" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["read"], "INPUT"),
        (["read", "--nonsense", "x"], "--nonsense"),
        (["read", "a.txt", "--format", "xml"], "xml"),
        (["nonsense"], "nonsense"),
        (["read", "nowhere.csv"], "There is no such file or folder."),
        (["read", "a.txt", "--column", "text"], "write FIELD=COLUMN"),
        (["read", "a.txt", "--column", "words=a"], "write FIELD=COLUMN"),
        (["read", "a.txt", "--input-format", "docx"], "no input format docx"),
        (["read", "a.txt", "--encoding", "utf-9"], "no encoding utf-9"),
        (["read", "a.txt", "--config", "none.toml"], "none.toml: the settings cannot be read"),
        (["read", "a.txt", "--out", "no/such/folder/a.jsonl"], "cannot be written"),
        (["convert", "a.txt", "--out", "a.txt"], "a.txt: cannot be written"),
        (["convert", "a.txt"], "--out"),
        (["check", "a.json", "--profiles", "nowhere"], "there is no such folder"),
        (["check", "nowhere.json", "--out", "b.txt"], "there is nothing to check"),
        (["load", "a.txt"], "no archive is named"),
        (["load", "a.txt", "--archive", "no/such/folder/a.duckdb"], "a.duckdb"),
        (["find", "--archive", "none.duckdb"], "there is no archive here"),
        (["find"], "no archive is named"),
        (["find", "--archive", "a", "--site", "patellor"], "did you mean patellar?"),
        (["find", "--archive", "a", "--level", "5"], "known are absent, low, normal, high, clonus"),
        (["find", "--archive", "a", "--grade", "brisk"], "write a grade or a range of grades"),
        (["demo", "--out", "a.txt"], "a.txt: the folder cannot be made"),
    ],
)
def test_what_cannot_run_ends_with_2_and_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], words: str
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("a.txt").write_text("KJ 2+/2+", encoding="utf-8")
    ran = plexor(*arguments)
    assert ran.status == 2
    assert words in ran.err
    assert "Traceback" not in ran.err
    assert ran.out == ""
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.txt"]


def test_bad_settings_end_with_2_and_name_the_key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("plexor.toml").write_text("[fhir]\nstatus = 'draft'\n", encoding="utf-8")
    ran = plexor("read", "-", stdin="KJ 2+")
    assert ran.status == 2
    assert ran.err.startswith("fatal plexor.toml: [fhir] status:")


def test_errors_of_the_input_end_with_1_and_the_rest_goes_through(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    file.write_text("id,text\na,KJ 2+/2+\nb\nc,AJ absent\n", encoding="utf-8")
    ran = plexor("read", file, "--format", "jsonl")
    assert ran.status == 1
    assert [json.loads(line)["id"] for line in ran.out.splitlines()] == ["a", "c"]
    (line,) = ran.err.splitlines()
    assert line.startswith(f"error {file.as_posix()}:3: The row has 1 of the header's 2 columns")
    assert "(too-few-columns)" in line


def test_warnings_alone_end_with_0(tmp_path: Path) -> None:
    file = tmp_path / "a.txt"
    file.write_bytes("Réflexes: KJ 2+/2+".encode("cp1252"))
    ran = plexor("read", file)
    assert ran.status == 0
    assert ran.err.startswith("warning ")


def test_many_warnings_of_a_kind_are_counted_and_errors_are_all_shown(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    rows = [f"n{at},KJ 2+,someday" for at in range(50)] + ["x"] * 30
    file.write_text("\n".join(["id,text,authored", *rows]), encoding="utf-8")
    lines = plexor("read", file, "--format", "jsonl").err.splitlines()
    assert sum("(bad-date)" in line and line.startswith("warning") for line in lines) == 20
    assert lines[-1] == "information: 30 more like these are not shown (bad-date)"
    assert sum("(too-few-columns)" in line for line in lines) == 30


def test_a_reader_that_closes_the_pipe_is_no_trouble(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    file.write_text("id,text\n" + "".join(f"n{at},KJ 2+/2+\n" for at in range(3000)), encoding="utf-8")
    command = [sys.executable, "-c", "from converter.cli.app import main; main()", "read", str(file)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        assert running.stdout.readline().startswith(b"note n0")
        running.stdout.close()
        assert running.stderr.read() == b""
        assert running.wait(timeout=60) == 0


def test_a_command_that_is_stopped_leaves_no_traceback_and_no_half_file(tmp_path: Path) -> None:
    out = tmp_path / "out.jsonl"
    command = [sys.executable, "-c", "from converter.cli.app import main; main()"]
    with subprocess.Popen(
        [*command, "read", "-", "--out", str(out)],
        stdin=subprocess.PIPE,
        stderr=subprocess.PIPE,
        preexec_fn=stop_from_keyboard_works,
    ) as running:
        assert running.stdin is not None
        assert running.stderr is not None
        while not out.with_name("out.jsonl.part").exists():
            assert running.poll() is None
        os.kill(running.pid, signal.SIGINT)
        errors = running.stderr.read()
        assert running.wait(timeout=60) == 130
    assert b"Traceback" not in errors
    assert list(tmp_path.iterdir()) == []


def test_a_fault_of_the_reader_loses_one_note_and_says_so(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def faulty(note: Note, *rest: Any) -> Reading:
        if note.id == "b":
            raise RuntimeError(note.text)
        return read_note(note, *rest)

    monkeypatch.setattr("converter.reading.reader.read_note", faulty)
    file = tmp_path / "a.csv"
    file.write_text("id,text\na,KJ 2+/2+\nb,secret\nc,AJ absent\n", encoding="utf-8")
    ran = plexor("read", file, "--format", "jsonl")
    records = [json.loads(line) for line in ran.out.splitlines()]
    assert ran.status == 1
    assert [record["id"] for record in records] == ["a", "b", "c"]
    assert [record["diagnostics"][0]["code"] for record in records if record["id"] == "b"] == ["reader-fault"]
    assert f"error {file.as_posix()}:3: The program failed on this note" in ran.err
    assert "secret" not in ran.out + ran.err


def test_a_fault_of_the_program_is_one_line_without_words_of_a_note(monkeypatch: pytest.MonkeyPatch) -> None:
    def faulty(*_: object, **__: object) -> None:
        raise KeyError("secret")

    monkeypatch.setattr("converter.api.open_session", faulty)
    ran = plexor("read", "-", stdin="KJ 2+")
    assert ran.status == 2
    assert ran.err.startswith("fatal plexor itself has a fault here (KeyError)")
    assert len(ran.err.splitlines()) == 1
    assert "secret" not in ran.err


def test_results_are_utf8_whatever_the_locale(tmp_path: Path) -> None:
    file = tmp_path / "a.txt"
    file.write_text("KJ 2+/2+ – plantars ↓↓", encoding="utf-8")
    ran = program("read", file, env={"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONIOENCODING": ""})
    assert ran.status == 0
    assert "KJ 2+/2+" in ran.out
