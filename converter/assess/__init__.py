"""What is abnormal, how sure, and on what it rests.

Takes a Note and its Reading; gives an Assessment per exam and a Course per patient, and their readable forms.
Speaks of findings, never of a diagnosis. Leaves reading to `reading` and FHIR to `fhir`.
"""

from typing import TYPE_CHECKING

from converter.lazily import names_of

if TYPE_CHECKING:
    from converter.assess.causes import causes_text
    from converter.assess.counts import counts_text, pattern_counts, pattern_label
    from converter.assess.course import course_of
    from converter.assess.course_text import course_grid, course_record
    from converter.assess.figure import figure_svg
    from converter.assess.options import AssessOptions
    from converter.assess.places import candidates_of, levels_of
    from converter.assess.rules import CAUTION, RULE_NAMES, assess_reading
    from converter.assess.summary import summary_record, summary_text

__all__ = [
    "CAUTION",
    "RULE_NAMES",
    "AssessOptions",
    "assess_reading",
    "candidates_of",
    "causes_text",
    "counts_text",
    "course_grid",
    "course_of",
    "course_record",
    "figure_svg",
    "levels_of",
    "pattern_counts",
    "pattern_label",
    "summary_record",
    "summary_text",
]

__getattr__ = names_of(
    __name__,
    {
        "causes": ("causes_text",),
        "counts": (
            "counts_text",
            "pattern_counts",
            "pattern_label",
        ),
        "course": ("course_of",),
        "course_text": (
            "course_grid",
            "course_record",
        ),
        "figure": ("figure_svg",),
        "options": ("AssessOptions",),
        "places": (
            "candidates_of",
            "levels_of",
        ),
        "rules": (
            "CAUTION",
            "RULE_NAMES",
            "assess_reading",
        ),
        "summary": (
            "summary_record",
            "summary_text",
        ),
    },
)
