"""The installation record, the log of the hour meter, and what the meter showed at each entry.

Tables with a new column are made anew, for only so does their text in the file explain it. Rows
from before keep it empty: no meter had been changed, so it showed the hours.
"""

from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

STATEMENTS = """
CREATE TABLE entry (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the entry [key]
    installation_id INTEGER NOT NULL REFERENCES installation (id),  -- on which it was entered [key]
    kind TEXT NOT NULL,  -- runout, bolt, belt, photo and so on [text]
    date TEXT NOT NULL,  -- day it was read or done [date]
    content TEXT NOT NULL,  -- what was entered, units inside [JSON]
    added_at TEXT NOT NULL  -- when it was added [UTC]
);
CREATE INDEX entry_of_installation ON entry (installation_id);

CREATE TABLE meter (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the meter entry [key]
    engine_id INTEGER NOT NULL REFERENCES engine (id),  -- engine it is on [key]
    date TEXT NOT NULL,  -- day it was read or changed [date]
    what TEXT NOT NULL,  -- reading, replaced or rolled-over [text]
    shown FLOAT NOT NULL,  -- what it showed; the old one's last if changed [h]
    after FLOAT,  -- what the new one showed first [h]
    note TEXT NOT NULL,  -- may be blank [text]
    added_at TEXT NOT NULL  -- when it was added [UTC]
);
CREATE INDEX meter_of_engine ON meter (engine_id);

CREATE TABLE installation_with_meter (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the installation [key]
    engine_id INTEGER NOT NULL REFERENCES engine (id),  -- engine it is on [key]
    date TEXT NOT NULL,  -- day the damper was fitted or found [date]
    hours FLOAT NOT NULL,  -- true engine hours at that time [h]
    meter_hours FLOAT,  -- what the meter showed; empty: equal to hours [h]
    as_found BOOLEAN NOT NULL,  -- taken as found, no new damper fitted [yes/no]
    engine_toml TEXT NOT NULL,  -- copy of the engine file at that time [text]
    added_at TEXT NOT NULL  -- when it was added [UTC]
);
INSERT INTO installation_with_meter
    SELECT id, engine_id, date, hours, NULL, as_found, engine_toml, added_at FROM installation;
DROP TABLE installation;
ALTER TABLE installation_with_meter RENAME TO installation;
CREATE INDEX installation_of_engine ON installation (engine_id);

CREATE TABLE work_with_meter (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the work [key]
    engine_id INTEGER NOT NULL REFERENCES engine (id),  -- engine worked on [key]
    date TEXT NOT NULL,  -- day it was done [date]
    hours FLOAT NOT NULL,  -- true engine hours at that time [h]
    meter_hours FLOAT,  -- what the meter showed; empty: equal to hours [h]
    what TEXT NOT NULL,  -- mounts, injection, belt and so on [text]
    note TEXT NOT NULL,  -- what exactly was done; may be blank [text]
    added_at TEXT NOT NULL  -- when it was added [UTC]
);
INSERT INTO work_with_meter
    SELECT id, engine_id, date, hours, NULL, what, note, added_at FROM work;
DROP TABLE work;
ALTER TABLE work_with_meter RENAME TO work;
CREATE INDEX work_of_engine ON work (engine_id);

CREATE TABLE recording_with_meter (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the recording [key]
    engine_id INTEGER NOT NULL REFERENCES engine (id),  -- engine recorded [key]
    label TEXT NOT NULL,  -- short id shown to people: first digits of sha256 [hex]
    sha256 TEXT NOT NULL,  -- SHA-256 of the original, which is kept by it [hex]
    name TEXT NOT NULL,  -- file name it came with [text]
    visit TEXT NOT NULL,  -- check-up it belongs to [text]
    hours FLOAT NOT NULL,  -- true engine hours when recorded [h]
    meter_hours FLOAT,  -- what the meter showed; empty: equal to hours [h]
    date TEXT NOT NULL,  -- day it was recorded [date]
    rpm FLOAT,  -- speed the person stated [rpm]
    baseline BOOLEAN NOT NULL,  -- part of the baseline [yes/no]
    before BOOLEAN NOT NULL,  -- taken before the damper was renewed [yes/no]
    tags TEXT NOT NULL,  -- position, device, kind and so on as stated [JSON]
    reading TEXT NOT NULL,  -- options the original has to be read with [JSON]
    added_at TEXT NOT NULL,  -- when it was added [UTC]
    UNIQUE (engine_id, sha256),
    UNIQUE (label)
);
INSERT INTO recording_with_meter
    SELECT id, engine_id, label, sha256, name, visit, hours, NULL, date, rpm, baseline, before,
        tags, reading, added_at FROM recording;
DROP TABLE recording;
ALTER TABLE recording_with_meter RENAME TO recording;
"""


def upgrade() -> None:
    """Make the tables of the record and the meter, and give the others what the meter showed."""
    for statement in STATEMENTS.strip().split(";\n"):
        op.execute(statement.removesuffix(";"))
