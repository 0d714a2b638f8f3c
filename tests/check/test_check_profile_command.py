"""`plexor profile`: lists, shows and checks profiles, and says what it cannot do."""

from pathlib import Path

import pytest
from check_helpers import profile

from converter.cli.profile import Action
from converter.cli.profile import profile as command
from converter.cli.running import CLEAN, INPUT_ERRORS, CannotRunError


def test_list(capsys: pytest.CaptureFixture[str]) -> None:
    assert command(Action.LIST) == CLEAN
    assert "StructureDefinition/reflex-finding" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["reflex-finding", "Quantity", "http://hl7.org/fhir/StructureDefinition/bp"])
def test_show(capsys: pytest.CaptureFixture[str], name: str) -> None:
    assert command(Action.SHOW, name) == CLEAN
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split() == ["element", "times", "types", "rules"]
    assert len(lines) > 5


def test_show_in_another_release(capsys: pytest.CaptureFixture[str]) -> None:
    assert command(Action.SHOW, "Observation", release="R5") == CLEAN
    assert "triggeredBy" in capsys.readouterr().out


def test_check_of_the_shipped_profiles(capsys: pytest.CaptureFixture[str]) -> None:
    assert command(Action.CHECK) == CLEAN
    assert capsys.readouterr().out == "0 errors, 0 warnings\n"


def test_check_of_a_faulty_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import json

    faulty = profile({"path": "Observation.status", "min": 0})
    (tmp_path / "a.json").write_text(json.dumps(faulty), encoding="utf-8")
    assert command(Action.CHECK, profiles=[tmp_path]) == INPUT_ERRORS
    assert "lower than the base's min" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("action", "name", "release", "words"),
    [
        (Action.SHOW, None, "R4", "needs the name"),
        (Action.SHOW, "nothing", "R4", "no such profile"),
        (Action.LIST, None, "R3", "known are R4, R5"),
    ],
)
def test_what_cannot_be_done(action: Action, name: str | None, release: str, words: str) -> None:
    with pytest.raises(CannotRunError, match=words):
        command(action, name, release=release)


def test_a_tree_keeps_its_indent_and_its_width(capsys: pytest.CaptureFixture[str]) -> None:
    assert command(Action.SHOW, "reflex-summary") == CLEAN
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 140
    assert any(line.startswith("      title ") for line in lines)
    assert any("as Composition.section" in line for line in lines)
