"""Invented histories for the page: one engine whose order 4.5 bends, one that is too new."""

import datetime as dt
import hashlib
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from vibetrend.checkup.records import EngineRecord, OrderSpectrum, SeriesRecord, Step, Work
from vibetrend.engine import Engine
from vibetrend.installation import Renewal
from vibetrend.trend import Verdict, compare, judge

ORDERS = np.arange(0.5, 9.5, 0.5)  # 18 orders
START = dt.date(2026, 5, 1)
FIRST_HOURS = 3150.0
MADE_AT = dt.datetime(2028, 6, 20, 17, 5)


def history(
    *,
    visits: int = 16,
    bend_db_per_1000h: float = 2.4,
    bend_order: float = 4.5,
    seed: int = 7,
    begun_at: float = FIRST_HOURS,
) -> pd.DataFrame:
    """Return three placements at each check-up; one order rises from 4300 h on."""
    rng = np.random.default_rng(seed)
    level = 0.9 * np.exp(-ORDERS / 4) + 0.02
    level[ORDERS == 3] = 1.4
    rows: list[dict[str, Any]] = []
    for visit in range(visits):
        # Three baseline days within 20 h, then a check-up every 180 h.
        hours = begun_at + (10.0 * visit if visit < 3 else 20 + 180.0 * (visit - 2))
        day = START + dt.timedelta(days=round((hours - FIRST_HOURS) / 3.4))
        drift = np.zeros(ORDERS.size)
        drift[bend_order == ORDERS] = max(0.0, hours - 4300) / 1000 * bend_db_per_1000h
        daily = rng.normal(0, 0.3, ORDERS.size)
        for placement in range(3):
            common, own = rng.normal(0, 0.6), rng.normal(0, 0.5, ORDERS.size)
            if visit == 9 and placement == 1:  # one placement on another spot
                own += rng.normal(0, 3.0, ORDERS.size)
            speed = 1000 + rng.normal(0, 3, ORDERS.size)[0]
            amplitude = level * 10 ** ((common + drift + daily + own) / 20)
            rows += [
                {
                    "recording": f"v{visit:02d}-{placement}",
                    "visit": str(day),
                    "hours": hours,
                    "order": float(order),
                    "amplitude": float(a),
                    "standard_error": 0.004,
                    "baseline": visit < 3,
                    "feature": "order",
                    "floor": 0.005,
                    "visible": True,
                    "date": day,
                    "rpm": speed,
                }
                for order, a in zip(ORDERS, amplitude, strict=True)
            ]
    return pd.DataFrame(rows)


def recordings(table: pd.DataFrame) -> pd.DataFrame:
    """Return the list of recordings that belongs to a history."""
    one = table.drop_duplicates("recording").reset_index(drop=True)
    names = [f"IMG_{i:04d}_idle.csv" for i in range(len(one))]
    notes: list[list[dict[str, str]]] = [[] for _ in names]
    if len(notes) > 5:
        notes[5] = [{
            "code": "speed-not-steady", "severity": "warning",
            "message": "speed varied by 1.4 % within the recording",
        }]  # fmt: skip
    return pd.DataFrame(
        {
            "recording": one["recording"],
            "name": names,
            "sha256": [hashlib.sha256(name.encode()).hexdigest() for name in names],
            "visit": one["visit"],
            "hours": one["hours"],
            "date": one["date"],
            "rpm": 1000.0,
            "speed_rpm": one["rpm"],
            "speed_standard_error_rpm": 0.2,
            "speed_spread_percent": [0.4 + 0.1 * (i % 5) for i in range(len(one))],
            "overall": [_overall(table, name) for name in one["recording"]],
            "reading": [{"rate": 200.0} if i == 1 else {} for i in range(len(one))],
            "baseline": one["baseline"],
            "quality": notes,
            "method_version": 1,
        }
    )


