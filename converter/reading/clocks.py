"""Times of day as notes write them: "0800", "10:00 hrs", "14.30", "2 am".

Gives a pattern, and the minutes of what it finds. The forms: common practice, no source.
"""

import re

CLOCK = re.compile(
    r"(?:at\s+|@\s?)?(?:(?P<hour>[01]\d|2[0-4]|\d(?=[:h.]))[:h.]?(?P<minute>[0-5]\d)(?:\s?(?:hrs?|hours|h|uhr))?"
    r"|(?P<hour12>1[0-2]|0?[1-9])(?:[:.](?P<minute12>[0-5]\d))?\s?(?P<half>[ap])\.?m\.?)"
    r"(?![\w/%-]|\.\d|[ \t]*(?:ml|mg|cc|g|kg|mm|units?)\b)",
    re.IGNORECASE,
)
"""A time of day; no dose and no date."""
YEAR = re.compile(r"(?:19|20)\d\d")
"""What may be a year as well."""


def minutes_of(clock: re.Match[str]) -> float:
    """Minutes since midnight."""
    if clock["hour"] is not None:
        return float(clock["hour"]) * 60 + float(clock["minute"])
    afternoon = 12 if clock["half"].lower() == "p" else 0
    return (float(clock["hour12"]) % 12 + afternoon) * 60 + float(clock["minute12"] or 0)
