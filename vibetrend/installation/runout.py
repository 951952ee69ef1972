"""Run-out: what an indicator shows at stations around one turn of the crank.

With theta the angle of a station from the mark, in the direction of rotation, a reading is

    r(theta) = mean + a cos(theta) + b sin(theta) + form      (1)
    eccentricity = hypot(a, b), towards atan2(b, a)           (2)

fitted by least squares. The total indicator reading (TIR) is the greatest less the least reading;
of a pure eccentricity it is twice the eccentricity. The eccentricity is how far the surface's
middle lies off the axis of rotation; on a face it is half the wobble.
"""

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from vibetrend.errors import InstallationError
from vibetrend.installation.as_json import as_json
from vibetrend.installation.digits import written_step
from vibetrend.installation.entered import (
    Content,
    common,
    line,
    number_if,
    numbers,
    quantity_of,
    unit_if,
    unit_of,
    yes_no_if,
)
from vibetrend.installation.plausible import fine_enough, plausible, plausible_if
from vibetrend.installation.stations import (
    FEWEST,
    HALF_TURN,
    SAME_ANGLE,
    Missed,
    checked,
    evenly,
    fit,
    missed,
    widest_gap,
)
from vibetrend.installation.vector import CONFIDENT, Vector
from vibetrend.quantities import Quantity

_FARTHEST = 1e12  # in any unit: squares of readings must not overflow
STEEPEST = 0.1  # rad, nearly 6 degrees: no pulley runs like that, a unit was mistaken


