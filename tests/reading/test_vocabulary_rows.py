"""Taking a row of the word lists away never changes what a note says in silence: `unread` grows.

For each row that some case or demo note uses, those notes are read without it. Where a finding then says
something else, at least one of the notes must list further words as not understood.
"""

from collections import defaultdict
from collections.abc import Iterator
from functools import cache

import pytest
from shorthand_findings import essence
from written_notes import read_text, written_notes

from converter.model import Reading
from converter.words import Word, load_vocabulary, shipped_vocabulary
from converter.words.phrases import tokens_of

NOTES = written_notes()
EXCUSED = {
    "look_alike": "it holds back what would be read: without it its words are ordinary words",
    "other_exam": "as look_alike: without it a part of the examination is not known to be one",
    "heading_other": "it names a part of the note, and its words say nothing of reflexes",
    "legend": "without it the grades of a legend are grades like others",
    "side_ref": "an order of pairs is a setting: without the row the site's own order holds",
    "anaphor": "a word such as `it` stands everywhere, and would be listed everywhere",
    "filler": "its words change no meaning",
}
"""Roles for which the law cannot hold, and why."""
SILENT = {
    "condition": ("pathologic[al] reflex[es]", "areflexic (paralysis|weakness|paraplegia|"),
    "family": (
        "(family history of|fh of|fh|his mother|her mother|his fathe",
        "(mother|father|mum|mom|dad|brother|sister|sibling|son|",
        "(in|noted in|seen in|found in|reported in|observed in) (his|",
    ),
    "less": ("(less|weaker|lesser|slightly less|a little less|relatively l",),
    "otherwise": ("(the other jerks|other jerks|all other jerks|all other ",),
    "position": ("(supine|in the supine position|supine position|lying|lying d",),
    "past": (
        "(records|notes|letter|report|summary) from [the] (referring",
        "(according to|per) (referring hospital|referring doctor",
        "(all returned|has returned|have returned|had returned|re",
        "[when] seen in (january|february|march|april|may|june|july|a",
    ),
    "reason": (
        "(amputation|amputated|amputee|aka|bka|above knee amputation|",
        "(cast|casted|in cast|pop|in pop|plaster of paris|backslab|",
        "(sedation|sedated|intubated|paralytics|paralysed|neuromuscul",
    ),
    "reflex": ("tendon jerk[s]",),
    "region": (
        "(any extremity|any extremities|any limb|any limbs|each extre",
        "all (extremities|limbs|limb|ext)",
    ),
    "reinforcement": ("[only] (with|w/|w|c) [the] (jendrassik|jendrassik's) [maneuver|man",),
    "side": (
        "(all bilat|all bilaterally|all b/l|all both sides|all symm",
        "(right and left|left and right|r and l|l and r|r & l|l & r|r",
        "(b|bl)",
    ),
    "site": (
        "(ankle|ankles|achilles|foot|feet|pedal|plantar) clonus",
        "(bi|bic) (jerk|jerks|reflex|reflexes|tendon reflex|tendon re",
        "(add|adds)",
        "(cross|x) (adductor|adductors|add|adds|",
        "(deltoid|deltoids) (jerk|jerks|reflex|reflexes",
        "(glabellar|glabella|glab)",
        "(glabellar|glabella|myerson|meyerson|myersons) (reflex|refle",
        "(gordon|gordons)",
        "(grasp|grasping|grasps)",
        "(hamstring|medial hamstring|internal hamstring|semitendinosu",
        "(jaw jerk|jaw jerks|jaw reflex|jaw jerk reflex|masseter refl",
        "(knee|patellar|patella) clonus",
        "(aj|ajs) clonus",
        "(s1-2|s1/2)",
        "(lower quadrant|lower quadrants)",
        "(pectoral|pectoralis|pec) (jerk|jerks|reflex|reflexes)",
        "(pat|patel|kn) (jk|jks)",
        "(ptr|ktr)",
        "(plantar|planter) (response|responses|reflex|reflexes|stimul",
        "(root|rooting)",
        "(stepping|placing)",
        "(suck|sucking)",
        "(tri|tric) (jerk|jerks|reflex|reflexes|tendon reflex|tendon",
        "(upper quadrant|upper quadrants|upper quad)",
        "ankle[s] (jerk|jerks|reflex|reflexes|tendon reflex|tendon re",
        "(finger flexor reflex|finger flexor reflexes|finger flexion refl",
        "(bcr|bc reflex|bc reflexes)",
        "(ankel|ankels|anke|ankes|ancle|ancles)",
        "bicep[s] (jerk|jerks|reflex|reflexes|tendon reflex|tendon re",
        "crossed (adductor|adductors|adductor jerk|adductor jerks|add",
        "frontal release (sign|signs|reflex|reflexes)",
        "knee[s] (jerk|jerks|reflex|reflexes|tendon reflex|tendon ref",
        "l3",
        "l4",
        "parachute [response]",
        "(pl|plant)",
        "plantar grasp[s] [reflex|reflexes]",
        "rlq",
        "s1",
        "tricep[s] (jerk|jerks|reflex|reflexes|tendon reflex|tendon r",
    ),
    "untested": ("(did not|didnt|have not|has not|had not) (test|check",),
    "technique": ("(through the finger|through finger|over the finger|through t",),
}
"""Rows for which it does not hold yet, by role; each by how its phrase begins."""
WHY_SILENT = {
    "condition": "the state words left behind still deny or state a reflex of their own",
    "otherwise": "an ankle that is absent is a reflex only because other jerks are named with it",
    "family": "whose reflex it is is not guessed where the relative is an unknown word two words away",
    "less": "the words left behind compare nothing, and the grade stands",
    "position": "a manner two words away from the finding is outside what is searched for unknown words",
    "past": "words for another time that stand a clause away are outside what is searched for unknown words",
    "reason": "the finding stays untested; the reason is kept in the words of the note or left out",
    "reflex": "the noun alone speaks of nothing without a reflex word beside it",
    "region": "the shorter wording inside the phrase is still a region or a noun",
    "side": "the shorter wordings inside the phrase still say a side",
    "reinforcement": "the manoeuvre that the words left behind name stays in the finding",
    "site": "the words inside the phrase still name the reflex, or nothing in the note speaks of reflexes",
    "untested": "the verb left behind plans a test, and what is planned is not listed",
    "technique": "a manner two words away from the finding is outside what is searched for unknown words",
}
"""Why it does not hold yet, by role."""


