"""Recording -> Measurement, however the engine ran."""

from collections.abc import Sequence

from vibetrend import orders, runup
from vibetrend.engine import Engine
from vibetrend.errors import MeasureError
from vibetrend.orders import Measurement
from vibetrend.recording import Recording


def measure(
    recording: Recording, *, engine: Engine | None = None, baseline: Sequence[Measurement] = ()
) -> Measurement:
    """Measure a recording: orders where the engine ran steadily, resonances where it swept.

    Parameters
    ----------
    recording : Recording
        With an rpm tag, unless it holds a tacho or the engine states its fast idle. Of a sweep
        (manner "run-up" or "coast-down") `rpm` is where it begins, `end_rpm` where it ends.
    engine : Engine, optional
        Adds its firing order, the lines of its driven parts and belts, and, to a sweep, what can
        excite its crankshaft.
    baseline : sequence of Measurement, optional
        Earlier sweeps: the resonances then say how far they have moved from there.

    Returns
    -------
    Measurement
        See :func:`vibetrend.orders.measure` and :func:`vibetrend.runup.measure`.

    Raises
    ------
    MeasureError
        If no speed is stated, the recording is too short, it is not what its manner says, or
        a steady one is given a baseline.
    """
    if recording.manner != "steady":
        return runup.measure(recording, engine=engine, baseline=baseline)
    if baseline:
        raise MeasureError(
            "a baseline is for sweeps: what steady recordings moved by is judged over check-ups; "
            "leave it out, or say how the engine ran with --manner run-up"
        )
    return orders.measure(recording, engine=engine)