@dataclass(frozen=True, kw_only=True)
class RunOut:
    """Run-out of one surface; lengths in `unit`, angles in degrees from the mark with rotation."""

    unit: str
    readings: tuple[float, ...]
    angles: tuple[float, ...]
    tir: float  # greatest less least reading
    tir_standard_error: float  # from resolution and closing error alone; NaN where neither is known
    mean: float
    eccentricity: float
    angle_deg: float  # of the high side; NaN without eccentricity
    eccentricity_standard_error: float  # NaN where nothing tells the reading error
    angle_standard_error_deg: float
    form: float  # peak to peak of what the first harmonic leaves; NaN with three stations
    fitted: tuple[float, ...]
    residuals: tuple[float, ...]
    reading_error: float  # standard deviation of one reading, as far as it can be told; else NaN
    least_reading_error: float  # what resolution, or the last decimal, and closing error tell
    missed: Missed
    resolution: float | None = None
    closing_error: float | None = None  # first station read again after the turn, less the first
    diameter: Quantity | None = None  # at which a face was read
    tilt_mrad: float | None = None  # of a face: its first harmonic's peak to peak over `diameter`
    tilt_deg: float | None = None
    end_play_held: bool | None = None  # crank held to one side while a face was read
    remarks: tuple[str, ...] = ()  # doubts, in plain sentences

    def at(self, angle_deg: float) -> float:
        """Return the fitted circle's reading at an angle: Eq. 1 without form."""
        if self.eccentricity == 0:
            return self.mean
        return self.mean + self.eccentricity * math.cos(math.radians(angle_deg - self.angle_deg))

    @property
    def is_eccentric(self) -> bool:
        """Whether the eccentricity is there for certain, as far as its error is known."""
        return self.eccentricity > 0 and not self.confidence < CONFIDENT

    @property
    def confidence(self) -> float:
        """That reading error alone does not explain the eccentricity, 0 to 1; NaN where unknown.

        By the F distribution with 2 and n - 3 degrees of freedom. With three stations the error
        taken is the least that resolution and closing error tell.
        """
        if math.isnan(self.reading_error):
            return math.nan
        found = fit(self.angles, self.readings)
        freedom = len(self.readings) - FEWEST
        vector = Vector(found.parts, self.reading_error**2 * found.shape)
        return 1 - vector.chance(freedom or math.inf)

    @property
    def eccentric_tir(self) -> float:
        """The TIR that the eccentricity alone has, seen at every angle."""
        return 2 * self.eccentricity

    def to(self, unit: str) -> "RunOut":
        """Return the same in another unit of length."""
        wanted = unit_of(unit, "length", "the run-out")
        factor = unit_of(self.unit, "length", "the run-out").factor / wanted.factor
        changed: dict[str, Any] = {"unit": wanted.name}
        for name in _LENGTHS:
            value = getattr(self, name)
            if isinstance(value, tuple):
                changed[name] = tuple(factor * each for each in value)
            elif value is not None:
                changed[name] = factor * value
        return replace(self, **changed)

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form; NaN becomes None."""
        found: dict[str, Any] = as_json(self)
        return found


_LENGTHS = (
    *("readings", "tir", "tir_standard_error", "mean", "eccentricity", "form", "fitted"),
    *("eccentricity_standard_error", "residuals", "reading_error", "least_reading_error"),
    *("resolution", "closing_error"),
)


def runout(
    readings: ArrayLike,
    angles: ArrayLike | None = None,
    unit: str = "mm",
    *,
    closing: float | None = None,
    resolution: float | None = None,
    diameter: float | None = None,
    diameter_unit: str | None = None,
    end_play_held: bool | None = None,
) -> RunOut:
    """Return TIR, eccentricity and form from indicator readings around one turn.

    Parameters
    ----------
    readings : array_like, shape (n,)
        In `unit`, n at least 3; greater where the surface stands higher.
    angles : array_like, shape (n,), optional
        Degrees from the mark in the direction of rotation, 0 to 360, in any order and spacing;
        evenly spaced from 0 when left out. A last angle of 360 after a first of 0 is the first
        station again and taken as `closing`.
    unit : str
        Of length, e.g. ``"mm"``, ``"thou"``, ``"in"``.
    closing : float, optional
        The first station read again after the full turn.
    resolution : float, optional
        The indicator's division, in `unit`.
    diameter : float, optional
        At which a face was read, in `diameter_unit` (`unit` when left out); gives the tilt.
    end_play_held : bool, optional
        Whether the crank was held to one side while a face was read.

    Raises
    ------
    InstallationError
        If readings or angles cannot be used: fewer than three, unequally many, no numbers, none
        that an engine has, an angle twice or out of range, more than half a turn without a
        station; or a unit is unknown.

    Notes
    -----
    The standard errors are those of reading error alone. It is not known beforehand and told from
    what Eq. 1 leaves over, with n - 3 degrees of freedom: too large where the surface has form,
    because form is no error of reading. It is never taken smaller than the resolution allows
    (a uniform error, resolution / sqrt(12); without one, the last decimal written) or than the
    closing error shows (a difference of two readings). With three stations nothing is left over:
    then only a resolution or closing error tells a least value, and without both it is NaN. Lobes
    that pass for eccentricity (n - 1 and n + 1 of n even stations) no standard error can show.
    """
    length = unit_of(unit, "length", "the readings")
    heights = numbers(readings, "the readings")
    stations = evenly(len(heights)) if angles is None else numbers(angles, "the angles")
    closed = number_if(closing, "the closing reading")
    if any(abs(each) > _FARTHEST for each in (*heights, closed or 0.0)):
        raise InstallationError(
            f"a reading lies beyond {_FARTHEST:g} {length.name}; most likely the decimal point "
            f"slipped: correct it"
        )
    division = number_if(resolution, "the indicator's resolution", above=0)
    fine_enough(division, "the indicator's resolution", "run-out", length.name)
    held = yes_no_if(end_play_held, "whether the crank's end play was held")
    if len(stations) != len(heights):
        raise InstallationError(
            f"there are {len(heights)} readings and {len(stations)} angles; give one angle for "
            f"each reading"
        )
    if stations and stations[0] == 0 and stations[-1] == 360 and closed is None:
        closed, heights, stations = heights[-1], heights[:-1], stations[:-1]
    stations = checked(stations)

    found = fit(stations, heights)
    tir = max(heights) - min(heights)
    least = _least_error(heights, closed, division)
    known = closed is not None or division is not None
    error = max(found.left_over, least) if len(heights) > FEWEST or known else math.nan
    # Rounding of the computer is no eccentricity, nor is what nobody can write down.
    none = np.hypot(*found.parts) <= 1e-9 * tir + 1e-12 * max(1, *(abs(each) for each in heights))
    vector = Vector(np.zeros(2) if none else found.parts, error**2 * found.shape)
    wide = _diameter(diameter, diameter_unit, unit)
    tilt = None if wide is None else _tilt(Quantity(2 * vector.size, length), wide)
    result = RunOut(
        unit=length.name,
        readings=heights,
        angles=stations,
        tir=tir,
        tir_standard_error=math.sqrt(2) * least if known else math.nan,
        mean=found.mean,
        eccentricity=vector.size,
        angle_deg=vector.angle_deg,
        eccentricity_standard_error=vector.standard_error,
        angle_standard_error_deg=vector.angle_standard_error_deg,
        form=float(np.ptp(found.residuals)) if len(heights) > FEWEST else math.nan,
        fitted=tuple(found.fitted.tolist()),
        residuals=tuple(found.residuals.tolist()),
        reading_error=error,
        least_reading_error=least,
        missed=missed(stations),
        resolution=division,
        closing_error=None if closed is None else closed - heights[0],
        diameter=wide,
        tilt_mrad=None if tilt is None else 1e3 * tilt,
        tilt_deg=None if tilt is None else math.degrees(tilt),
        end_play_held=held,
    )
    return replace(result, remarks=tuple(_remarks(result)))


def _least_error(heights: tuple[float, ...], closed: float | None, division: float | None) -> float:
    """Return the standard deviation that a reading has at least."""
    read = heights if closed is None else (*heights, closed)
    step = written_step(read) if division is None else division
    again = 0.0 if closed is None else abs(closed - heights[0]) / math.sqrt(2)
    return max(step / math.sqrt(12), again)


def _diameter(value: float | None, own_unit: str | None, unit: str) -> Quantity | None:
    given = number_if(value, "the diameter", above=0)
    if given is not None and own_unit is None:
        own_unit = unit
    plausible_if(
        given, "the diameter", "diameter", unit_if(given, own_unit, "length", "the diameter")
    )
    return quantity_of(given, own_unit, "length")


def _tilt(wobble: Quantity, across: Quantity) -> float:
    """Return the tilt of a face in radians."""
    tilt = wobble.si / across.si
    if tilt > STEEPEST:
        raise InstallationError(
            f"a face tilted by {math.degrees(tilt):.0f} degrees is no run-out; correct the "
            f"diameter {across.value:g} {across.unit.name} or the unit of the readings"
        )
    return tilt


def _remarks(found: RunOut) -> list[str]:
    said = []
    if len(found.readings) == FEWEST:
        said.append(
            "Three stations leave nothing over to tell form or reading error from; take four or "
            "more, better eight."
        )
    low, high = widest_gap(found.angles)
    if high - low > HALF_TURN - SAME_ANGLE:
        said.append(
            f"Half a turn, from {low:g} to {high % 360:g} degrees, has no reading: what lies "
            f"there is not seen; add stations there."
        )
    step = found.resolution or written_step(found.readings)
    if abs(found.closing_error or 0.0) > step * (1 + 1e-9):
        said.append(
            "The first station did not read the same after the full turn: the indicator or its "
            "stand may have moved; set up again and repeat."
        )
    if found.end_play_held is False:
        said.append(
            "The crank's end play was not held to one side: it can pass for tilt; repeat with the "
            "crank held."
        )
    elif found.diameter is not None and found.end_play_held is None:
        said.append(
            "It is not noted whether the crank's end play was held to one side; if not, it can "
            "pass for tilt."
        )
    return said


def runout_content(
    surface: str,
    readings: ArrayLike,
    *,
    unit: str,
    angles: ArrayLike | None = None,
    closing: float | None = None,
    diameter: float | None = None,
    diameter_unit: str | None = None,
    end_play_held: bool | None = None,
    instrument: str = "",
    resolution: float | None = None,
    person: str = "",
    note: str = "",
) -> Content:
    """Return the content of an entry of kind ``runout``; parameters as :func:`runout`.

    Raises
    ------
    InstallationError
        If :func:`runout` would refuse the readings, or no engine has such a run-out.
    """
    found = runout(
        readings,
        angles,
        unit,
        closing=closing,
        resolution=resolution,
        diameter=diameter,
        diameter_unit=diameter_unit,
        end_play_held=end_play_held,
    )
    plausible(found.tir, "the run-out", "run-out", found.unit)
    plausible(abs(found.closing_error or 0.0), "the closing error", "run-out", found.unit)
    return {
        "surface": line(surface, "the surface", needed=True),
        "readings": list(numbers(readings, "the readings")),
        "unit": found.unit,
        "angles": None if angles is None else list(numbers(angles, "the angles")),
        "closing": number_if(closing, "the closing reading"),
        "diameter": found.diameter.value if found.diameter else None,
        "diameter_unit": found.diameter.unit.name if found.diameter else None,
        "end_play_held": end_play_held,
        **common(instrument, resolution, person, note, kind="run-out", unit=found.unit),
    }


def runout_of(content: Content) -> RunOut:
    """Return the run-out of a checked content."""
    return runout(
        content["readings"],
        content["angles"],
        content["unit"],
        closing=content["closing"],
        resolution=content["resolution"],
        diameter=content["diameter"],
        diameter_unit=content["diameter_unit"],
        end_play_held=content["end_play_held"],
    )
