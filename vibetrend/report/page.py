"""Records -> one HTML text that needs nothing but a browser."""

import datetime as dt
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from typing import Any

from vibetrend.checkup.records import INTERVAL_HOURS, EngineRecord, Kept, SideBySide
from vibetrend.quantities import ShownUnits
from vibetrend.report import curves, histories, interference, pictures, running
from vibetrend.report import shown as in_shown
from vibetrend.report.charts import CHARTS
from vibetrend.report.document import as_json, document
from vibetrend.report.parts import engine_part
from vibetrend.report.settings_used import method_versions, settings_used
from vibetrend.report.statements import overdue
from vibetrend.trend import DOUBLED_DB

_AS_KEPT = ShownUnits()
_NO_PHOTOS: Mapping[str, bytes] = {}


def page(
    engines: Sequence[EngineRecord],
    *,
    title: str,
    made_at: dt.datetime,
    invented: bool = False,
    twins: Sequence[SideBySide] = (),
    shown: ShownUnits = _AS_KEPT,
    photos: Mapping[str, bytes] = _NO_PHOTOS,
    status: Mapping[str, Any] | None = None,
    kept: Kept | None = None,
) -> str:
    """Return the whole report as one self-contained HTML text.

    Parameters
    ----------
    engines : sequence of EngineRecord
        In the order in which they are to be shown.
    title : str
        Heading of the page; any text, it is shown as text.
    made_at : datetime
        The clock, as an argument so that the same records give the same page.
    invented : bool
        Says in a banner that the data are invented.
    twins : sequence of SideBySide
        Like engines among them, to be shown side by side.
    shown : ShownUnits
        The units a person wants to see.
    photos : mapping of SHA-256 to the photo's bytes
        Those of the installation records, small enough for a page; one that is missing here is
        named without its picture.
    status : mapping, optional
        What ``status --json`` prints of these engines: the page carries it along as its own data.
    kept : Kept, optional
        What the chain over all entries of the logbook says.
    """
    parts = [
        engine_part(record, f"engine-{i}", made_at.date(), shown, photos)
        for i, record in enumerate(engines, start=1)
    ]
    return document(
        "page.html.j2",
        title=title,
        made_at=made_at,
        invented=invented,
        engines=parts,
        overdue=overdue(engines),
        twins=[in_shown.side_by_side(each, shown) for each in twins],
        method_versions=method_versions(parts),
        used=settings_used(parts),
        kept=kept,
        interval_hours=INTERVAL_HOURS,
        usual_limit_db=DOUBLED_DB,
        version=version("vibetrend"),
        status=None if status is None else as_json(status),
        curves=curves,
        histories=histories,
        interference=interference,
        pictures=pictures,
        running=running,
        charts=CHARTS,
    )
