"""The plugin contract: what a model's author imports, and how the service finds and checks it."""

from arrowloft.core.arrays import Array, Real
from arrowloft.core.flight.flatfire import carry_speed
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import LEAST_MASS_PER_DRAW_WEIGHT, Arrow, Bow
from arrowloft.core.setup.flow import DragLaw, Flow, cross_section
from arrowloft.plugin.contract import (
    REQUIRED,
    CaseError,
    DragModel,
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    Note,
    Parameter,
    ParameterError,
    Source,
    Validity,
    as_read_only,
    holds,
    parameter,
)
from arrowloft.plugin.guard import (
    ModelFault,
    guarded_drag_notes,
    guarded_kinks,
    guarded_launch,
    guarded_launch_notes,
    guarded_law,
    guarded_uncertainty,
    guarded_uncertainty_by_lane,
)
from arrowloft.plugin.registry import Origin, PluginFault, PluginFaults, Registry, UnknownModel
from arrowloft.plugin.validity import (
    QUANTITIES,
    OutsideValidity,
    Quantity,
    drag_notes,
    launch_notes,
)

__all__ = [
    "LEAST_MASS_PER_DRAW_WEIGHT",
    "QUANTITIES",
    "REQUIRED",
    "Air",
    "Array",
    "Arrow",
    "Bow",
    "CaseError",
    "DragLaw",
    "DragModel",
    "Flow",
    "LaunchCase",
    "LaunchModel",
    "LaunchSpeed",
    "ModelFault",
    "Note",
    "Origin",
    "OutsideValidity",
    "Parameter",
    "ParameterError",
    "PluginFault",
    "PluginFaults",
    "Quantity",
    "Real",
    "Registry",
    "Source",
    "UnknownModel",
    "Validity",
    "as_read_only",
    "carry_speed",
    "cross_section",
    "drag_notes",
    "guarded_drag_notes",
    "guarded_kinks",
    "guarded_launch",
    "guarded_launch_notes",
    "guarded_law",
    "guarded_uncertainty",
    "guarded_uncertainty_by_lane",
    "holds",
    "launch_notes",
    "parameter",
]
