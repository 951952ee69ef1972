"""Corrections, and the chain over all rows; a recording may be measured again by one method.

What is there is sealed as it is now. The table of measurements is made anew, without the rule
that there is one for each method: a recording whose speed was mistyped is measured again.
"""

from alembic import op

from vibetrend.logbook import chain

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

STATEMENTS = """
CREATE TABLE measurement_any_number (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the measurement [key]
    recording_id INTEGER NOT NULL REFERENCES recording (id),  -- what was measured [key]
    method_version INTEGER NOT NULL,  -- version of the method [1]
    speed_rpm FLOAT,  -- measured speed; empty if none [rpm]
    unusable BOOLEAN NOT NULL,  -- a fault rules out comparison [yes/no]
    result TEXT NOT NULL,  -- whole result, units inside [JSON]
    made_at TEXT NOT NULL  -- when it was measured; the newest counts [UTC]
);
INSERT INTO measurement_any_number
    SELECT id, recording_id, method_version, speed_rpm, unusable, result, made_at FROM measurement;
DROP TABLE measurement;
ALTER TABLE measurement_any_number RENAME TO measurement;
CREATE INDEX measurement_of_recording ON measurement (recording_id);

CREATE TABLE correction (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the correction [key]
    table_name TEXT NOT NULL,  -- table of the row corrected [text]
    row_id INTEGER NOT NULL,  -- number of the row corrected [key]
    what TEXT NOT NULL,  -- its column, or set_aside; the newest counts [text]
    was TEXT NOT NULL,  -- value that counted before [JSON]
    now TEXT NOT NULL,  -- value that counts instead [JSON]
    reason TEXT NOT NULL,  -- why, in the person's words [text]
    person TEXT NOT NULL,  -- who; blank if not stated [text]
    made_at TEXT NOT NULL  -- when it was entered [UTC]
);
CREATE INDEX correction_of_row ON correction (table_name, row_id);

CREATE TABLE chain (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the link [key]
    table_name TEXT NOT NULL,  -- table of the row sealed; blank if none [text]
    row_id INTEGER NOT NULL,  -- number of the row sealed; 0 if none [key]
    made_at TEXT NOT NULL,  -- when it was sealed [UTC]
    why TEXT NOT NULL,  -- blank when the row was entered, else what for [text]
    hash TEXT NOT NULL  -- SHA-256 of this and the link before; see chain.py [hex]
);
CREATE INDEX chain_of_row ON chain (table_name, row_id);
"""


def upgrade() -> None:
    """Make the tables, and seal what is there."""
    for statement in STATEMENTS.strip().split(";\n"):
        op.execute(statement.removesuffix(";"))
    chain.seal_all(op.get_bind(), why="brought to schema 0004")
