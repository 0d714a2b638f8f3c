-- Form 1 of the archive. Tables hold all that was ever loaded; `to_run` is null where a row is current.
-- Views over the current rows stand in views.sql. Everything here is documented in the database itself.

CREATE TABLE archive_info (
    schema_version INTEGER NOT NULL,
    quotes BOOLEAN,
    next_note BIGINT NOT NULL,
    next_reading BIGINT NOT NULL,
    next_run INTEGER NOT NULL
);
COMMENT ON TABLE archive_info IS 'One row: the form of this archive, whether it holds text of notes, and the next free numbers';
INSERT INTO archive_info VALUES (1, NULL, 1, 1, 1);

CREATE TABLE runs (
    run_number INTEGER NOT NULL,
    run VARCHAR NOT NULL,
    program VARCHAR NOT NULL,
    vocabulary VARCHAR NOT NULL,
    settings VARCHAR NOT NULL,
    started VARCHAR NOT NULL,
    finished VARCHAR,
    notes_in BIGINT NOT NULL,
    with_findings BIGINT NOT NULL,
    without_findings BIGINT NOT NULL,
    duplicate BIGINT NOT NULL,
    superseded BIGINT NOT NULL,
    failed BIGINT NOT NULL,
    findings BIGINT NOT NULL,
    abnormalities BIGINT NOT NULL,
    unread BIGINT NOT NULL,
    diagnostics BIGINT NOT NULL
);
COMMENT ON TABLE runs IS 'One row for each load; finished is null where a load was interrupted';

CREATE TABLE note_log (
    run_number INTEGER NOT NULL,
    place BIGINT NOT NULL,
    fate VARCHAR NOT NULL,
    note BIGINT,
    reading BIGINT
);
COMMENT ON TABLE note_log IS 'What became of each note of each run: with_findings, without_findings, duplicate, superseded, failed';

CREATE TABLE run_diagnostics (
    run_number INTEGER NOT NULL,
    place BIGINT NOT NULL,
    failed BOOLEAN NOT NULL,
    met_run INTEGER,
    system VARCHAR,
    id VARCHAR,
    note_hash VARCHAR,
    code VARCHAR NOT NULL,
    severity VARCHAR NOT NULL,
    message VARCHAR,
    hint VARCHAR,
    start_offset BIGINT,
    end_offset BIGINT,
    source VARCHAR,
    line BIGINT,
    path VARCHAR,
    expected VARCHAR,
    rule VARCHAR
);
COMMENT ON TABLE run_diagnostics IS 'What the sources and the loading said, and the notes that failed; met_run is a later run that met the same note again';

CREATE TABLE notes (
    note BIGINT NOT NULL,
    identity BIGINT NOT NULL,
    system VARCHAR,
    id VARCHAR NOT NULL,
    note_hash VARCHAR NOT NULL,
    details VARCHAR NOT NULL,
    patient VARCHAR,
    encounter VARCHAR,
    author VARCHAR,
    facility VARCHAR,
    authored VARCHAR,
    authored_precision VARCHAR,
    authored_first DATE,
    authored_last DATE,
    note_kind VARCHAR,
    birth_date VARCHAR,
    age INTEGER,
    sex VARCHAR,
    source VARCHAR,
    line BIGINT,
    origin BIGINT[][] NOT NULL,
    text VARCHAR,
    from_run INTEGER NOT NULL,
    to_run INTEGER
);
COMMENT ON TABLE notes IS 'Every version of every note';

CREATE TABLE readings (
    reading BIGINT NOT NULL,
    note BIGINT NOT NULL,
    record_schema VARCHAR NOT NULL,
    program VARCHAR NOT NULL,
    vocabulary VARCHAR NOT NULL,
    digest VARCHAR NOT NULL,
    from_run INTEGER NOT NULL,
    to_run INTEGER
);
COMMENT ON TABLE readings IS 'Every reading of every note; at most one reading of a note is current';

CREATE TABLE exams (
    reading BIGINT NOT NULL,
    place INTEGER NOT NULL,
    exam INTEGER NOT NULL,
    exam_status VARCHAR NOT NULL,
    stated_time VARCHAR,
    start_offset BIGINT NOT NULL,
    end_offset BIGINT NOT NULL
);
COMMENT ON TABLE exams IS 'The exams of each reading';

