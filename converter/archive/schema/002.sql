-- Form 2: what persons said of findings. An amendment is never changed or deleted; undoing it is a row of its
-- own. The rows of a reading stay as they were read; its amended form stands beside them under a number of
-- its own and is made anew whenever an amendment comes or goes.

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
