"""What the record was read twice for: a surface, a mark, a belt as installed and after run-in."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TypeVar

from vibetrend.engine import Limits
from vibetrend.errors import InstallationError
from vibetrend.installation.belts import Belt, BeltDrop, belt_drop
from vibetrend.installation.marks import Mark, MarkChange, mark_change
from vibetrend.installation.reading import Reading
from vibetrend.installation.runout import RunOut
from vibetrend.installation.runout_change import RunOutChange, compare_runout

HUB, RINGS = "hub", ("ring", "rim")  # a ring stands around the hub

Read = TypeVar("Read", RunOut, Belt, Mark)


@dataclass(frozen=True, kw_only=True)
class Moved:
    """Two sets of run-out readings compared."""

    name: str  # "rim", or "hub and ring"
    first: Reading
    second: Reading
    sets: tuple[RunOut, RunOut]
    change: RunOutChange

    def __post_init__(self) -> None:
        """Refuse what means nothing: a face beside a rim, or readings beside themselves.

        Raises
        ------
        InstallationError
            If the two are such.
        """
        one, other = self.first, self.second
        if one.entry_id == other.entry_id:
            raise InstallationError(
                f"the run-out of {one.name} of {one.date} would be compared with itself; name "
                f"another surface, or read {one.name} again"
            )
        if is_face(one.name) != is_face(other.name):
            raise InstallationError(
                f"{one.name} and {other.name} cannot be compared: a face's run-out is tilt, along "
                f"the crank, and that of the other how far it lies off the crank's axis; compare "
                f"two faces, or two surfaces of which neither is a face"
            )


def is_face(surface: str) -> bool:
    """Say whether a surface is read along the crank, as its name tells."""
    return "face" in surface.casefold()


def then_and_now(readings: Iterable[Reading]) -> Iterator[Moved]:
    """Compare the first and the latest reading of each surface."""
    for each in _by_name(readings, RunOut).values():
        if len(each) > 1:
            yield _moved(each[-1][0].name, each[0], each[-1])


def hub_and_ring(readings: Iterable[Reading]) -> Iterator[Moved]:
    """Compare the latest reading of the hub with that of the ring of the same day."""
    found = _by_name(readings, RunOut)
    for hub in found.get(HUB, [])[-1:]:
        rings = [each for name in RINGS for each in found.get(name, [])]
        for ring in [each for each in rings if each[0].date == hub[0].date][-1:]:
            yield _moved(f"{hub[0].name} and {ring[0].name}", hub, ring)


def _moved(name: str, one: tuple[Reading, RunOut], other: tuple[Reading, RunOut]) -> Moved:
    change = compare_runout(one[1], other[1])
    return Moved(name=name, first=one[0], second=other[0], sets=(one[1], other[1]), change=change)


def marks_moved(readings: Iterable[Reading]) -> Iterator[MarkChange]:
    """Compare the first and the latest measurement of each mark."""
    for each in _by_name(readings, Mark).values():
        (first, one), (latest, other) = each[0], each[-1]
        if len(each) > 1:
            yield mark_change(one, other, (first.resolution, latest.resolution))


def not_run_in(readings: Iterable[Reading]) -> list[str]:
    """Return the belts last read as installed; an automatic tensioner settles by itself."""
    return [
        each[-1][0].name
        for each in _by_name(readings, Belt).values()
        if (new := _as_installed(each)) and not new[1].automatic_tensioner and not _run_in(each)
    ]


def drops(readings: Iterable[Reading], limits: Limits) -> Iterator[BeltDrop]:
    """Compare each belt's last reading as installed with the latest one after its run-in."""
    for each in _by_name(readings, Belt).values():
        new, run_in = _as_installed(each), _run_in(each)
        drop = belt_drop(new[1], run_in[1], limits) if new and run_in else None
        if drop:
            yield drop


def _as_installed(each: list[tuple[Reading, Belt]]) -> tuple[Reading, Belt] | None:
    return next((one for one in reversed(each) if one[1].stage == "as-installed"), None)


def _run_in(each: list[tuple[Reading, Belt]]) -> tuple[Reading, Belt] | None:
    """Return the latest reading after run-in since the belt was last installed."""
    new = _as_installed(each)
    since = each[each.index(new) :] if new else each
    return next((one for one in reversed(since) if one[1].stage == "after-run-in"), None)


def _by_name(
    readings: Iterable[Reading], kind: type[Read]
) -> dict[str, list[tuple[Reading, Read]]]:
    """Return readings of one kind by name, whatever letters it is written in."""
    found: dict[str, list[tuple[Reading, Read]]] = {}
    for reading in readings:
        if isinstance(reading.details, kind):
            found.setdefault(reading.name.casefold(), []).append((reading, reading.details))
    return found