def _overall(table: pd.DataFrame, recording: str) -> list[dict[str, Any]]:
    """Return the overall levels of a recording that holds nothing but its orders."""
    mine = table[table["recording"] == recording]
    together = float(np.sqrt((mine["amplitude"] ** 2).sum()))
    band = {"band_hz": [2.0, 160.0]}
    return [
        {"name": "acceleration", **band, "value": together, "unit": "m/s^2"},
        {"name": "velocity", **band, "value": 8.0 * together, "unit": "mm/s"},
    ]


def engine(name: str = "main", **values: Any) -> Engine:
    described: dict[str, Any] = {
        "name": name,
        "cylinders": 6,
        "fast_idle_rpm": 1000,
        "rated_rpm": 2600,
        "driven": [{"name": "alternator", "ratio": 2.2}],
        "damper": {"type": "rubber", "renew_hours": 4000, "renew_years": 6},
    }
    return Engine.model_validate(described | values)


def series(table: pd.DataFrame, verdict: Verdict | None = None) -> SeriesRecord:
    latest = table[table["recording"] == table["recording"].iloc[-1]]
    base = table[table["baseline"]].groupby("order")["amplitude"].mean()
    return SeriesRecord(
        info={
            "id": 1, "position": "front cover", "device": "old phone", "kind": "acceleration",
            "unit": "m/s^2", "codec": "", "condition": "warm, out of gear", "manner": "steady",
            "speed_rpm": 1000.0, "baseline": "after-installation", "epoch": 0, "ended": None,
            "carried": None, "follows": None,
        },
        verdict=judge(table, engine=engine()) if verdict is None else verdict,
        history=table,
        recordings=recordings(table),
        latest=OrderSpectrum(
            order=latest["order"].to_numpy(float), amplitude=latest["amplitude"].to_numpy(float),
            unit="m/s²", label="latest check-up",
        ),
        reference=None if base.empty else OrderSpectrum(
            order=base.index.to_numpy(float), amplitude=base.to_numpy(float),
            unit="m/s²", label="mean of the baseline",
        ),
    )  # fmt: skip


def engine_record(name: str = "main", *parts: SeriesRecord, overdue: bool = False) -> EngineRecord:
    hours = max((float(part.history["hours"].max()) for part in parts), default=3150.0)
    due = Renewal(
        state="overdue" if overdue else "ok",
        due_date=dt.date(2028, 5, 1) if overdue else dt.date(2032, 5, 1),
        due_hours=7120.0,
        first="date" if overdue else "hours",
        expected_hours=7120.0,
    )
    return EngineRecord(
        engine=engine(name),
        status={
            "name": name,
            "state": parts[0].verdict.state if parts else "no-baseline",
            "hours": hours,
            "next_recording_hours": hours + 150,
            "renewal": due.to_dict(),
        },
        installation_date=START,
        installation_hours=3120.0,
        as_found=False,
        series=parts,
        renewal=due,
    )


WORK_HOURS = 5525.0
WORK = (
    Work(date=dt.date(2028, 4, 12), hours=WORK_HOURS, what="mounts", note="all four, new rubber"),
    Work(date=dt.date(2028, 4, 12), hours=WORK_HOURS, what="injectors", note=""),
)


def worked_on(name: str = "main", *, note: str | None = None) -> EngineRecord:
    """Return an engine whose order 4.5 had risen before a work, and fell by it."""
    old_table = history()
    new_table = history(visits=6, bend_db_per_1000h=0.0, seed=12, begun_at=5535.0)
    fell = new_table["order"] == 2.0
    new_table["amplitude"] *= np.where(fell, 10 ** (-5 / 20), 1.0)
    last = old_table[old_table["visit"] == old_table["visit"].iloc[-1]]
    old, new = series(old_table), series(new_table)
    ended = {"ended": "work on 2028-04-12: mounts, injectors"}
    record = engine_record(
        name,
        replace(
            new,
            info=new.info | {"id": 2, "epoch": 1, "follows": 1},
            after_work=Step(
                **vars(compare(last, new_table[new_table["baseline"]])),
                against=last["date"].iloc[0],
            ),
        ),
        replace(old, info=old.info | ended, ended=True),
    )
    work = WORK if note is None else (replace(WORK[0], note=note), WORK[1])
    return replace(record, work=work)
