"""What is stated of a sweep before it is looked at: where it begins and ends."""

from vibetrend.engine import Engine
from vibetrend.errors import MeasureError
from vibetrend.recording import Note, Recording
from vibetrend.runup.tracking import REACH, Ends

_WIDEST = 4.0  # times as fast at one end as at the other, where that other is not stated


def refuse_generator(recording: Recording, engine: Engine | None) -> None:
    """Refuse the run-up of a set whose governor holds one speed."""
    if recording.manner == "run-up" and engine is not None and engine.generator is not None:
        raise MeasureError(
            f"{engine.name} is a generator set: its governor holds "
            f"{engine.generator.governed_rpm:g} rpm, so that no run-up of it can be meant; record "
            f"it at that speed, unloaded and breaker open, and leave out --manner"
        )


def stated_ends(recording: Recording, engine: Engine | None, notes: list[Note]) -> Ends:
    """Return where the sweep should begin and end; `notes` says what was assumed.

    Raises
    ------
    MeasureError
        If nothing says how fast the engine turned.
    """
    rises = recording.manner == "run-up"
    start, end = recording.rpm, recording.end_rpm
    if start is None or end is None:
        start, end = _with_engine(start, end, engine, rises, notes)
    known = [rpm for rpm in (start, end) if rpm is not None]
    if not known:
        raise MeasureError(
            "no speed of this sweep is stated; add where it begins and ends with --rpm N "
            "--end-rpm N, good to 5 %"
        )
    slow, fast = (start, end) if rises else (end, start)
    low = min(known) / _WIDEST if slow is None else slow
    high = max(known) * _WIDEST if fast is None else fast
    if engine is not None and fast is None and engine.rated_rpm is not None:
        high = max(engine.rated_rpm, known[0])
    return Ends(
        low=low / 60 * (1 - REACH),
        high=high / 60 * (1 + REACH),
        start=None if start is None else start / 60,
        end=None if end is None else end / 60,
        firing=None if engine is None else engine.firing_order_number,
        rises=rises,
    )


def _with_engine(
    start: float | None,
    end: float | None,
    engine: Engine | None,
    rises: bool,
    notes: list[Note],
) -> tuple[float | None, float | None]:
    """Fill in what was not stated from the engine's file, if it says so."""
    slow, fast = (start, end) if rises else (end, start)
    if engine is None:
        return start, end
    said = []
    if slow is None and fast is None:
        if engine.generator is not None:
            fast = engine.generator.governed_rpm
            said.append(f"{fast:.0f} rpm")
        elif engine.rated_rpm is not None:
            slow, fast = engine.idle_rpm or engine.fast_idle_rpm, engine.rated_rpm
            said += [f"{rpm:.0f} rpm" for rpm in (slow, fast) if rpm is not None]
        elif engine.fast_idle_rpm is not None:
            slow = engine.fast_idle_rpm
            said.append(f"{slow:.0f} rpm")
    if said:
        notes.append(
            Note(
                "speed-assumed",
                "note",
                f"No rpm was stated; the sweep was sought with the engine's {' and '.join(said)}.",
            )
        )
    return (slow, fast) if rises else (fast, slow)
