"""Playing a demo plan: every invented recording added as a person would, oldest first."""

import datetime as dt
from collections.abc import Iterator

from vibetrend.checkup import demo_record
from vibetrend.checkup.adding import Added, add_file
from vibetrend.engine import Engine, read_text
from vibetrend.logbook import Logbook
from vibetrend.simulate import DemoPlan


def play(plan: DemoPlan, logbook: Logbook, *, today: dt.date) -> Iterator[Added]:
    """Add everything a demo plan lists, oldest first, one recording for each step."""
    for planned in plan.engines:
        start = planned.installation
        recorded = planned.name == demo_record.NAME
        text = read_text(planned.file) + demo_record.LIMITS * recorded
        logbook.put_engine(text, Engine.parse(text, where=str(planned.file)))
        logbook.start_installation(
            planned.name,
            date=start.date,
            hours=start.hours,
            as_found=start.as_found,
            details=demo_record.details(start.date) if recorded else None,
        )
        if recorded:
            demo_record.keep(logbook, start.date)
        for visit in planned.visits:
            for path in visit.files:
                yield add_file(
                    logbook,
                    path,
                    engine_name=planned.name,
                    today=today,
                    visit=visit.visit,
                    baseline=visit.baseline,
                    manner=visit.manner,
                    rpm=visit.rpm,
                    end_rpm=visit.end_rpm,
                    damper_c=visit.damper_c,
                    hours=visit.hours,
                    date=visit.date,
                    position=visit.position,
                    device=visit.device,
                    condition=visit.condition,
                )
