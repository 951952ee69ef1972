"""Too low a rate: the highest order that shows, and where the orders above it may turn up."""

from dataclasses import replace

import pytest
from invented_recordings import MILD, World, made

from vibetrend.engine import Engine
from vibetrend.orders import measure
from vibetrend.recording import Note

WORLD = World(cn0_db=45, running=MILD, rpm=1060.0, tag_error=0.0)
SIX = Engine(name="invented", cylinders=6)
FOUR = Engine(name="invented", cylinders=4)


def said(world: World, engine: Engine | None = None) -> Note | None:
    notes = measure(made(world, 140).recording, engine=engine).quality
    return next((note for note in notes if note.code == "rate-too-low"), None)


def test_names_what_folds_onto_what() -> None:
    """53 Hz at 100 samples a second are seen as 100 - 53 = 47 Hz (Shannon, Proc. IRE 37, 1949)."""
    note = said(replace(WORLD, rate=100.0), SIX)
    assert note is not None
    assert note.severity == "warning"
    assert "orders above 2.5 lie beyond half the rate" in note.message
    assert "the firing order 3 among them" in note.message
    # the noise of the stamps moves the mean rate in the fifth digit
    assert "order 3 (53.0 Hz) onto 47.0 Hz, next to order 2.5 (44.2 Hz)" in note.message
    assert "order 6 (106.0 Hz) onto 6.0 Hz, next to order 0.5 (8.8 Hz)" in note.message
    assert "may fold" in note.message
    assert len(note.message) < 420


@pytest.mark.parametrize(
    ("rate", "engine", "severity"),
    [
        (100.0, FOUR, "note"),  # its firing order 2 shows
        (100.0, None, "warning"),
        (200.0, SIX, "note"),
        (450.0, SIX, None),  # order 12 at 212 Hz shows
    ],
)
def test_warns_only_when_the_firing_order_is_out_of_reach(
    rate: float, engine: Engine | None, severity: str | None
) -> None:
    note = said(replace(WORLD, rate=rate), engine)
    assert (note and note.severity) == severity


def test_a_sound_recorder_filters_before_it_samples() -> None:
    note = said(replace(WORLD, rate=400.0, jitter=0.0, kind="sound", axes=1))
    assert note is not None
    assert "fold" not in note.message
