"""Flight in a vacuum."""

from dataclasses import dataclass

import numpy as np

from arrowloft.plugin import Array, Arrow, DragModel, Flow, Note, Source

NO_DRAG = Note(
    "no-drag", "The air's drag was left out: compare with these figures, do not aim by them."
)


@dataclass(frozen=True, kw_only=True)
class NoDrag(DragModel):
    """No drag at all, as in a vacuum: Cd*A = 0. For comparison with the other models."""

    name = "none"
    version = "1"
    sources = (Source("Newton's second law with gravity alone", "derived"),)
    default_uncertainty = 0.0
    by_lane = True

    def kinks(self) -> tuple[float, ...]:
        """Return none: the law is smooth."""
        return ()

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        """Zero, m2, of the shape of flow.airspeed."""
        return np.zeros(flow.airspeed.shape)

    def notes(self, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
        """Say that the air was left out, always."""
        return (NO_DRAG,)
