"""A site's own files are checked whole: every problem is found, each at its place."""

from pathlib import Path

import pytest
from word_files import REFLEX, SCALE, checked, found_in, table, word_list

from converter.model import Severity
from converter.words import VocabularyError, load_vocabulary


def test_a_sound_file_has_nothing_wrong(tmp_path: Path) -> None:
    file = word_list(
        tmp_path,
        "patellar tap[s], site, patellar, trigger, ours",
        "kick of the shin, reflex, , trigger, ours",
    )
    assert checked(file) == ()


@pytest.mark.parametrize(
    ("row", "code", "words"),
    [
        ("kj, site, achilles, trigger, x", "collision", "already means site 'patellar' in sites.csv:"),
        ("shin kick, site, shin, trigger, x", "dangling-meaning", "means 'shin', which is no site"),
        ("shin kick, site, patellar:root=L9, trigger, x", "dangling-meaning", "no site"),
        ("form of ours, legend, our-scale, , x", "dangling-meaning", "no legend"),
        ("zippy, value, very brisk, , x", "dangling-meaning", "no value"),
        ("hither, side, port, , x", "dangling-meaning", "no side"),
        ("whole of him, region, patellar, , x", "dangling-meaning", "no region"),
        ("his lot, region, upper_limb_all:port, , x", "dangling-meaning", "no region"),
        ("with a bounce, quality, , , x", "dangling-meaning", "no quality"),
        ("as ever, before, same, , x", "dangling-meaning", "no before"),
        ("form 9, heading_other, plan, , x", "dangling-meaning", "no heading_other"),
        ("zippy, adjective, brisk, , x", "unknown-role", "a known role"),
        (", value, brisk, , x", "unknown-role", "needs a phrase"),
        ("[q], value, brisk, , x", "empty-wording", "allows an empty wording"),
        ("shin [kick[s]], site, patellar, trigger, x", "bad-notation", "brackets must be closed"),
        ("shin kick, jerk, site, patellar, trigger, x", "too-many-cells", "more cells"),
    ],
)
def test_what_cannot_be_used_is_an_error(tmp_path: Path, row: str, code: str, words: str) -> None:
    found = checked(word_list(tmp_path, row))
    assert [(one.code, one.line, one.severity) for one in found] == [(code, 2, Severity.ERROR)]
    assert words in found[0].message
    with pytest.raises(VocabularyError, match=r"ours\.csv:2"):
        load_vocabulary([tmp_path / "ours.csv"])


@pytest.mark.parametrize(
    ("row", "code", "words"),
    [
        ("2+, value, normal, , x", "unreachable", "a grade"),
        ("x3, value, brisk, , x", "unreachable", "a number of times"),
        ("3rd blow, value, brisk, , x", "unreachable", "the words '3rd' and 'blow'"),
        ("shin kick, site, patellar, triger, x", "unknown-flag", "'triger', which nothing looks at"),
        ("kick of the shin, value, brisk, override, x", "overrides-nothing", "no shipped row"),
        (
            "knee jurk, site, achilles, trigger, x",
            "near-duplicate",
            "nearly 'knee jerk', which means site patellar",
        ),
        ("kneee jerk, site, patellar, trigger, x", "near-duplicate", "already means the same"),
    ],
)
def test_what_is_doubtful_is_said(tmp_path: Path, row: str, code: str, words: str) -> None:
    file = word_list(tmp_path, row)
    found = [one for one in checked(file) if one.code == code]
    assert found
    assert found[0].line == 2
    assert found[0].severity in (Severity.WARNING, Severity.INFORMATION)
    assert words in found[0].message
    load_vocabulary([file])


def test_every_problem_of_a_file_is_listed_and_not_the_first_alone(tmp_path: Path) -> None:
    file = word_list(
        tmp_path, "kj, site, achilles, trigger, x", "# a comment, which counts as a line",
        "shin kick, site, shin, trigger, x", "zippy, adjective, brisk, , x", "aj, site, patellar, trigger, x",
    )  # fmt: skip
    assert found_in(file) == [
        ("collision", 2), ("dangling-meaning", 4), ("unknown-role", 5), ("collision", 6),
    ]  # fmt: skip
    with pytest.raises(VocabularyError, match="3 more"):
        load_vocabulary([file])


