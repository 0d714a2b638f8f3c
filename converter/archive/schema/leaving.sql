-- What leaves an archive when a patient or a note is forgotten: read from the database `old` by the one row of
-- `wish`. A version of a note that names nobody goes with the patient whom another version of it names; one
-- that names somebody else stays.

CREATE TABLE gone AS
SELECT n.note, n.system, n.id, n.note_hash, n.source, n.source_patient
FROM old.notes n, wish w
WHERE CASE WHEN w.is_note THEN n.id = w.id AND n.system IS NOT DISTINCT FROM w.system
      ELSE (n.patient = w.patient AND (w.system IS NULL OR n.system = w.system))
        OR (n.patient IS NULL AND EXISTS (
            SELECT 1 FROM old.notes m
            WHERE m.id = n.id AND m.system IS NOT DISTINCT FROM n.system
              AND m.patient = w.patient AND (w.system IS NULL OR m.system = w.system)))
      END;

CREATE TABLE gone_readings AS
SELECT r.reading, r.amended, r.to_run FROM old.readings r WHERE r.note IN (SELECT note FROM gone);

CREATE TABLE gone_rows AS
SELECT reading FROM gone_readings UNION SELECT amended FROM gone_readings WHERE amended IS NOT NULL;

CREATE TABLE gone_findings AS
SELECT f.finding FROM old.findings f
WHERE f.reading IN (SELECT coalesce(amended, reading) FROM gone_readings WHERE to_run IS NULL);

-- notes of which no version stays
CREATE TABLE gone_keys AS
SELECT DISTINCT g.system, g.id FROM gone g
WHERE NOT EXISTS (
    SELECT 1 FROM old.notes n
    WHERE n.id = g.id AND n.system IS NOT DISTINCT FROM g.system AND n.note NOT IN (SELECT note FROM gone));

-- a note that failed in every load is known by the remarks alone
INSERT INTO gone_keys
SELECT DISTINCT d.system, d.id FROM old.run_diagnostics d, wish w
WHERE w.is_note AND d.id = w.id AND d.system IS NOT DISTINCT FROM w.system
  AND NOT EXISTS (SELECT 1 FROM gone_keys);

-- files that hold nothing else; their names often name the patient
CREATE TABLE gone_sources AS
SELECT source FROM gone WHERE source IS NOT NULL
EXCEPT SELECT source FROM old.notes WHERE note NOT IN (SELECT note FROM gone);

CREATE TABLE gone_amendments AS
SELECT a.amendment FROM old.amendments a
WHERE EXISTS (SELECT 1 FROM gone_keys k WHERE k.id = a.id AND k.system IS NOT DISTINCT FROM a.system)
   OR (EXISTS (SELECT 1 FROM gone g WHERE g.id = a.id AND g.system IS NOT DISTINCT FROM a.system
               AND g.note_hash = a.note_hash)
       AND NOT EXISTS (SELECT 1 FROM old.notes n WHERE n.id = a.id AND n.system IS NOT DISTINCT FROM a.system
                       AND n.note_hash = a.note_hash AND n.note NOT IN (SELECT note FROM gone)));
