"""Work that moved levels for good, and the velocity of each order.

The table of amplitudes is made anew, for only so does its text in the file explain the new
column. Orders come first in a kept result, so that the place of an amplitude is theirs.
"""

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

STATEMENTS = """
CREATE TABLE work (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the work [key]
    engine_id INTEGER NOT NULL REFERENCES engine (id),  -- engine worked on [key]
    date TEXT NOT NULL,  -- day it was done [date]
    hours FLOAT NOT NULL,  -- engine hours at that time [h]
    what TEXT NOT NULL,  -- mounts, injectors, belt and so on [text]
    note TEXT NOT NULL,  -- what exactly was done; may be blank [text]
    added_at TEXT NOT NULL  -- when it was added [UTC]
);
CREATE INDEX work_of_engine ON work (engine_id);

CREATE TABLE amplitude_with_velocity (
    measurement_id INTEGER NOT NULL REFERENCES measurement (id),  -- measurement it is part of [key]
    place INTEGER NOT NULL,  -- place in the measurement [1]
    feature TEXT NOT NULL,  -- order, driven: NAME or overall: NAME [text]
    order_number FLOAT,  -- times crank speed; empty if none [1]
    amplitude FLOAT,  -- rms value [unit in result]
    standard_error FLOAT,  -- of the amplitude [unit in result]
    floor FLOAT,  -- noise level [unit in result]
    visible BOOLEAN NOT NULL,  -- can be told from noise [yes/no]
    velocity_mm_s FLOAT,  -- rms velocity of an order; empty if it has no meaning [mm/s]
    PRIMARY KEY (measurement_id, place)
) WITHOUT ROWID;
INSERT INTO amplitude_with_velocity
    SELECT amplitude.*, CASE WHEN feature = 'order'
        THEN json_extract(result, '$.orders[' || place || '].velocity_mm_s') END
    FROM amplitude JOIN measurement ON measurement.id = measurement_id;
DROP TABLE amplitude;
ALTER TABLE amplitude_with_velocity RENAME TO amplitude;
"""


def upgrade() -> None:
    """Make the table of work and give orders their velocity."""
    for statement in STATEMENTS.strip().split(";\n"):
        op.execute(statement.removesuffix(";"))