def test_a_row_collides_with_one_of_another_own_file(tmp_path: Path) -> None:
    first = word_list(tmp_path, "shin kick, site, patellar, trigger, x", name="first.csv")
    second = word_list(tmp_path, "shin kick, site, achilles, trigger, x", name="second.csv")
    (found,) = checked(first, second)
    assert (found.source, found.line, found.code) == (str(second), 2, "collision")
    assert f"{first}:2" in found.message


def test_an_override_changes_a_meaning_and_is_no_collision(tmp_path: Path) -> None:
    file = word_list(tmp_path, "kj, site, achilles, trigger override, x")
    assert checked(file) == ()
    found = load_vocabulary([file]).words.longest(("kj",), 0)
    assert found is not None
    assert found[0].meaning == "achilles"


def test_a_row_that_a_later_one_overrides_is_unreachable(tmp_path: Path) -> None:
    file = word_list(
        tmp_path, "kj, site, achilles, trigger override, x", "kj, site, triceps, trigger override, x"
    )
    assert found_in(file) == [("unreachable", 2)]


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"wording;role;meaning\n", "no-columns"),
        (b"phrase;role;meaning;flags;source\nkj;site;patellar;;\n", "no-columns"),
        (b"phrase, role, meaning\n\xff\xfe, value, brisk\n", "unreadable-list"),
        (b"", "no-columns"),
    ],
)
def test_a_file_that_is_no_word_list_is_said(tmp_path: Path, content: bytes, code: str) -> None:
    file = tmp_path / "ours.csv"
    file.write_bytes(content)
    assert [found for found, _ in found_in(file)] == [code]


def test_a_list_as_a_spreadsheet_saves_it_is_read(tmp_path: Path) -> None:
    file = tmp_path / "ours.csv"
    file.write_bytes(
        b'\xef\xbb\xbfphrase,role,meaning,flags,source\r\n"shin kick, hard",site,patellar,trigger,x\r\n'
    )
    assert checked(file) == ()
    assert load_vocabulary([file]).rows[-1].phrase == "shin kick, hard"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (SCALE.replace("clinic-scale", "bedside"), "collision"),
        (SCALE.replace("source =", "denominator = 4\nsource ="), "collision"),
        (SCALE.replace("source =", "denominator = 3\nsource ="), "unreachable"),
        (SCALE.replace('level = "high"', 'level = "brisk"'), "bad-grades"),
        (SCALE.replace("grade = 1", "grade = 2"), "bad-grades"),
        (SCALE.replace("grade = 1", "grade = 1.3"), "bad-grades"),
        (SCALE.replace("title", "heading"), "unknown-key"),
        (SCALE.replace("clinic-scale", '"Our Scale"'), "bad-id"),
        (REFLEX.replace("sternal", "patellar"), "collision"),
        (REFLEX.replace('"stretch"', '"plantar"'), "bad-kind"),
        (REFLEX.replace('"stretch"', '["stretch"]'), "bad-kind"),
        (REFLEX.replace('"stretch"', '"clonus"'), "bad-id"),
        (REFLEX.replace('"upper"', '"arm"'), "bad-limb"),
        (REFLEX.replace("paired = true", "paired = 'yes'"), "missing-key"),
        (REFLEX + "covers = ['shin']\n", "dangling-id"),
        (REFLEX + "main = true\n", "unknown-key"),
        ("[sternal]\nlabel = 'Sternal reflex'\n", "unknown-entry"),
        ("sternal = 1\n", "unknown-entry"),
        ("[sternal\n", "unreadable-table"),
    ],
)
def test_a_table_that_is_wrong_is_said(tmp_path: Path, text: str, code: str) -> None:
    file = table(tmp_path, text)
    assert code in [found for found, _ in found_in(file)]
    with pytest.raises(VocabularyError, match=r"ours\.toml"):
        load_vocabulary([file])


def test_own_scales_and_reflexes_are_loaded_and_change_the_fingerprint(tmp_path: Path) -> None:
    both = table(tmp_path, SCALE + REFLEX)
    vocabulary = load_vocabulary([both])
    assert checked(both) == ()
    assert vocabulary.scales["clinic-scale"].level(3, 3) == "high"
    assert vocabulary.reflexes["sternal"].limb == "upper"
    alone = load_vocabulary([table(tmp_path, SCALE)])
    assert len({vocabulary.fingerprint, alone.fingerprint, load_vocabulary().fingerprint}) == 3
