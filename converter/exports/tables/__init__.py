"""Analysis tables: findings, reflexes, exams and patients over time, with their dictionary.

Takes notes with their readings; gives files. Leaves naming in FHIR to the functions that it is given.
"""

from converter.exports.tables.fields import Field, Table, tables
from converter.exports.tables.rows import Naming
from converter.exports.tables.target import TablesTarget
from converter.exports.tables.view import view_definition

__all__ = ["Field", "Naming", "Table", "TablesTarget", "tables", "view_definition"]
