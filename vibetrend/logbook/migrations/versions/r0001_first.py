"""First schema.

Plain SQL, because SQLite keeps the text of it with its comments in the file: whoever opens a
logbook in ten years, with whatever program, reads there what each column means and its unit.
"""

from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

TABLES = """
CREATE TABLE engine (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the engine [key]
    name TEXT NOT NULL,  -- name the person gave it [text]
    UNIQUE (name)
);

CREATE TABLE engine_file (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the engine file [key]
    engine_id INTEGER NOT NULL REFERENCES engine (id),  -- engine described [key]
    toml TEXT NOT NULL,  -- engine file as given; the newest is current [text]
    added_at TEXT NOT NULL  -- when it was added [UTC]
);
CREATE INDEX engine_file_of_engine ON engine_file (engine_id);

CREATE TABLE installation (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the installation [key]
    engine_id INTEGER NOT NULL REFERENCES engine (id),  -- engine it is on [key]
    date TEXT NOT NULL,  -- day the damper was fitted or found [date]
    hours FLOAT NOT NULL,  -- engine hours at that time [h]
    as_found BOOLEAN NOT NULL,  -- taken as found, no new damper fitted [yes/no]
    engine_toml TEXT NOT NULL,  -- copy of the engine file at that time [text]
    added_at TEXT NOT NULL  -- when it was added [UTC]
);
CREATE INDEX installation_of_engine ON installation (engine_id);

CREATE TABLE series (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the series [key]
    engine_id INTEGER NOT NULL REFERENCES engine (id),  -- engine recorded [key]
    installation_id INTEGER REFERENCES installation (id),  -- empty before the first [key]
    epoch INTEGER NOT NULL,  -- count of works that moved levels for good [1]
    position TEXT NOT NULL,  -- where the sensor sat [text]
    device TEXT NOT NULL,  -- what recorded [text]
    kind TEXT NOT NULL,  -- acceleration, sound and so on [text]
    unit TEXT NOT NULL,  -- unit of the samples [text]
    codec TEXT NOT NULL,  -- how sound was stored; blank for tables [text]
    manner TEXT NOT NULL,  -- steady, run-up or coast-down [text]
    condition TEXT NOT NULL,  -- warm, out of gear and so on [text]
    speed_rpm FLOAT  -- speed; empty when it sweeps [rpm]
);
CREATE INDEX series_of_engine ON series (engine_id);

CREATE TABLE recording (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the recording [key]
    engine_id INTEGER NOT NULL REFERENCES engine (id),  -- engine recorded [key]
    label TEXT NOT NULL,  -- short id shown to people: first digits of sha256 [hex]
    sha256 TEXT NOT NULL,  -- SHA-256 of the original, which is kept by it [hex]
    name TEXT NOT NULL,  -- file name it came with [text]
    visit TEXT NOT NULL,  -- check-up it belongs to [text]
    hours FLOAT NOT NULL,  -- engine hours when recorded [h]
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

CREATE TABLE filing (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the filing [key]
    recording_id INTEGER NOT NULL REFERENCES recording (id),  -- recording filed [key]
    series_id INTEGER NOT NULL REFERENCES series (id),  -- series, newest counts [key]
    made_at TEXT NOT NULL  -- when it was filed [UTC]
);
CREATE INDEX filing_of_recording ON filing (recording_id);
CREATE INDEX filing_in_series ON filing (series_id);

CREATE TABLE measurement (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the measurement [key]
    recording_id INTEGER NOT NULL REFERENCES recording (id),  -- what was measured [key]
    method_version INTEGER NOT NULL,  -- version of the method, highest counts [1]
    speed_rpm FLOAT,  -- measured speed; empty if none [rpm]
    unusable BOOLEAN NOT NULL,  -- a fault rules out comparison [yes/no]
    result TEXT NOT NULL,  -- whole result, units inside [JSON]
    made_at TEXT NOT NULL,  -- when it was measured [UTC]
    UNIQUE (recording_id, method_version)
);

CREATE TABLE amplitude (
    measurement_id INTEGER NOT NULL REFERENCES measurement (id),  -- measurement it is part of [key]
    place INTEGER NOT NULL,  -- place in the measurement [1]
    feature TEXT NOT NULL,  -- order, driven: NAME or overall: NAME [text]
    order_number FLOAT,  -- times crank speed; empty if none [1]
    amplitude FLOAT,  -- rms value [unit in result]
    standard_error FLOAT,  -- of the amplitude [unit in result]
    floor FLOAT,  -- noise level [unit in result]
    visible BOOLEAN NOT NULL,  -- can be told from noise [yes/no]
    PRIMARY KEY (measurement_id, place)
) WITHOUT ROWID;

CREATE TABLE verdict (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the verdict [key]
    series_id INTEGER NOT NULL REFERENCES series (id),  -- series judged [key]
    made_at TEXT NOT NULL,  -- when it was judged [UTC]
    state TEXT NOT NULL,  -- state in plain words [text]
    result TEXT NOT NULL,  -- whole verdict, units inside [JSON]
    newest_recording_id INTEGER REFERENCES recording (id)  -- newest recording it knew [key]
);
CREATE INDEX verdict_of_series ON verdict (series_id);
"""


def upgrade() -> None:
    """Make the tables."""
    for statement in TABLES.strip().split(";\n"):
        op.execute(statement)
