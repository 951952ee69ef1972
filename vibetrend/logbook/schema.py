"""The tables of the logbook, for queries.

A column's comment says what it holds and, in brackets, its unit. The tables are made by
`migrations/`, which writes the same comments into the database file; a test compares the two.
Rows are only ever added: the newest engine file, filing, measurement, verdict and correction are
the current ones, and the older ones stay to be looked at.

Versions: 0001 first; 0002 work, and the velocity of orders; 0003 the installation record and the
hour meter; 0004 corrections, and the chain that shows whether a row was changed.
"""

import datetime as dt
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Boolean, Float, ForeignKey, Integer, Text

SCHEMA_VERSION = "0004"

metadata = sa.MetaData()


def now() -> str:
    """Return the present time, UTC, ISO 8601."""
    return dt.datetime.now(dt.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _column(
    name: str, kind: Any, *references: ForeignKey, comment: str, empty: bool = False
) -> sa.Column[Any]:
    return sa.Column(name, kind, *references, nullable=empty, comment=comment)


def _number(of_what: str) -> sa.Column[Any]:
    return sa.Column("id", Integer, primary_key=True, comment=f"number of the {of_what} [key]")


def _meter_hours() -> sa.Column[Any]:
    comment = "what the meter showed; empty: equal to hours [h]"
    return _column("meter_hours", Float, empty=True, comment=comment)


engine = sa.Table(
    "engine",
    metadata,
    _number("engine"),
    _column("name", Text, comment="name the person gave it [text]"),
    sa.UniqueConstraint("name"),
)

engine_file = sa.Table(
    "engine_file",
    metadata,
    _number("engine file"),
    _column("engine_id", Integer, ForeignKey("engine.id"), comment="engine described [key]"),
    _column("toml", Text, comment="engine file as given; the newest is current [text]"),
    _column("added_at", Text, comment="when it was added [UTC]"),
    sa.Index("engine_file_of_engine", "engine_id"),
)

installation = sa.Table(
    "installation",
    metadata,
    _number("installation"),
    _column("engine_id", Integer, ForeignKey("engine.id"), comment="engine it is on [key]"),
    _column("date", Text, comment="day the damper was fitted or found [date]"),
    _column("hours", Float, comment="true engine hours at that time [h]"),
    _meter_hours(),
    _column("as_found", Boolean, comment="taken as found, no new damper fitted [yes/no]"),
    _column("engine_toml", Text, comment="copy of the engine file at that time [text]"),
    _column("added_at", Text, comment="when it was added [UTC]"),
    sa.Index("installation_of_engine", "engine_id"),
)

work = sa.Table(
    "work",
    metadata,
    _number("work"),
    _column("engine_id", Integer, ForeignKey("engine.id"), comment="engine worked on [key]"),
    _column("date", Text, comment="day it was done [date]"),
    _column("hours", Float, comment="true engine hours at that time [h]"),
    _meter_hours(),
    _column("what", Text, comment="mounts, injection, belt and so on [text]"),
    _column("note", Text, comment="what exactly was done; may be blank [text]"),
    _column("added_at", Text, comment="when it was added [UTC]"),
    sa.Index("work_of_engine", "engine_id"),
)

entry = sa.Table(
    "entry",
    metadata,
    _number("entry"),
    _column(
        "installation_id",
        Integer,
        ForeignKey("installation.id"),
        comment="on which it was entered [key]",
    ),
    _column("kind", Text, comment="runout, bolt, belt, photo and so on [text]"),
    _column("date", Text, comment="day it was read or done [date]"),
    _column("content", Text, comment="what was entered, units inside [JSON]"),
    _column("added_at", Text, comment="when it was added [UTC]"),
    sa.Index("entry_of_installation", "installation_id"),
)

meter = sa.Table(
    "meter",
    metadata,
    _number("meter entry"),
    _column("engine_id", Integer, ForeignKey("engine.id"), comment="engine it is on [key]"),
    _column("date", Text, comment="day it was read or changed [date]"),
    _column("what", Text, comment="reading, replaced or rolled-over [text]"),
    _column("shown", Float, comment="what it showed; the old one's last if changed [h]"),
    _column("after", Float, empty=True, comment="what the new one showed first [h]"),
    _column("note", Text, comment="may be blank [text]"),
    _column("added_at", Text, comment="when it was added [UTC]"),
    sa.Index("meter_of_engine", "engine_id"),
)

series = sa.Table(
    "series",
    metadata,
    _number("series"),
    _column("engine_id", Integer, ForeignKey("engine.id"), comment="engine recorded [key]"),
    _column(
        "installation_id",
        Integer,
        ForeignKey("installation.id"),
        empty=True,
        comment="empty before the first [key]",
    ),
    _column("epoch", Integer, comment="count of works that moved levels for good [1]"),
    _column("position", Text, comment="where the sensor sat [text]"),
    _column("device", Text, comment="what recorded [text]"),
    _column("kind", Text, comment="acceleration, sound and so on [text]"),
    _column("unit", Text, comment="unit of the samples [text]"),
    _column("codec", Text, comment="how sound was stored; blank for tables [text]"),
    _column("manner", Text, comment="steady, run-up or coast-down [text]"),
    _column("condition", Text, comment="warm, out of gear and so on [text]"),
    _column("speed_rpm", Float, empty=True, comment="speed; empty when it sweeps [rpm]"),
    sa.Index("series_of_engine", "engine_id"),
)

recording = sa.Table(
    "recording",
    metadata,
    _number("recording"),
    _column("engine_id", Integer, ForeignKey("engine.id"), comment="engine recorded [key]"),
    _column("label", Text, comment="short id shown to people: first digits of sha256 [hex]"),
    _column("sha256", Text, comment="SHA-256 of the original, which is kept by it [hex]"),
    _column("name", Text, comment="file name it came with [text]"),
    _column("visit", Text, comment="check-up it belongs to [text]"),
    _column("hours", Float, comment="true engine hours when recorded [h]"),
    _meter_hours(),
    _column("date", Text, comment="day it was recorded [date]"),
    _column("rpm", Float, empty=True, comment="speed the person stated [rpm]"),
    _column("baseline", Boolean, comment="part of the baseline [yes/no]"),
    _column("before", Boolean, comment="taken before the damper was renewed [yes/no]"),
    _column("tags", Text, comment="position, device, kind and so on as stated [JSON]"),
    _column("reading", Text, comment="options the original has to be read with [JSON]"),
    _column("added_at", Text, comment="when it was added [UTC]"),
    sa.UniqueConstraint("engine_id", "sha256"),
    sa.UniqueConstraint("label"),
)

# A recording changes its series when an installation is entered late, so where it is filed is
# an entry of its own: the recording itself is never touched.
filing = sa.Table(
    "filing",
    metadata,
    _number("filing"),
    _column("recording_id", Integer, ForeignKey("recording.id"), comment="recording filed [key]"),
    _column("series_id", Integer, ForeignKey("series.id"), comment="series, newest counts [key]"),
    _column("made_at", Text, comment="when it was filed [UTC]"),
    sa.Index("filing_of_recording", "recording_id"),
    sa.Index("filing_in_series", "series_id"),
)

measurement = sa.Table(
    "measurement",
    metadata,
    _number("measurement"),
    _column("recording_id", Integer, ForeignKey("recording.id"), comment="what was measured [key]"),
    _column("method_version", Integer, comment="version of the method [1]"),
    _column("speed_rpm", Float, empty=True, comment="measured speed; empty if none [rpm]"),
    _column("unusable", Boolean, comment="a fault rules out comparison [yes/no]"),
    _column("result", Text, comment="whole result, units inside [JSON]"),
    _column("made_at", Text, comment="when it was measured; the newest counts [UTC]"),
    sa.Index("measurement_of_recording", "recording_id"),
)

amplitude = sa.Table(
    "amplitude",
    metadata,
    sa.Column(
        "measurement_id",
        Integer,
        ForeignKey("measurement.id"),
        primary_key=True,
        comment="measurement it is part of [key]",
    ),
    sa.Column("place", Integer, primary_key=True, comment="place in the measurement [1]"),
    _column("feature", Text, comment="order, driven: NAME or overall: NAME [text]"),
    _column("order_number", Float, empty=True, comment="times crank speed; empty if none [1]"),
    _column("amplitude", Float, empty=True, comment="rms value [unit in result]"),
    _column("standard_error", Float, empty=True, comment="of the amplitude [unit in result]"),
    _column("floor", Float, empty=True, comment="noise level [unit in result]"),
    _column("visible", Boolean, comment="can be told from noise [yes/no]"),
    _column(
        "velocity_mm_s",
        Float,
        empty=True,
        comment="rms velocity of an order; empty if it has no meaning [mm/s]",
    ),
    sqlite_with_rowid=False,
)

verdict = sa.Table(
    "verdict",
    metadata,
    _number("verdict"),
    _column("series_id", Integer, ForeignKey("series.id"), comment="series judged [key]"),
    _column("made_at", Text, comment="when it was judged [UTC]"),
    _column("state", Text, comment="state in plain words [text]"),
    _column("result", Text, comment="whole verdict, units inside [JSON]"),
    _column(
        "newest_recording_id",
        Integer,
        ForeignKey("recording.id"),
        empty=True,
        comment="newest recording it knew [key]",
    ),
    sa.Index("verdict_of_series", "series_id"),
)

# What is corrected stays as it was entered: the value that counts instead is an entry of its own.
correction = sa.Table(
    "correction",
    metadata,
    _number("correction"),
    _column("table_name", Text, comment="table of the row corrected [text]"),
    _column("row_id", Integer, comment="number of the row corrected [key]"),
    _column("what", Text, comment="its column, or set_aside; the newest counts [text]"),
    _column("was", Text, comment="value that counted before [JSON]"),
    _column("now", Text, comment="value that counts instead [JSON]"),
    _column("reason", Text, comment="why, in the person's words [text]"),
    _column("person", Text, comment="who; blank if not stated [text]"),
    _column("made_at", Text, comment="when it was entered [UTC]"),
    sa.Index("correction_of_row", "table_name", "row_id"),
)

chain = sa.Table(
    "chain",
    metadata,
    _number("link"),
    _column("table_name", Text, comment="table of the row sealed; blank if none [text]"),
    _column("row_id", Integer, comment="number of the row sealed; 0 if none [key]"),
    _column("made_at", Text, comment="when it was sealed [UTC]"),
    _column("why", Text, comment="blank when the row was entered, else what for [text]"),
    _column("hash", Text, comment="SHA-256 of this and the link before; see chain.py [hex]"),
    sa.Index("chain_of_row", "table_name", "row_id"),
)
