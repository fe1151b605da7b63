CREATE TABLE journal (
    number INTEGER PRIMARY KEY,
    at_utc TEXT NOT NULL,
    run_id INTEGER REFERENCES run (run_id) DEFERRABLE INITIALLY DEFERRED,
    kind TEXT NOT NULL,
    body TEXT NOT NULL,
    hash BLOB NOT NULL
) STRICT;
CREATE TABLE run (
    run_id INTEGER PRIMARY KEY,
    journal_number INTEGER NOT NULL REFERENCES journal (number),
    procedure TEXT NOT NULL,
    procedure_hash TEXT NOT NULL,
    params TEXT NOT NULL,
    versions TEXT NOT NULL
) STRICT;
CREATE TABLE raw (
    raw_id INTEGER PRIMARY KEY,
    journal_number INTEGER NOT NULL REFERENCES journal (number),
    run_id INTEGER NOT NULL REFERENCES run (run_id),
    trial TEXT NOT NULL,
    meta TEXT NOT NULL,
    length INTEGER NOT NULL,
    sha256 TEXT NOT NULL,
    packed BLOB NOT NULL
) STRICT;
CREATE TABLE result (
    result_id INTEGER PRIMARY KEY,
    journal_number INTEGER NOT NULL REFERENCES journal (number),
    run_id INTEGER NOT NULL REFERENCES run (run_id),
    trial TEXT NOT NULL,
    measurand TEXT NOT NULL,
    result TEXT NOT NULL,
    raw_ids TEXT NOT NULL,
    supersedes INTEGER REFERENCES result (result_id)
) STRICT;
CREATE TRIGGER journal_update BEFORE UPDATE ON journal BEGIN
    SELECT RAISE(ABORT, 'journal is append-only');
END;
CREATE TRIGGER journal_delete BEFORE DELETE ON journal BEGIN
    SELECT RAISE(ABORT, 'journal is append-only');
END;
CREATE TRIGGER journal_insert BEFORE INSERT ON journal
WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM journal) BEGIN
    SELECT RAISE(ABORT, 'journal rows are numbered without gaps');
END;
CREATE TRIGGER run_update BEFORE UPDATE ON run BEGIN
    SELECT RAISE(ABORT, 'run is append-only');
END;
CREATE TRIGGER run_delete BEFORE DELETE ON run BEGIN
    SELECT RAISE(ABORT, 'run is append-only');
END;
CREATE TRIGGER run_insert BEFORE INSERT ON run
WHEN NEW.run_id IS NOT (SELECT coalesce(max(run_id), 0) + 1 FROM run) BEGIN
    SELECT RAISE(ABORT, 'run rows are numbered without gaps');
END;
CREATE TRIGGER raw_update BEFORE UPDATE ON raw BEGIN
    SELECT RAISE(ABORT, 'raw is append-only');
END;
CREATE TRIGGER raw_delete BEFORE DELETE ON raw BEGIN
    SELECT RAISE(ABORT, 'raw is append-only');
END;
CREATE TRIGGER raw_insert BEFORE INSERT ON raw
WHEN NEW.raw_id IS NOT (SELECT coalesce(max(raw_id), 0) + 1 FROM raw) BEGIN
    SELECT RAISE(ABORT, 'raw rows are numbered without gaps');
END;
CREATE TRIGGER result_update BEFORE UPDATE ON result BEGIN
    SELECT RAISE(ABORT, 'result is append-only');
END;
CREATE TRIGGER result_delete BEFORE DELETE ON result BEGIN
    SELECT RAISE(ABORT, 'result is append-only');
END;
CREATE TRIGGER result_insert BEFORE INSERT ON result
WHEN NEW.result_id IS NOT (SELECT coalesce(max(result_id), 0) + 1 FROM result) BEGIN
    SELECT RAISE(ABORT, 'result rows are numbered without gaps');
END;
CREATE TRIGGER result_supersedes BEFORE INSERT ON result
WHEN EXISTS (SELECT 1 FROM result WHERE supersedes = NEW.supersedes) BEGIN
    SELECT RAISE(ABORT, 'a result is superseded once');
END;
