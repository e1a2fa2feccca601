"""What a picture of an error budget shows (SI)."""

from dataclasses import dataclass

from arrowloft.core.archer.groups import Group
from arrowloft.core.chances.error_budget import ErrorBudget, Explained
from arrowloft.core.setup.shot import Shot


@dataclass(frozen=True, kw_only=True)
class Scene:
    """All that is drawn.

    budget: the shares of the inputs.  shot: every member a float.
    group, beside: the archer's, and what the inputs explain of it; None: not given.
    cautions: sentences that belong under the picture.
    """

    budget: ErrorBudget
    shot: Shot
    group: Group | None
    beside: Explained | None
    cautions: tuple[str, ...]
