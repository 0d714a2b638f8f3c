-- The documented views: current rows only, each beside its note. Made anew whenever the form changes.

CREATE OR REPLACE VIEW current_notes AS
SELECT coalesce(r.amended, r.reading) AS reading, n.system, n.id, n.note_hash, n.patient, n.encounter,
       n.author, n.facility, n.authored, n.authored_precision, n.authored_first, n.authored_last, n.note_kind,
       n.birth_date, n.age, n.sex, n.source, n.line, r.vocabulary, r.program, r.from_run
FROM notes n JOIN readings r ON r.note = n.note
WHERE n.to_run IS NULL AND r.to_run IS NULL;
COMMENT ON VIEW current_notes IS 'One row for each note as last loaded and amended, without its text';

CREATE OR REPLACE VIEW current_findings AS
SELECT n.system, n.id, n.patient, n.encounter, n.author, n.facility, n.authored, n.authored_first,
       n.authored_last, n.note_kind, f.*
FROM findings f
JOIN current_notes n ON n.reading = f.reading;
COMMENT ON VIEW current_findings IS 'One row for each finding, as said, or as a person amended it';

CREATE OR REPLACE VIEW current_reflexes AS
SELECT n.system, n.id, n.patient, n.encounter, n.author, n.facility, n.authored, n.authored_first,
       n.authored_last, n.note_kind, f.exam, f.exam_status, f.finding, x.site, x.side, x.basis,
       f.site AS said_site, f.side AS said_side,
       f.* EXCLUDE (reading, place, finding, exam, exam_status, site, side),
       f.reading, x.finding_place, x.place
FROM reflexes x
JOIN findings f ON f.reading = x.reading AND f.place = x.finding_place
JOIN current_notes n ON n.reading = x.reading;
COMMENT ON VIEW current_reflexes IS 'One row for each reflex and side that a finding speaks of: direct where the note names the reflex, covered where it names a region that includes it and excepts nothing; a region has a direct row of its own';

CREATE OR REPLACE VIEW current_exams AS
SELECT n.system, n.id, n.patient, n.author, n.facility, n.authored, n.note_kind, e.*
FROM exams e JOIN current_notes n ON n.reading = e.reading;
COMMENT ON VIEW current_exams IS 'One row for each exam';

CREATE OR REPLACE VIEW current_abnormalities AS
SELECT n.system, n.id, n.patient, n.author, n.facility, n.authored, n.note_kind, a.*, s.caution
FROM abnormalities a
JOIN current_notes n ON n.reading = a.reading
JOIN assessments s ON s.reading = a.reading AND s.place = a.assessment_place;
COMMENT ON VIEW current_abnormalities IS 'One row for each abnormality that a rule found in an exam; for records work, not a diagnosis';

CREATE OR REPLACE VIEW current_not_examined AS
SELECT n.system, n.id, n.patient, n.author, n.facility, n.authored, n.note_kind, x.*
FROM not_examined x JOIN current_notes n ON n.reading = x.reading;
COMMENT ON VIEW current_not_examined IS 'One row for each reflex and side that an exam does not document';

CREATE OR REPLACE VIEW current_unread AS
SELECT n.system, n.id, n.author, n.facility, n.note_kind, u.*
FROM unread u JOIN current_notes n ON n.reading = u.reading;
COMMENT ON VIEW current_unread IS 'One row for each piece of reflex wording that no rule understood';

CREATE OR REPLACE VIEW current_diagnostics AS
SELECT n.system, n.id, n.author, n.facility, n.note_kind, d.*
FROM diagnostics d JOIN current_notes n ON n.reading = d.reading;
COMMENT ON VIEW current_diagnostics IS 'One row for each doubt about a note or one of its exams';

CREATE OR REPLACE VIEW failed_notes AS
SELECT u.run, d.system, d.id, d.note_hash, d.source, d.line, d.code, d.message, d.hint, d.run_number, d.place
FROM run_diagnostics d JOIN runs u ON u.run_number = d.run_number
LEFT JOIN runs m ON m.run_number = d.met_run
WHERE d.failed AND m.finished IS NULL;
COMMENT ON VIEW failed_notes IS 'One row for each note that failed and has not gone through since';

CREATE OR REPLACE VIEW retracted_findings AS
SELECT n.system, n.id, n.note_hash, r.to_run, f.*
FROM (
    SELECT reading, note, to_run, FALSE AS added FROM readings WHERE to_run IS NOT NULL OR amended IS NOT NULL
    UNION ALL
    SELECT amended, note, to_run, TRUE FROM readings WHERE to_run IS NOT NULL AND amended IS NOT NULL
) r
JOIN findings f ON f.reading = r.reading AND (NOT r.added OR f.verdict = 'added')
JOIN notes n ON n.note = r.note
WHERE NOT EXISTS (
    SELECT 1 FROM current_notes c JOIN findings g ON g.reading = c.reading
    WHERE c.id = n.id AND c.system IS NOT DISTINCT FROM n.system AND g.finding = f.finding
);
COMMENT ON VIEW retracted_findings IS 'Findings that the note no longer has, since its reading changed or a person rejected them';

CREATE OR REPLACE VIEW amendment_log AS
SELECT a.*, u.undone_by, u.undone_at, CASE
           WHEN u.amendment IS NOT NULL THEN 'undone'
           WHEN c.last > a.amendment THEN 'replaced'
           WHEN c.reading IS NOT NULL THEN 'applied'
           ELSE 'not_applied' END AS state
FROM amendments a
LEFT JOIN amendments_undone u ON u.amendment = a.amendment
LEFT JOIN (
    SELECT p.amendment, p.reading,
           CASE WHEN p.finding IS NOT NULL
                THEN max(p.amendment) OVER (PARTITION BY p.reading, p.finding) END AS last
    FROM amendments_applied p JOIN current_notes n ON n.reading = p.reading
) c ON c.amendment = a.amendment;
COMMENT ON VIEW amendment_log IS 'One row for each amendment: applied, replaced by a later one about the same finding, not_applied where the note or its reading changed so that it does not fit, or undone';

CREATE OR REPLACE VIEW run_log AS
SELECT *, notes_in = with_findings + without_findings + duplicate + superseded + failed + kept_out AS adds_up
FROM runs;
COMMENT ON VIEW run_log IS 'One row for each load, with what became of its notes';
