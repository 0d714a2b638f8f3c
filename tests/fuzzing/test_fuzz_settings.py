"""Damaged settings and the files that they name: used, or refused in sentences that name the file."""

from pathlib import Path

import pytest
from fuzz_budget import tried
from fuzz_damage import Change, changes, damaged, parted
from hanging import ends_soon
from hypothesis import given

from converter.api import open_session, read
from converter.settings import SettingsError, load_settings
from converter.words import VocabularyError

FILES = {
    "plexor.toml": """[notes]
system = "https://clinic.example/notes"
encoding = "utf-8"
file_name = "{patient}-{authored}"
columns = {text = "NOTE_TEXT", id = "NOTE_ID"}
sections = ["examination", "8705-6"]
[vocabulary]
files = ["own.csv", "own.toml"]
[reading]
default_scale = "ninds"
pair_order = "left-right"
figure_rows = ["biceps", "patellar"]
[assess]
side_difference = 1
marked = 2.0
leave_out = []
ankle_age = 80
brief_clonus_beats = 3
abnormal_clonus_beats = 5
[fhir]
canonical = "https://clinic.example/fhir"
status = "final"
subject = "literal"
patient_ids = "ids.csv"
zone = "Australia/Hobart"
quotes = false
release = "R5"
[profiles]
folders = ["."]
[archive]
file = "findings.duckdb"
""",
    "own.csv": """# a site's own words
phrase,role,meaning,flags,source
hammer twitch,site,patellar,,site list
"(big|small) kick",value,brisk,,site list
[the] squat reflex,site,achilles,override,site list
lamps,region,lower_limb_all:left,,site list
lively,value,brisk,override,site list
""",
    "own.toml": """[ward_scale]
title = "Ward scale"
source = "site"
grades = [{grade = 0, meaning = "none", level = "absent"}, {grade = 2.5, meaning = "much", level = "high"}]
[ham_tap]
label = "ham tap"
kind = "stretch"
limb = "lower"
paired = true
covers = []
""",
    "ids.csv": "patient,id\np1,a1\np2,a2\n",
}
_TOML = [
    *parted(r"""
    = [ ] { } # , . é \ ~ * { [[ ]] true nan inf -inf 1979-05-27 07:32:00 -1 0 1e400
    999999999999999999999999999999 [] {} \u0000 \ud800 [notes] [notes.columns] text R4 .. / {patient}
    %s (?P<a> utf-16 base64 undefined ../../etc UTC Etc/../UTC posixrules localtime urn:oid:1 grades
    kind level
    """),
    *('"', "'", '\x00', '\ufeff', '"""', '""', '"a"', '\n', '\r', '\t', '\u2028', '9' * 5000),
    *("folder = 'x'", 'a' * 300),
]  # fmt: skip
_ROWS = [
    *parted(r"""
    , ( ) [ ] | # : - é ² İ ß ſ / + . ́ override trigger site value region root=C5 site, patellar left
    joint short letter 2+ no look_alike reflex legend not side achilles
    """),
    *('"', '\x00', '\ufeff', '\n', '\r', ' ', 'a' * 300),
]  # fmt: skip
PIECES = {name: _ROWS if name.endswith(".csv") else _TOML for name in FILES}
NOTE = "Hammer twitch 2+ left, big kick of the ham tap. KJ 2/4, lamps lively."


@pytest.mark.parametrize("name", FILES)
def test_damaged_settings(tmp_path: Path, name: str) -> None:
    for other, text in FILES.items():
        (tmp_path / other).write_text(text, encoding="utf-8")

    @tried(12)
    @given(changes(PIECES[name]))
    def run(done: list[Change]) -> None:
        changed = damaged(FILES[name], done)
        (tmp_path / name).write_bytes(changed.encode("utf-8", "surrogatepass"))
        with ends_soon():
            used_or_refused(tmp_path)

    run()


def used_or_refused(folder: Path) -> None:
    try:
        read(NOTE, open_session(load_settings(folder / "plexor.toml")))
    except (SettingsError, VocabularyError) as refused:
        for sentence in str(refused).split("\n"):
            assert str(folder) in sentence
            assert "Traceback" not in sentence


def test_undamaged_settings_are_used(tmp_path: Path) -> None:
    for other, text in FILES.items():
        (tmp_path / other).write_text(text, encoding="utf-8")
    session = open_session(load_settings(tmp_path / "plexor.toml"))
    (found, *_) = read(NOTE, session).findings
    assert (found.site, found.side, found.as_written) == ("patellar", "left", "2+")
