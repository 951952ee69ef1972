"""A damper whose temperature is stated: what it hides, and what it does not take back."""

from typing import Any

import numpy as np
import pandas as pd
import pytest
from run_ups import CRANK, step, sweeps

from vibetrend.engine import Engine
from vibetrend.errors import JudgeError
from vibetrend.trend import Verdict, judge

FREQUENCY = f"resonance: {CRANK} frequency"
READING = 0.0035  # of a frequency: 2 degrees C, at 0.175 % each (runup.temperature)
WARM = 0.0187  # 35 degrees C at an assumed coefficient, unsure by 30 % of it
UNKNOWN = 0.0106  # 10 degrees C either way as a 90 % interval


def stated(table: pd.DataFrame, visit: str = "", *, damper_c: float = 40.0, moved: float = 0.0,
           shared: float = READING) -> pd.DataFrame:  # fmt: skip
    """Return a history at 40 degrees C, but one visit at others, with what that leaves open."""
    out = table.assign(damper_c=40.0)
    one = out["visit"] == visit
    out.loc[one, "damper_c"] = damper_c
    own = one & (out["feature"] == FREQUENCY)
    out.loc[own, "amplitude"] *= 1 + moved
    out.loc[own, "shared_error"] = shared * out.loc[own, "amplitude"]
    return out


def changed(seed: int, checkups: int = 4) -> pd.DataFrame:
    """Return a history whose last three check-ups are 3.5 % lower."""
    drift = step("frequency", -0.035, after=30 + 180 * (checkups - 3))
    return sweeps(checkups=checkups, drift=drift, shared=READING, seed=seed)


def frequency(verdict: Verdict) -> dict[Any, Any]:
    return verdict.orders.set_index("feature").loc[FREQUENCY].to_dict()


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("moved", [0.0, 0.02, 0.035])
def test_one_warm_check_up_takes_nothing_back(seed: int, moved: float) -> None:
    """Wherever it stands between changed and unchanged: it does not know enough."""
    table = changed(seed, checkups=5)
    before = judge(stated(table[table["visit"] < "v07"]))
    after = judge(stated(table, "v07", damper_c=75.0, moved=moved, shared=WARM))
    assert (before.state, after.state) == ("changed", "changed")
    # The usual scatter is not that of the worst check-up.
    assert frequency(after)["scatter_db"] == pytest.approx(frequency(before)["scatter_db"], rel=0.2)
    assert frequency(after)["shared_db"] == pytest.approx(20 / np.log(10) * READING, rel=0.05)


@pytest.mark.parametrize("seed", range(3))
def test_a_check_up_as_sure_as_the_others_can_take_it_back(seed: int) -> None:
    """One that stands where the baseline stood, at its temperature."""
    verdict = judge(stated(changed(seed, checkups=5), "v07", moved=0.0363))  # 1 / 0.965
    assert verdict.state == "another-day"


def test_a_warm_check_up_that_lies_clear_of_the_change_takes_it_back() -> None:
    verdict = judge(stated(changed(0, checkups=5), "v07", damper_c=75.0, moved=0.1, shared=WARM))
    assert verdict.state == "another-day"


def test_what_a_warm_damper_leaves_open_is_said() -> None:
    told = judge(stated(sweeps(shared=READING), "v10", damper_c=75.0, shared=WARM)).warmth
    assert told == (
        "At the latest check-up the damper was 35 degrees C warmer than at the baseline. What a "
        "degree does to its rubber is only assumed, which leaves 1.9 % open: compare at like "
        "temperature."
    )
    cold = stated(sweeps(shared=READING), "v10", damper_c=5.0, shared=WARM)
    assert "35 degrees C colder" in judge(cold).warmth
    engine = Engine.parse(
        'name = "main"\ncylinders = 6\nfast_idle_rpm = 700\n[damper]\ntype = "rubber"\n'
        "stiffness_percent_per_c = 0.4\n"
    )
    assert not judge(cold, engine=engine).warmth


def test_to_measure_is_asked_only_where_it_was_not_measured() -> None:
    everywhere = stated(sweeps(shared=UNKNOWN))
    assert not judge(everywhere).warmth
    for unmeasured in (everywhere.drop(columns="damper_c"), everywhere.assign(damper_c=np.nan)):
        assert "uncertain temperature (1.1 %): measure it" in judge(unmeasured).warmth
    once = everywhere.copy()
    once.loc[once["visit"] == "v06", "damper_c"] = np.nan
    assert "measure it" in judge(once).warmth


def test_a_warmer_damper_is_no_cause_where_its_temperature_is_known() -> None:
    table = changed(1)
    told = next(line for line in judge(stated(table)).advice if line.startswith("A lower"))
    assert "Look first for damper rubber that is softer" in told
    assert "further than the damper's temperature explains" in told
    assert "a damper warmer" not in told
    unknown = sweeps(checkups=4, drift=step("frequency", -0.06, after=390), shared=UNKNOWN)
    told = next(line for line in judge(unknown).advice if line.startswith("A lower"))
    # Six per cent are more than ten degrees: that few check-ups show it does not speak for warmth.
    assert "further than the damper's temperature explains" in told
    assert told.count("only 2 check-ups show it") == 0


def test_an_impossible_temperature_of_the_damper_is_refused() -> None:
    with pytest.raises(JudgeError, match="impossible damper_c"):
        judge(sweeps().assign(damper_c=4000.0))
