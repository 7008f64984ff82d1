"""The tables, one step for each version of the schema. A released step never changes."""

STEPS = (
    """
CREATE TABLE head_name (
    head_id TEXT PRIMARY KEY,
    name TEXT NOT NULL UNIQUE
        CHECK (length(name) BETWEEN 1 AND 32 AND name NOT GLOB '*[^a-z0-9_-]*')
) STRICT;
CREATE TABLE calibration_record (
    added INTEGER PRIMARY KEY AUTOINCREMENT,
    record_id TEXT NOT NULL UNIQUE,
    head_id TEXT NOT NULL,
    issued TEXT NOT NULL,
    sha256 TEXT NOT NULL UNIQUE,
    text TEXT NOT NULL
) STRICT;
CREATE INDEX calibration_record_of_head ON calibration_record (head_id, issued, added);
CREATE TRIGGER calibration_record_never_changes BEFORE UPDATE ON calibration_record
BEGIN SELECT RAISE(ABORT, 'a calibration record never changes'); END;
""",
    """
CREATE TABLE published_result (
    added INTEGER PRIMARY KEY AUTOINCREMENT,
    said_ms INTEGER NOT NULL,
    bay TEXT NOT NULL,
    topic TEXT NOT NULL,
    settled TEXT NOT NULL,
    value_deg REAL NOT NULL,
    U_deg REAL,
    k REAL,
    quality TEXT NOT NULL,
    spread TEXT NOT NULL
) STRICT;
CREATE TABLE published_by (
    head_id TEXT NOT NULL,
    result INTEGER NOT NULL REFERENCES published_result (added),
    record_id TEXT,
    PRIMARY KEY (head_id, result)
) STRICT, WITHOUT ROWID;
CREATE INDEX published_by_result ON published_by (result);
CREATE TRIGGER published_result_never_changes BEFORE UPDATE ON published_result
BEGIN SELECT RAISE(ABORT, 'a published result never changes'); END;
CREATE TRIGGER published_by_never_changes BEFORE UPDATE ON published_by
BEGIN SELECT RAISE(ABORT, 'a published result never changes'); END;
CREATE TABLE head_check (
    added INTEGER PRIMARY KEY AUTOINCREMENT,
    performed_ms INTEGER NOT NULL,
    bar TEXT NOT NULL,
    head_id TEXT NOT NULL,
    record_id TEXT NOT NULL,
    decision TEXT NOT NULL,
    raw_sha256 TEXT NOT NULL,
    UNIQUE (raw_sha256, head_id)
) STRICT;
CREATE INDEX head_check_of_head ON head_check (head_id, performed_ms, added);
CREATE TABLE head_check_figure (
    head_check INTEGER NOT NULL REFERENCES head_check (added),
    quantity TEXT NOT NULL,
    change_deg REAL NOT NULL,
    u_deg REAL NOT NULL,
    limit_deg REAL NOT NULL,
    decision TEXT NOT NULL,
    PRIMARY KEY (head_check, quantity)
) STRICT, WITHOUT ROWID;
CREATE TRIGGER head_check_never_changes BEFORE UPDATE ON head_check
BEGIN SELECT RAISE(ABORT, 'a check never changes'); END;
CREATE TRIGGER head_check_figure_never_changes BEFORE UPDATE ON head_check_figure
BEGIN SELECT RAISE(ABORT, 'a check never changes'); END;
CREATE TRIGGER head_check_never_goes BEFORE DELETE ON head_check
BEGIN SELECT RAISE(ABORT, 'a check is kept for ever'); END;
""",
    """
CREATE TABLE vehicle_version (
    added INTEGER PRIMARY KEY AUTOINCREMENT,
    vehicle_id TEXT NOT NULL,
    version INTEGER NOT NULL CHECK (version >= 1),
    kept_ms INTEGER NOT NULL,
    author TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    text TEXT NOT NULL,
    UNIQUE (vehicle_id, version)
) STRICT;
CREATE TRIGGER vehicle_version_never_changes BEFORE UPDATE ON vehicle_version
BEGIN SELECT RAISE(ABORT, 'a version of a vehicle never changes'); END;
CREATE TRIGGER vehicle_version_never_goes BEFORE DELETE ON vehicle_version
BEGIN SELECT RAISE(ABORT, 'a version of a vehicle is kept for ever'); END;
""",
    """
CREATE TABLE limit_set (
    added INTEGER PRIMARY KEY AUTOINCREMENT,
    name TEXT NOT NULL
        CHECK (length(name) BETWEEN 1 AND 32 AND name NOT GLOB '*[^a-z0-9_-]*'),
    number INTEGER NOT NULL CHECK (number >= 1),
    sha256 TEXT NOT NULL,
    text TEXT NOT NULL,
    UNIQUE (name, number)
) STRICT;
CREATE TRIGGER limit_set_never_changes BEFORE UPDATE ON limit_set
BEGIN SELECT RAISE(ABORT, 'a version of limits never changes'); END;
CREATE TRIGGER limit_set_never_goes BEFORE DELETE ON limit_set
BEGIN SELECT RAISE(ABORT, 'a version of limits is kept for ever'); END;
""",
    """
CREATE TABLE job_event (
    added INTEGER PRIMARY KEY AUTOINCREMENT,
    job TEXT NOT NULL,
    number INTEGER NOT NULL CHECK (number > 0),
    at TEXT NOT NULL,
    by TEXT NOT NULL,
    what TEXT NOT NULL,
    UNIQUE (job, number)
) STRICT;
CREATE TABLE job_answer (
    client TEXT NOT NULL,
    request TEXT NOT NULL,
    job TEXT NOT NULL,
    ok INTEGER NOT NULL,
    code TEXT NOT NULL,
    text TEXT NOT NULL,
    PRIMARY KEY (client, request)
) STRICT, WITHOUT ROWID;
CREATE TRIGGER job_event_never_changes BEFORE UPDATE ON job_event
BEGIN SELECT RAISE(ABORT, 'what happened in a job never changes'); END;
CREATE TRIGGER job_event_never_goes BEFORE DELETE ON job_event
BEGIN SELECT RAISE(ABORT, 'what happened in a job is kept for ever'); END;
""",
)