@cache
def reading_of(name: str) -> Reading:
    return read_text(NOTES[name])


def rows_of(text: str) -> Iterator[Word]:
    """The rows whose wordings stand in a text, longest first at each place."""
    tokens = tokens_of(text.lower())
    index = 0
    while index < len(tokens):
        found = shipped_vocabulary().words.longest(tokens, index)
        if found is not None:
            yield found[0]
        index = found[1] if found is not None else index + 1


@cache
def rows_in_use() -> dict[Word, list[str]]:
    """Rows with the notes that use them, shortest note first."""
    used: dict[Word, list[str]] = defaultdict(list)
    for name in sorted(NOTES, key=lambda name: len(NOTES[name])):
        for row in dict.fromkeys(rows_of(NOTES[name])):
            used[row].append(name)
    return used


def said(reading: Reading) -> list[str]:
    return sorted(str(essence(finding)) for finding in reading.findings)


def unread(reading: Reading) -> set[tuple[int, int]]:
    return {(span.start, span.end) for span in reading.unread}


def changes_in_silence(row: Word, names: list[str]) -> list[str]:
    """The notes that say something else without the row, if none of them lists more as unread."""
    vocabulary = load_vocabulary(without=frozenset({row.place}))
    changed = []
    for name in names:
        before, after = reading_of(name), read_text(NOTES[name], vocabulary)
        if unread(after) - unread(before):
            return []
        if said(after) != said(before):
            changed.append(name)
    return changed


@pytest.mark.parametrize("role", sorted({row.role for row in rows_in_use()} - set(EXCUSED)))
def test_without_a_row_unread_grows(role: str) -> None:
    silent = {
        row.phrase: changed[0]
        for row, names in rows_in_use().items()
        if row.role == role
        and not row.phrase.startswith(SILENT.get(role, ()))
        and (changed := changes_in_silence(row, names))
    }
    assert not silent, "\n".join(f"{phrase}: {NOTES[name]!r}" for phrase, name in silent.items())


def test_every_silent_row_has_a_reason_and_is_still_there() -> None:
    assert set(SILENT) == set(WHY_SILENT)
    used = list(rows_in_use())
    for role, beginnings in SILENT.items():
        for beginning in beginnings:
            assert any(row.role == role and row.phrase.startswith(beginning) for row in used), beginning


def test_most_roles_are_held_to_the_law() -> None:
    roles = {row.role for row in rows_in_use()}
    assert set(EXCUSED) < roles
    assert len(roles - set(EXCUSED)) > 3 * len(EXCUSED)
