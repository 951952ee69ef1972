"""The installation record: how a damper was fitted, what was measured, when it is due."""

from vibetrend.installation.belts import Belt, BeltDrop, belt_content
from vibetrend.installation.beside import (
    Finish,
    Photo,
    WrittenNote,
    finish_content,
    note_content,
    photo_content,
)
from vibetrend.installation.bolts import Bolt, bolt_content
from vibetrend.installation.checklist import CHECKLIST, Check, check_content
from vibetrend.installation.comparing import Moved
from vibetrend.installation.details import Details, details_content
from vibetrend.installation.entered import Content
from vibetrend.installation.marks import MARKS, Mark, MarkChange, mark_content
from vibetrend.installation.reading import Reading
from vibetrend.installation.record import Record, record_of
from vibetrend.installation.renewal import Renewal, renewal
from vibetrend.installation.runout import RunOut, runout, runout_content
from vibetrend.installation.runout_change import RunOutChange, compare_runout
from vibetrend.installation.sentences import (
    drop_sentence,
    mark_change_sentence,
    moved_sentence,
    sentence,
)
from vibetrend.installation.stations import Missed
from vibetrend.installation.viscous import Casing, Fluid, casing_content, fluid_content

__all__ = [
    "CHECKLIST",
    "MARKS",
    "Belt",
    "BeltDrop",
    "Bolt",
    "Casing",
    "Check",
    "Content",
    "Details",
    "Finish",
    "Fluid",
    "Mark",
    "MarkChange",
    "Missed",
    "Moved",
    "Photo",
    "Reading",
    "Record",
    "Renewal",
    "RunOut",
    "RunOutChange",
    "WrittenNote",
    "belt_content",
    "bolt_content",
    "casing_content",
    "check_content",
    "compare_runout",
    "details_content",
    "drop_sentence",
    "finish_content",
    "fluid_content",
    "mark_change_sentence",
    "mark_content",
    "moved_sentence",
    "note_content",
    "photo_content",
    "record_of",
    "renewal",
    "runout",
    "runout_content",
    "sentence",
]
