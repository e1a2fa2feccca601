"""The plugin contract: what a model's author imports, and how the service finds and checks it."""

from arrowloft.core.air import Air
from arrowloft.core.arrays import Array, Real
from arrowloft.core.equipment import Arrow, Bow
from arrowloft.core.flow import DragLaw, Flow, cross_section
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
    parameter,
)

__all__ = [
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
    "Note",
    "Parameter",
    "ParameterError",
    "Real",
    "Source",
    "Validity",
    "as_read_only",
    "cross_section",
    "parameter",
]
