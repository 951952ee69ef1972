"""What is measured on a viscous damper from outside: its casing, and a sample of its fluid."""

from dataclasses import dataclass

from numpy.typing import ArrayLike

from vibetrend.errors import InstallationError
from vibetrend.installation.entered import (
    Content,
    common,
    line,
    number,
    number_if,
    numbers,
    unit_of,
)
from vibetrend.installation.plausible import plausible, plausible_if
from vibetrend.quantities import Quantity, unit

CASING_NAMES = {
    "spread": "spread of casing thickness",
    "greatest thickness": "greatest casing thickness",
    "least thickness": "least casing thickness",
}
_PERCENT = unit("%")


@dataclass(frozen=True, kw_only=True)
class Casing:
    """Thickness of the casing at several points around it."""

    thicknesses: tuple[Quantity, ...]
    spread: Quantity  # greatest less least
    greatest: Quantity
    least: Quantity


@dataclass(frozen=True, kw_only=True)
class Fluid:
    """What a sample of the silicone fluid showed."""

    viscosity_loss: Quantity | None  # share of the viscosity when new that is gone
    result: str  # the laboratory's words
    hours_on_fluid: float | None
    laboratory: str


def casing_content(
    thicknesses: ArrayLike,
    unit: str,
    *,
    instrument: str = "",
    resolution: float | None = None,
    person: str = "",
    note: str = "",
) -> Content:
    """Return the content of an entry of kind ``casing``.

    Parameters
    ----------
    thicknesses : array_like, shape (n,)
        At points spread around the casing, n at least 2, in `unit`.

    Raises
    ------
    InstallationError
        If there are too few, one is no thickness, or the unit is none of length.
    """
    found = numbers(thicknesses, "the thicknesses")
    if len(found) < 2:
        raise InstallationError(
            f"the casing was measured at {len(found)} point; two or more tell its spread"
        )
    length = unit_of(unit, "length", "the thicknesses").name
    for i, each in enumerate(found, start=1):
        what = f"the thickness, number {i},"
        plausible(number(each, what, above=0), what, "casing", length)
    return {
        "thicknesses": list(found),
        "unit": length,
        **common(instrument, resolution, person, note, kind="casing", unit=length),
    }


def casing_of(content: Content) -> Casing:
    """Return the casing of a checked content."""
    length = unit(content["unit"], "length")
    values = content["thicknesses"]
    return Casing(
        thicknesses=tuple(Quantity(each, length) for each in values),
        spread=Quantity(max(values) - min(values), length),
        greatest=Quantity(max(values), length),
        least=Quantity(min(values), length),
    )


def fluid_content(
    *,
    viscosity_loss_percent: float | None = None,
    result: str = "",
    hours_on_fluid: float | None = None,
    laboratory: str = "",
    instrument: str = "",
    resolution: float | None = None,
    person: str = "",
    note: str = "",
) -> Content:
    """Return the content of an entry of kind ``fluid``.

    Parameters
    ----------
    viscosity_loss_percent : float, optional
        Share of the viscosity when new that is gone; below 0 where it has thickened.
    result : str
        The laboratory's words; these or the loss are needed.
    hours_on_fluid : float, optional
        Engine hours that the fluid has run.

    Raises
    ------
    InstallationError
        If there is no result at all, or a value makes no sense.
    """
    loss = number_if(viscosity_loss_percent, "the loss of viscosity")
    if loss is not None and loss > 100:
        raise InstallationError(
            f"the loss of viscosity is {loss:g} %; more than all cannot be lost"
        )
    words = line(result, "the result")
    if loss is None and not words:
        raise InstallationError(
            "the fluid sample has no result; give the loss of viscosity in percent, or the "
            "laboratory's words"
        )
    hours = None if hours_on_fluid is None else number(hours_on_fluid, "the fluid's hours", least=0)
    return {
        "viscosity_loss_percent": plausible_if(
            loss, "the loss of viscosity", "viscosity loss", "%"
        ),
        "result": words,
        "hours_on_fluid": plausible_if(hours, "the fluid's hours", "fluid hours", "h"),
        "laboratory": line(laboratory, "the laboratory"),
        **common(instrument, resolution, person, note, kind="viscosity loss", unit="%"),
    }


def fluid_of(content: Content) -> Fluid:
    """Return the sample of a checked content."""
    loss = content["viscosity_loss_percent"]
    return Fluid(
        viscosity_loss=None if loss is None else Quantity(loss, _PERCENT),
        result=content["result"],
        hours_on_fluid=content["hours_on_fluid"],
        laboratory=content["laboratory"],
    )
