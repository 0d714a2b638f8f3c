"""What a site can set about the assessment; the defaults are the published or usual ones."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class AssessOptions:
    """Settings of the assessment, e.g. from `plexor.toml`.

    Attributes:
        side_difference: grades between left and right from which a side difference is reported.
        marked: grades from which a difference is called marked, and arms are told from legs.
        change: grades between two exams from which a change is reported.
        rules_left_out: names of rules that do not run; see `converter.assess.RULE_NAMES`.
        absent_ankle_age_note: whether absent ankle reflexes over `ankle_age` carry the note on age.
        ankle_age: age in years above which that note is given.
        infant_age: age in years below which no upper motor neurone pattern is reported.
        brief_clonus_beats: beats of clonus that may still be normal.
        abnormal_clonus_beats: beats from which clonus is surely abnormal.
    """

    side_difference: float = 1.0
    marked: float = 2.0
    change: float = 2.0
    rules_left_out: frozenset[str] = frozenset()
    absent_ankle_age_note: bool = True
    ankle_age: int = 60
    infant_age: int = 2
    brief_clonus_beats: int = 2
    abnormal_clonus_beats: int = 5
