"""What a search looks at: the current findings beside their notes, as said or spread over reflexes.

Gives SQL. The rows are those of the views `current_findings` and `current_reflexes` (a test holds them to
that), with the places of their parts in the tables, by which the database takes up the rest of a row fastest.
"""

_STANDING = """
JOIN readings r ON coalesce(r.amended, r.reading) = f.reading AND r.to_run IS NULL
JOIN notes n ON n.note = r.note AND n.to_run IS NULL
"""
_AT = "n.rowid AS note_at, f.rowid AS finding_at"

AS_SAID = f"""(
SELECT n.*, f.* EXCLUDE (place), f.place AS finding_place, 0 AS place, 'direct' AS basis,
       f.site AS said_site, f.side AS said_side, {_AT}, NULL AS reflex_at
FROM findings f {_STANDING})"""  # noqa: S608 - our own names
"""Each finding once."""

_REFLEXES = """
SELECT {note} f.* EXCLUDE (place, site, side), x.* EXCLUDE (reading),
       f.site AS said_site, f.side AS said_side, {at} x.rowid AS reflex_at
FROM reflexes x JOIN findings f ON f.reading = x.reading AND f.place = x.finding_place {standing}"""

SPREAD = f"({_REFLEXES.format(note='n.*,', at=f'{_AT},', standing=_STANDING)})"
"""Each finding once for each reflex and side that it speaks of."""

WITHIN_READINGS = f"({_REFLEXES.format(note='', at='', standing='')})"
"""The same without their notes, and with what is current no more: for what is compared within one reading."""
