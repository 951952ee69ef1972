"""The rows of the judge's benchmark: a world each, and what is counted in its lives."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import judge_figures as figure
import numpy as np
from judge_figures import Figure
from judge_living import Outcome
from judge_worlds import LIMIT_DB, World

Lives = Callable[[World], list[Outcome]]
Row = Callable[[Lives], list[Figure]]

PLAIN = World()
RAMP, EXPONENTIAL, STEP, TOGETHER, PHONE = (
    replace(PLAIN, drift=drift) for drift in ("ramp", "exponential", "step", "together", "phone")
)
LATE = replace(PLAIN, drift="late exponential", growth=(250.0, 600.0))
STRESS = replace(PLAIN, bad=0.1, tails=4, tilt=0.5)
CONDITIONS = replace(PLAIN, conditions=0.4)
KNOWN = replace(CONDITIONS, conditions_known=True)
FREQUENT = replace(PLAIN, every=(80.0, 120.0), onset=(200.0, 500.0))
SELDOM = replace(PLAIN, every=(350.0, 450.0))


def quiet(
    world: World, *, lives: float = 0, days: float = np.inf, moved: float = 0, again: float = np.inf
) -> Row:
    """Count what is said although nothing changes; the numbers are targets."""

    def row(live: Lives) -> list[Figure]:
        out = live(world)
        needless = [each.needless_again for each in out]
        return [
            figure.one_in("false warnings", [warned(each) for each in out], lives=lives),
            figure.mean("extra days", [each.extra_days for each in out], most=days),
            figure.one_in(
                "false all-moved", [each.all_moved_in is not None for each in out], lives=moved
            ),
            figure.mean("record-again", [each.record_again for each in out]),
            figure.mean("  of these needless", needless, most=again),
        ]

    return row


def ramp(world: World, *, before_3: float = 0, before_4: float = 0, right: float = 0) -> Row:
    """Count at which level a slow change of one order is warned of."""

    def row(live: Lives) -> list[Figure]:
        out = counted(live(world))
        levels = [each.level for each in out]
        return [
            figure.median("median level at the warning", levels),
            figure.share("before 2 dB", [level < 2 for level in levels]),
            figure.share("before 3 dB", [level < 3 for level in levels], least=before_3),
            figure.share("before 4 dB", [level < 4 for level in levels], least=before_4),
            *common_to_drifts(out, right=right),
        ]

    return row


def exponential(world: World, *, doubling: float = 0, in_time: float = 0, covers: float = 0) -> Row:
    """Count whether a growing change is warned of before it has doubled."""

    def row(live: Lives) -> list[Figure]:
        out = counted(live(world))
        levels = [each.level for each in out]
        in_100 = [warned(each) and each.hours_left >= 100 for each in out]
        return [
            figure.median("median level at the warning", levels),
            figure.share("before doubling", [each < LIMIT_DB for each in levels], least=doubling),
            figure.share("100 h or more before", in_100, least=in_time),
            *common_to_drifts(out, covers=(covers, 1.0)),
        ]

    return row


def step(world: World, *, same: float = 0, three: float = 0) -> Row:
    """Count how soon a step is warned of."""

    def row(live: Lives) -> list[Figure]:
        out = counted(live(world))
        delay = [each.delay for each in out]
        return [
            figure.share("at the same check-up", [each <= 0 for each in delay], least=same),
            figure.share("within three check-ups", [each <= 2 for each in delay], least=three),
            *common_to_drifts(out),
        ]

    return row


def common_to_drifts(
    out: Sequence[Outcome], *, right: float = 0, covers: tuple[float, float] = (0.0, 1.0)
) -> list[Figure]:
    """Return what every drift of one order is asked for."""
    warnings = [each for each in out if warned(each)]
    return [
        figure.share("right order and direction", [each.right for each in warnings], least=right),
        *intervals(out, *covers),
        figure.mean("extra days", [each.extra_days for each in out]),
    ]


def intervals(out: Iterable[Outcome], least: float = 0.0, most: float = 1.0) -> list[Figure]:
    """Return how often the 90 % interval of hours to the limit holds the truth."""
    told = [each for each in out if warned(each) and each.right and each.direction > 0]
    holds = [each.low <= each.hours_left <= each.high for each in told]
    return [
        figure.share("interval of hours to limit covers", holds, least=least, most=most),
        figure.share("  truth before its early end", [each.hours_left < each.low for each in told]),
    ]


def mixed(live: Lives) -> list[Figure]:
    """Count how often the interval holds over ramps, exponentials and steps alike."""
    out = [each for world in (RAMP, EXPONENTIAL, LATE, STEP) for each in counted(live(world))]
    return intervals(out, 0.85, 0.95)


def together(live: Lives) -> list[Figure]:
    """Count what is said when all orders step together by 3 to 4 dB."""
    out = live(TOGETHER)
    soon = [
        each.all_moved_in is not None and 0 <= each.all_moved_in - each.life.begins_in <= 2
        for each in out
    ]
    usual = sum(warned(each) for each in live(PLAIN)) / len(out)
    orders = figure.one_in("an order is warned of", [warned(each) for each in out])
    orders = replace(orders, high=usual, aim=f"<= quiet, {usual:.2%}")
    return [orders, figure.share("noticed within three check-ups", soon, least=0.75)]


def phone(world: World) -> Row:
    """Count what is said when another phone is used without a word."""

    def row(live: Lives) -> list[Figure]:
        out = counted(live(world))
        return [
            figure.share("an order is warned of", [warned(each) for each in out]),
            figure.share("all-moved", [each.all_moved_in is not None for each in out]),
            figure.mean("extra days", [each.extra_days for each in out]),
        ]

    return row


def warned(outcome: Outcome) -> bool:
    """Say whether a change of an order was confirmed."""
    return outcome.warned_in is not None


def counted(out: Iterable[Outcome]) -> list[Outcome]:
    """Leave out lives warned of before anything changed: the quiet rows count those."""
    return [each for each in out if not each.early]


def variations(world: World) -> dict[str, Row]:
    """Return the rows of a world that differs from the plain one."""
    return {"quiet": quiet(world), "ramp": ramp(replace(world, drift="ramp"))}


TARGETS: dict[str, Row] = {
    "quiet": quiet(PLAIN, lives=100, days=1.5, moved=50, again=1),
    "ramp": ramp(RAMP, before_3=0.9, before_4=0.99, right=0.99),
    "exponential": exponential(EXPONENTIAL, doubling=0.99, in_time=0.95, covers=0.85),
    "late exponential": exponential(LATE),
    "step": step(STEP, same=0.5, three=0.9),
    "interval, mixed drifts": mixed,
    "all together": together,
    "stress": quiet(STRESS, lives=75),
    "4 orders": quiet(replace(PLAIN, orders=4), lives=100),
    "4 orders, ramp": ramp(replace(RAMP, orders=4)),
    "6 orders": quiet(replace(PLAIN, orders=6), lives=100),
    "6 orders, ramp": ramp(replace(RAMP, orders=6)),
    "conditions doubled": quiet(CONDITIONS),
    "conditions doubled and known": quiet(KNOWN, lives=100),
}
"""The rows of the list of numbers to reach."""

_OTHER_WORLDS = {
    "stress": STRESS,
    "scatter 0.5 dB": replace(PLAIN, scatter=(0.5, 0.5)),
    "scatter 1.5 dB": replace(PLAIN, scatter=(1.5, 1.5)),
    "common share 0.2": replace(PLAIN, common_share=(0.2, 0.2)),
    "common share 0.7": replace(PLAIN, common_share=(0.7, 0.7)),
    "scatter 1.5 dB, share 0.2": replace(PLAIN, scatter=(1.5, 1.5), common_share=(0.2, 0.2)),
    "scatter 2 dB": replace(PLAIN, scatter=(2.0, 2.0)),
    "20 orders": replace(PLAIN, orders=20),
    "5 orders": replace(PLAIN, orders=5),
    "8 orders": replace(PLAIN, orders=8),
    "100 h apart": FREQUENT,
    "400 h apart": SELDOM,
    "10 % of orders missing": replace(PLAIN, missing=0.1),
    "bad placements 10 %": replace(PLAIN, bad=0.1),
    "bad placements 15 %, often all day": replace(PLAIN, bad=0.15, persists=0.8),
    "t4 tails": replace(PLAIN, tails=4),
    "tilt 0.5 dB": replace(PLAIN, tilt=0.5),
    "days differ by 0.5 dB": replace(PLAIN, day=0.5),
    "orders' scatters differ twofold": replace(PLAIN, differs=0.5),
    "conditions with the season": replace(PLAIN, seasonal=0.8),
    "conditions doubled, with the season": replace(CONDITIONS, seasonal=0.8),
    "conditions doubled": CONDITIONS,
    "conditions known": replace(PLAIN, conditions_known=True),
    "conditions doubled and known": KNOWN,
    "conditions doubled, with the season, known": replace(KNOWN, seasonal=0.8),
    "tilt 1 dB": replace(PLAIN, tilt=1.0),
    "10 h apart": replace(PLAIN, every=(8.0, 12.0), onset=(20.0, 60.0)),
    "one placement a check-up": replace(PLAIN, placements=1),
    "two placements a check-up": replace(PLAIN, placements=2),
    "baseline: one day": replace(PLAIN, baseline_days=1),
    "baseline: one placement a day": replace(PLAIN, baseline_placements=1),
    "one recording each time": replace(PLAIN, placements=1, baseline_days=1, baseline_placements=1),
    "baseline: one recording": replace(PLAIN, baseline_days=1, baseline_placements=1),
}

EXTRA: dict[str, Row] = {
    f"{name}, {kind}": row
    for name, world in _OTHER_WORLDS.items()
    for kind, row in variations(world).items()
} | {
    "fall": ramp(replace(RAMP, pace=-1.0)),
    "ramp 2 dB per 500 h": ramp(replace(RAMP, pace=2.0)),
    "ramp 0.5 dB per 500 h": ramp(replace(RAMP, pace=0.5)),
    "ramp in two orders": ramp(replace(RAMP, movers=2)),
    "ramp in four orders": ramp(replace(RAMP, movers=4)),
    "ramp in seven orders": ramp(replace(RAMP, movers=7)),
    "ramp from the baseline on": ramp(replace(RAMP, onset=(20.0, 20.0))),
    "step of 6 dB": step(replace(STEP, step=6.0)),
    "step, seven orders": step(replace(STEP, movers=7)),
    "step of -3 dB": step(replace(STEP, step=-3.0)),
    "step, two orders": step(replace(STEP, movers=2)),
    "another phone, leftover 0.5 dB": phone(PHONE),
    "another phone, no leftover": phone(replace(PHONE, leftover=0.0)),
}
