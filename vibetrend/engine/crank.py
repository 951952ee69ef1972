"""What an engine file may say of the crankshaft itself, for the model of its twist.

All of it is optional: what is not stated the model takes as typical, and says so.
"""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from vibetrend.engine.driven import Positive

Inertia = Annotated[Positive, Field(ge=1e-7, le=1e6)]  # kg m^2
Stiffness = Annotated[Positive, Field(ge=1, le=1e12)]  # N m/rad
LossFactor = Annotated[Positive, Field(le=2)]


class Crank(BaseModel):
    """The crankshaft: nose, throws, flywheel, perhaps a generator's rotor, and its running gear."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    inertias_kg_m2: tuple[Inertia, ...] | None = None  # without the damper
    stiffnesses_nm_rad: tuple[Stiffness, ...] | None = None  # of the lengths between them
    loss_factor: LossFactor | None = None  # of these lengths
    bore_mm: Annotated[Positive, Field(ge=20, le=1200)] | None = None
    stroke_mm: Annotated[Positive, Field(ge=20, le=4000)] | None = None
    rod_ratio: Annotated[Positive, Field(ge=1, le=4)] | None = None  # rod length over stroke
    reciprocating_mass_kg: Annotated[Positive, Field(le=1e4)] | None = None  # of one cylinder
    compression_ratio: Annotated[Positive, Field(ge=8, le=30)] | None = None
