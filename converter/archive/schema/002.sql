-- Form 2: what persons said of findings, patients whose records were merged, and what was forgotten.
-- An amendment is never changed, and undoing it is a row of its own. The rows of a reading stay as they were
-- read; its amended form stands beside them under a number of its own and is made anew whenever an amendment
-- comes or goes.

ALTER TABLE archive_info ADD COLUMN next_amendment BIGINT DEFAULT 1;

ALTER TABLE readings ADD COLUMN amended BIGINT;

ALTER TABLE findings ADD COLUMN verdict VARCHAR;

CREATE TABLE amendments (
    amendment BIGINT NOT NULL,
    identity BIGINT NOT NULL,
    system VARCHAR,
    id VARCHAR NOT NULL,
    note_hash VARCHAR NOT NULL,
    spans STRUCT("start" BIGINT, "end" BIGINT, role VARCHAR)[] NOT NULL,
    verdict VARCHAR NOT NULL,
    made_on VARCHAR,
    record VARCHAR,
    judged_by VARCHAR NOT NULL,
    judged_at VARCHAR NOT NULL,
    remark VARCHAR
);
COMMENT ON TABLE amendments IS 'What persons said of findings and of places without one; never changed';

CREATE TABLE amendments_undone (
    amendment BIGINT NOT NULL,
    undone_by VARCHAR NOT NULL,
    undone_at VARCHAR NOT NULL
);
COMMENT ON TABLE amendments_undone IS 'Amendments that were taken back, by whom and when';

CREATE TABLE amendments_applied (
    reading BIGINT NOT NULL,
    amendment BIGINT NOT NULL,
    finding VARCHAR
);
COMMENT ON TABLE amendments_applied IS 'The amendments that the amended form of a reading rests on, each with the finding it is about there';

ALTER TABLE notes ADD COLUMN source_patient VARCHAR;

CREATE TABLE patient_links (
    from_patient VARCHAR NOT NULL,
    to_patient VARCHAR NOT NULL,
    of_system VARCHAR,
    linked_by VARCHAR NOT NULL,
    linked_at VARCHAR NOT NULL,
    linked_notes BIGINT NOT NULL
);
COMMENT ON TABLE patient_links IS 'Patients whose records were merged; notes that come later under the old identifier follow';

ALTER TABLE archive_info ADD COLUMN salt VARCHAR;

ALTER TABLE runs ADD COLUMN kept_out BIGINT DEFAULT 0;

CREATE TABLE forgotten (
    forgetting BIGINT NOT NULL,
    forgotten_by VARCHAR NOT NULL,
    forgotten_at VARCHAR NOT NULL,
    gone_notes BIGINT NOT NULL,
    gone_findings BIGINT NOT NULL
);
COMMENT ON TABLE forgotten IS 'One row each time that a patient or a note was forgotten: how much, and nothing else';

CREATE TABLE guard (
    forgetting BIGINT NOT NULL,
    digest VARCHAR NOT NULL
);
COMMENT ON TABLE guard IS 'Salted digests of what was forgotten, so that it does not come back with the same source';
