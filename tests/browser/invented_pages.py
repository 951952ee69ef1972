"""Whole pages to be opened: one with nearly everything, one with hostile texts, one empty."""

import io
from dataclasses import replace

import numpy as np
import pandas as pd
from invented_fitting import HASH, LATER, SOME, START, record
from invented_report import MADE_AT, Work, engine_record, history, series, worked_on
from PIL import Image

from vibetrend.checkup.records import Corrected, EngineRecord, Kept
from vibetrend.checkup.twins import side_by_side
from vibetrend.installation import (
    belt_content,
    bolt_content,
    check_content,
    details_content,
    note_content,
    runout_content,
)
from vibetrend.orders.spectrogram import Spectrogram
from vibetrend.report import page
from vibetrend.trend import judge

KEPT = "3f2a 91bc 0d1e 77aa 04c2"
OVERRIDE = "\u2067\u202e"  # right-to-left isolate and override, never taken back
NAME = f"<script>window.ran=1</script><img src=x onerror='window.ran=1'> \"q\" {OVERRIDE}gnorw "
HOSTILE = NAME + "x" * (500 - len(NAME))


def everything() -> str:
    """Two like engines, one changed, one worked on; one overdue and learning; one without any."""
    changed = series(history())
    port = replace(
        engine_record("port", replace(changed, spectrogram=_over_time())),
        installation_record=record(),
    )
    generator = engine_record("generator", series(history(visits=2)), overdue=True)
    wing = replace(engine_record("wing"), corrections=(corrected("one digit slipped " * 28),))
    engines = [port, worked_on("starboard", note="by the yard"), generator, wing]
    return page(
        engines, title="The boat", made_at=MADE_AT, twins=side_by_side(engines[:2]),
        photos={HASH: _photo()}, kept=Kept(entries=9, hash=KEPT, faults=(), notes=()),
    )  # fmt: skip


def corrected(reason: str, about: str = "idle.csv", person: str = "A. Example") -> Corrected:
    return Corrected(
        entry="3f2a91bc55", about=about, what="engine hours", was="3190", now="3125",
        reason=reason, person=person, made_at="2028-04-02T10:00:00.000Z", date=LATER,
    )  # fmt: skip


def empty() -> str:
    return page([], title="Nothing yet", made_at=MADE_AT)


def hostile() -> str:
    """Every text that a person may enter is hostile."""
    port, starboard = _hostile_engine(HOSTILE), _hostile_engine(f"{HOSTILE[:-1]}y")
    engines = [port, starboard]
    return page(engines, title=HOSTILE, made_at=MADE_AT, twins=side_by_side(engines))


def _hostile_engine(name: str) -> EngineRecord:
    table = history()
    verdict = judge(table)
    feature = f"driven: {HOSTILE}"
    table, orders = (
        pd.concat([t, t[t["order"] == 2.0].assign(feature=feature, order=2.2)], ignore_index=True)
        for t in (table, verdict.orders)
    )
    one = series(table, replace(verdict, orders=orders))
    note = {"code": "x", "severity": "note", "message": HOSTILE}
    listed = one.recordings.assign(name=HOSTILE, quality=[[note]] * len(one.recordings))
    one = replace(
        one,
        info=one.info | {"position": HOSTILE, "device": HOSTILE},
        recordings=listed,
    )
    entries = [
        ("details", START, details_content(part=HOSTILE, who=HOSTILE, notes=HOSTILE)),
        ("bolt", START, bolt_content("crankshaft", stages=["135 lbf ft"], treatment=HOSTILE,
                                     instrument=HOSTILE, person=HOSTILE, note=HOSTILE)),
        ("runout", START, runout_content("rim", [0, 0.1, 0.2, 0.1], unit="mm", note=HOSTILE)),
        ("runout", LATER, runout_content(HOSTILE, [0, 0.2, 0.2, 0.1], unit="mm", note=HOSTILE)),
        ("belt", START, belt_content(HOSTILE, stage="as-installed", tension=140, unit="lbf")),
        ("check", START, check_content("clean", note=HOSTILE, person=HOSTILE)),
        ("note", START, note_content(HOSTILE, person=HOSTILE)),
    ]  # fmt: skip
    return replace(
        engine_record(name, one),
        work=(Work(date=LATER, hours=5000.0, what="mounts", note=HOSTILE),),
        installation_record=record([*SOME, *entries]),
        corrections=(corrected(HOSTILE, HOSTILE, HOSTILE),),
    )


def _over_time() -> Spectrogram:
    rng = np.random.default_rng(3)
    return Spectrogram(
        time_s=np.linspace(0.5, 19.5, 60),
        hertz=np.linspace(2.0, 150.0, 40),
        level_db=rng.uniform(-60.0, 0.0, (40, 60)),
        label="an invented recording",
    )


def _photo() -> bytes:
    buffer = io.BytesIO()
    Image.new("RGB", (64, 48), (90, 110, 130)).save(buffer, "JPEG")
    return buffer.getvalue()
