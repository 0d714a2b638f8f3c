"""The manual of the word lists says what they hold: every role, with an example that is true, and flag."""

import re
from collections.abc import Iterator
from pathlib import Path

from word_files import found_in, table, word_list

from converter.words import shipped_vocabulary
from converter.words.phrases import tokens_of, wordings
from converter.words.vocabulary import ROLES, SHIPPED

README = (SHIPPED / "README.md").read_text(encoding="utf-8")


def rows_under(heading: str) -> Iterator[list[str]]:
    """The cells of the table under a heading, without its two head lines."""
    part = re.split(r"^#+ ", README.partition(f" {heading}\n")[2], maxsplit=1, flags=re.MULTILINE)[0]
    lines = [line for line in part.splitlines() if line.startswith("|")]
    for line in lines[2:]:
        yield [cell.strip().replace(r"\|", "|") for cell in re.split(r"(?<!\\)\|", line)[1:-1]]


def test_the_roles_are_those_of_the_loader() -> None:
    named = [row[0].strip("`") for row in rows_under("Roles")]
    assert sorted(named) == sorted(ROLES)


def test_every_example_of_a_role_has_that_role() -> None:
    vocabulary = shipped_vocabulary()
    for role, _, example, _ in rows_under("Roles"):
        if not example:
            assert not [row for row in vocabulary.rows if row.role == role.strip("`")]
            continue
        found = vocabulary.words.longest(tokens_of(example), 0)
        assert found is not None, example
        assert (found[0].role, found[1]) == (role.strip("`"), len(tokens_of(example))), example


def test_the_flags_are_those_of_the_lists_on_the_roles_named() -> None:
    shipped = {(flag, row.role) for row in shipped_vocabulary().rows for flag in row.flags}
    named = {
        (flag.strip("`"), role)
        for flag, roles, _ in rows_under("Flags")
        for role in roles.split(", ")
        if role != "any"
    }
    assert named == shipped


def test_the_notation_stands_for_the_wordings_shown() -> None:
    for notation, stands_for in rows_under("Notation"):
        assert sorted(wordings(notation.strip("`"))) == sorted(stands_for.split(", "))


def test_every_file_of_the_folder_is_named() -> None:
    files = {file.name for file in SHIPPED.iterdir() if file.suffix in (".csv", ".toml")}
    assert files == {name for name in re.findall(r"`(\w+\.(?:csv|toml))`", README) if name != "plexor.toml"}


def test_the_examples_can_be_used_as_they_stand(tmp_path: Path) -> None:
    blocks = dict(re.findall(r"```(\w*)\n((?:phrase|\[clinic)[^`]*)```", README))
    rows = blocks[""].splitlines()[1:]
    assert found_in(table(tmp_path, blocks["toml"]), word_list(tmp_path, *rows)) == []


def test_the_codes_of_the_check_are_those_that_it_gives() -> None:
    code = "".join(
        Path(SHIPPED / name).read_text(encoding="utf-8")
        for name in ("word_lists.py", "tables.py", "report.py")
    )
    given = set(
        re.findall(
            r'(?:problem(?:_at)?\((?:row, )?|yield |yield \(\s*)"([a-z]+-[a-z-]+|collision|unreachable)"',
            code,
        )
    )
    given |= set(re.findall(r'"(collision|unreachable)"', code))
    named = {
        name for row in rows_under("What the check finds") for name in re.findall(r"`([a-z-]+)`", row[0])
    }
    assert given == named
