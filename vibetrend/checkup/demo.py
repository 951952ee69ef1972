"""Playing a demo plan: every invented recording added as a person would, oldest first."""

import datetime as dt
from collections.abc import Iterator

from vibetrend.checkup.adding import Added, add_file
from vibetrend.engine import Engine, read_text
from vibetrend.logbook import Logbook
from vibetrend.simulate import DemoPlan


def play(plan: DemoPlan, logbook: Logbook, *, today: dt.date) -> Iterator[Added]:
    """Add everything a demo plan lists, oldest first, one recording for each step."""
    for planned in plan.engines:
        logbook.put_engine(read_text(planned.file), Engine.load(planned.file))
        start = planned.installation
        logbook.start_installation(
            planned.name, date=start.date, hours=start.hours, as_found=start.as_found
        )
        for visit in planned.visits:
            for path in visit.files:
                yield add_file(
                    logbook,
                    path,
                    engine_name=planned.name,
                    today=today,
                    visit=visit.visit,
                    baseline=visit.baseline,
                    rpm=visit.rpm,
                    hours=visit.hours,
                    date=visit.date,
                    position=visit.position,
                    device=visit.device,
                    condition=visit.condition,
                )