CREATE TABLE findings (
    reading BIGINT NOT NULL,
    place INTEGER NOT NULL,
    finding VARCHAR NOT NULL,
    exam INTEGER NOT NULL,
    exam_status VARCHAR,
    site VARCHAR NOT NULL,
    which VARCHAR,
    root VARCHAR,
    side VARCHAR NOT NULL,
    kind VARCHAR NOT NULL,
    grade_low DOUBLE,
    grade_high DOUBLE,
    grade_basis VARCHAR,
    plus VARCHAR NOT NULL,
    denominator INTEGER,
    scale VARCHAR,
    scale_basis VARCHAR,
    level VARCHAR,
    descriptor VARCHAR,
    response VARCHAR,
    beats VARCHAR,
    sustained BOOLEAN,
    reinforcement VARCHAR,
    manoeuvre VARCHAR,
    position VARCHAR,
    technique VARCHAR,
    quality VARCHAR,
    comparison VARCHAR,
    negated BOOLEAN NOT NULL,
    status VARCHAR NOT NULL,
    certainty VARCHAR NOT NULL,
    reason VARCHAR,
    as_written VARCHAR,
    spans STRUCT("start" BIGINT, "end" BIGINT, role VARCHAR)[] NOT NULL,
    start_offset BIGINT NOT NULL,
    end_offset BIGINT NOT NULL,
    quote VARCHAR
);
COMMENT ON TABLE findings IS 'The findings of each reading, as said';

CREATE TABLE reflexes (
    reading BIGINT NOT NULL,
    finding_place INTEGER NOT NULL,
    place INTEGER NOT NULL,
    site VARCHAR NOT NULL,
    side VARCHAR NOT NULL,
    basis VARCHAR NOT NULL
);
COMMENT ON TABLE reflexes IS 'Each finding spread over the reflexes and sides it speaks of, exceptions removed';

CREATE TABLE unread (
    reading BIGINT NOT NULL,
    place INTEGER NOT NULL,
    start_offset BIGINT NOT NULL,
    end_offset BIGINT NOT NULL,
    text VARCHAR,
    why VARCHAR NOT NULL
);
COMMENT ON TABLE unread IS 'Reflex wording that no rule understood';

CREATE TABLE assessments (
    reading BIGINT NOT NULL,
    place INTEGER NOT NULL,
    exam INTEGER NOT NULL,
    caution VARCHAR NOT NULL
);
COMMENT ON TABLE assessments IS 'The abnormality summary of each exam, with the caution it carries';

CREATE TABLE abnormalities (
    reading BIGINT NOT NULL,
    assessment_place INTEGER NOT NULL,
    place INTEGER NOT NULL,
    abnormality VARCHAR NOT NULL,
    exam INTEGER NOT NULL,
    rule VARCHAR NOT NULL,
    code VARCHAR NOT NULL,
    sites VARCHAR[] NOT NULL,
    side VARCHAR NOT NULL,
    level VARCHAR,
    size DOUBLE,
    certainty VARCHAR NOT NULL,
    sentence VARCHAR,
    rests_on VARCHAR[] NOT NULL,
    source VARCHAR NOT NULL,
    hpo VARCHAR,
    hpo_label VARCHAR,
    modifiers VARCHAR[] NOT NULL
);
COMMENT ON TABLE abnormalities IS 'What the rules found in each exam, and on which findings that rests';

CREATE TABLE not_examined (
    reading BIGINT NOT NULL,
    assessment_place INTEGER NOT NULL,
    place INTEGER NOT NULL,
    exam INTEGER NOT NULL,
    site VARCHAR NOT NULL,
    side VARCHAR NOT NULL,
    reason VARCHAR,
    finding VARCHAR
);
COMMENT ON TABLE not_examined IS 'What each exam is silent about, or says was not tested';

CREATE TABLE diagnostics (
    reading BIGINT NOT NULL,
    assessment_place INTEGER,
    place INTEGER NOT NULL,
    code VARCHAR NOT NULL,
    severity VARCHAR NOT NULL,
    message VARCHAR,
    hint VARCHAR,
    start_offset BIGINT,
    end_offset BIGINT,
    source VARCHAR,
    line BIGINT,
    path VARCHAR,
    expected VARCHAR,
    rule VARCHAR
);
COMMENT ON TABLE diagnostics IS 'What is doubtful about each reading or exam';
