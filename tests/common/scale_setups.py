"""The shot and the sight that tests of printed scales and proven marks change from."""

from typing import Any

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import Flow, cross_section
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.sight import Sight

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
SIGHT = Sight(radius=0.86, zero_distance=20.0)


def steady(flow: Flow, arrow: Arrow) -> Array:
    """A drag coefficient of 2 at every speed."""
    return 2.0 * cross_section(arrow) + np.zeros(flow.airspeed.shape)


def shot_of(**changes: Any) -> Shot:
    """The shot, with what is different."""
    values: dict[str, Any] = {
        "launch_speed": 70.0,
        "arrow": Arrow(mass=0.024, shaft_diameter=5.7e-3),
        "drag": steady,
        "air": AIR,
        "peep_height": 0.11,
        "kinks": (),
    }
    return Shot(**{**values, **changes})
