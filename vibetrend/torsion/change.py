"""How a damper ages, as changes of its spring, its losses and its fluid.

The sizes are examples of what to look for: how fast a damper ages nobody can say in advance.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from vibetrend.errors import EngineError

SOFTER_PERCENT_PER_C = 0.5  # of rubber; assumed, an engine file may state another
_FRICTION = 0.3  # loss factor of the part of a bond that slips; assumed


@dataclass(frozen=True, kw_only=True)
class Change:
    """What has become of a damper; 1 or 0 is no change."""

    stiffness_factor: float = 1.0  # of the rubber, or of a viscous damper's small stiffness
    loss_factor: float = 1.0  # times the rubber's own loss factor
    ring_slip: float = 0.0  # share of the bond that has let go: no spring there, but friction
    viscous_factor: float = 1.0  # times the damping of the fluid
    order_1_factor: float = 1.0  # a ring that wobbles adds to the first order

    def __post_init__(self) -> None:
        if not 0 <= self.ring_slip < 1:
            raise EngineError(
                f"a slip of {self.ring_slip:g} of the bond: it is a share, 0 or more and below 1"
            )
        for each in (
            self.stiffness_factor,
            self.loss_factor,
            self.viscous_factor,
            self.order_1_factor,
        ):
            if not 0 < each < math.inf:
                raise EngineError(
                    f"a factor of {each:g} for the damper: it must be above 0; 1 is no change"
                )

    @property
    def stiffness(self) -> float:
        """The factor of the ring's stiffness, slip and all."""
        return self.stiffness_factor * (1 - self.ring_slip)

    def loss(self, own: float) -> float:
        """Return the loss factor that a ring's own becomes: of what holds, and of what slips.

        Friction loses torque in step with the swing as rubber does, over the stiffness that is
        left.
        """
        slipping = self.ring_slip / (1 - self.ring_slip)
        return own * self.loss_factor + _FRICTION * slipping


def warmer(degrees_c: float, *, percent_per_c: float | None = None) -> Change:
    """Return what a warmer ring is: rubber softens by about 0.5 % for each degree C."""
    percent = SOFTER_PERCENT_PER_C if percent_per_c is None else percent_per_c
    return Change(stiffness_factor=(1 - percent / 100) ** degrees_c)


AGEING: Mapping[str, Change] = {
    "rubber hardening": Change(stiffness_factor=1.2, loss_factor=0.8),
    "rubber softening": Change(stiffness_factor=0.8, loss_factor=1.1),
    "bond slipping": Change(ring_slip=0.3, order_1_factor=2.0),
    "fluid damping lost": Change(viscous_factor=0.4),
    "fluid stiffened": Change(viscous_factor=3.0),
}
"""Ways of ageing that are known of rubber and of viscous dampers."""
