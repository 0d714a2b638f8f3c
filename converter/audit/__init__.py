"""How examinations are documented: figures, small numbers hidden, as an HTML report; pages of patients.

Takes notes with their readings and assessments; gives an Audit, its HTML and its records. Leaves the archive
to `archive`, and courses and drawings of exams to `assess`.
"""

from converter.audit.auditing import CAUTION, MIN_COUNT, AuditOptions, audit_notes
from converter.audit.charts import NEEDS as CHARTS_NEED
from converter.audit.charts import charts_at_hand
from converter.audit.page import report_html
from converter.audit.patients import PatientVisit, page_name, patient_html
from converter.audit.records import COLUMNS, audit_record, audit_rows
from converter.audit.values import Audit, Figure, NoteFacts, Published, Result, Row

__all__ = [
    "CAUTION",
    "CHARTS_NEED",
    "COLUMNS",
    "MIN_COUNT",
    "Audit",
    "AuditOptions",
    "Figure",
    "NoteFacts",
    "PatientVisit",
    "Published",
    "Result",
    "Row",
    "audit_notes",
    "audit_record",
    "audit_rows",
    "charts_at_hand",
    "page_name",
    "patient_html",
    "report_html",
]
