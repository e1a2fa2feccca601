"""Drag of an arrow summed over its parts, from their dimensions."""

from dataclasses import dataclass
from functools import cached_property
from math import pi

import numpy as np

from arrowloft.plugin import (
    Array,
    Arrow,
    CaseError,
    DragModel,
    Flow,
    Note,
    ParameterError,
    Real,
    Source,
    Validity,
    cross_section,
    holds,
    parameter,
)
from arrowloft_models._lanes import cos, hypot
from arrowloft_models.drag import _component_parts as parts
from arrowloft_models.drag._blend import turbulent_share, undecided


@dataclass(frozen=True, kw_only=True)
class Component(DragModel):
    """Drag summed over shaft, vanes, point and base, from their dimensions.

    On the shaft cross-section A: Cd = 4 (L/d) Cf(Re_L) + [2 n c h (1 + 2t/c) Cf(Re_c) +
    n h t (Cle cos^2 sweep + Cte)] / A + Cpoint + 0.12, with n vanes of length c, height h and
    thickness t. Cf is the friction of a laminar layer (with the curvature of the shaft), of a
    turbulent one, or of both blended over a band of Reynolds numbers on the shaft diameter.

    The uncertainty, unless given, is 20 %, the worth of the choices of edges and point; 28 %
    where the layer is blended, as attitude decides between the layers within the band.
    """

    name = "component"
    version = "1"
    sources = (
        Source(
            "Niskanen, OpenRocket technical documentation, 2013, after Barrowman and Hoerner: "
            "turbulent friction, vane thickness and edges, point, base"
        ),
        Source("Blasius, laminar friction of a flat plate, 1908: 1.328 / sqrt(Re)"),
        Source(
            "Seban, Bond, J. Aero. Sci. 18 (1951) 671; Kelly 21 (1954) 634: laminar layer on a "
            "cylinder in axial flow; the coefficients are derived anew",
            "from memory",
        ),
        Source(
            "Miyazaki et al., Sports Engineering 16 (2013) 43-54: the band of Reynolds numbers",
            "from memory",
            doi="10.1007/s12283-012-0102-y",
        ),
        Source(
            "Ortiz et al., Proceedings (MDPI) 49(1):56, 2020: Cd 1.56 measured at 1.2e4",
            doi="10.3390/proceedings2020049056",
        ),
    )
    validity = (
        Validity(
            "reynolds",
            6.0e3,
            1.0e5,
            "note",
            "A slower shaft's laminar layer is too thick for the series used, and nothing near "
            "that of a faster one was measured.",
        ),
    )
    default_uncertainty = 0.2
    by_lane = True

    shaft_length: Real | None = parameter(
        "Length of the shaft that the air passes; the arrow's length unless given.",
        "length",
        default=None,
        low=0.2,
        high=1.5,
    )
    vane_count: Real = parameter("Number of vanes, a whole number.", default=3.0, low=0.0, high=8.0)
    vane_length: Real = parameter(
        "Length of a vane along the shaft.", "length", default=0.044, low=0.005, high=0.2
    )
    vane_height: Real = parameter(
        "Mean height of a vane above the shaft.", "length", default=0.0075, low=0.001, high=0.05
    )
    vane_thickness: Real = parameter(
        "Thickness of a vane.", "length", default=0.0004, low=0.00001, high=0.005
    )
    leading_edge: str = parameter(
        "Front edge of a vane.", "choice", default="rounded", choices=tuple(parts.LEADING_EDGE)
    )
    trailing_edge: str = parameter(
        "Rear edge of a vane.", "choice", default="square", choices=tuple(parts.TRAILING_EDGE)
    )
    sweep: Real = parameter(
        "Angle by which a vane's front edge leans back; 0 stands square to the shaft.",
        "angle",
        default=0.0,
        low=0.0,
        high=1.5,
    )
    point: str = parameter(
        "Shape of the point; an ogive meets the shaft smoothly, a cone at the joint angle.",
        "choice",
        default="ogive",
        choices=("ogive", "cone", "hemisphere", "flat"),
    )
    joint_angle: Real | None = parameter(
        "Angle between a conical point's surface and the shaft; needed for a cone only.",
        "angle",
        default=None,
        low=0.0,
        high=pi / 2.0,
    )
    layer: str = parameter(
        "Boundary layer on shaft and vanes; blended goes from one to the other over the band.",
        "choice",
        default="blended",
        choices=("laminar", "turbulent", "blended"),
    )
    band_low: Real = parameter(
        "Reynolds number on the shaft diameter at which a blended layer begins to change.",
        default=1.2e4,
        low=1.0e2,
        high=1.0e6,
    )
    band_high: Real = parameter(
        "Reynolds number on the shaft diameter above which a blended layer is turbulent.",
        default=2.0e4,
        low=1.0e2,
        high=1.0e6,
    )
    uncertainty: Real | None = parameter(
        "Standard uncertainty of the drag as a share of it; 0.2, blended 0.28, unless given.",
        default=None,
        low=0.0,
        high=1.0,
    )

    def __post_init__(self) -> None:
        """Raise ParameterError for part of a vane, a cone without its angle, an empty band."""
        if not holds(self.vane_count % 1.0 == 0.0):
            raise ParameterError("vane_count", "must be a whole number of vanes; round it")
        if self.point == "cone" and self.joint_angle is None:
            raise ParameterError("joint_angle", "is needed for a conical point; give it")
        if self.point != "cone" and self.joint_angle is not None:
            raise ParameterError("joint_angle", "belongs to a conical point only; leave it out")
        if not holds(self.band_low < self.band_high):
            raise ParameterError("band_high", "must be above band_low; widen the band")

    @cached_property
    def _vane_friction_area(self) -> Real:
        """Wetted area of the vanes, thickness allowed for, m2: 2 n c h (1 + 2 t / c)."""
        thickened = self.vane_length + 2.0 * self.vane_thickness
        return 2.0 * self.vane_count * self.vane_height * thickened

    @cached_property
    def _edge_drag_area(self) -> Real:
        """Pressure drag area of the vanes' edges, m2."""
        front = parts.LEADING_EDGE[self.leading_edge] * cos(self.sweep) ** 2
        frontal_area = self.vane_count * self.vane_height * self.vane_thickness
        return frontal_area * (front + parts.TRAILING_EDGE[self.trailing_edge])

    @cached_property
    def _end_coefficient(self) -> Real:
        """Coefficient of point and base together, on the cross-section."""
        return parts.point_coefficient(self.point, self.joint_angle) + parts.BASE

    def _length(self, arrow: Arrow) -> Real:
        length = arrow.length if self.shaft_length is None else self.shaft_length
        if length is None:
            raise CaseError(
                "arrow/length",
                "the shaft's friction needs the arrow's length: give it, or shaft_length",
            )
        return length

    def _friction_area(self, reynolds: Array, diameter: Real, length: Real) -> Array:
        """Drag area of the skin friction of shaft and vanes, m2, for Re on the diameter."""
        shaft_area = pi * diameter * length
        along_shaft = reynolds * (length / diameter)
        along_vane = reynolds * (self.vane_length / diameter)
        laminar = turbulent = np.zeros(())
        if self.layer != "turbulent":
            shaft = parts.laminar_shaft(along_shaft, 2.0 * length / diameter)
            vanes = parts.laminar_plate(along_vane)
            laminar = shaft_area * shaft + self._vane_friction_area * vanes
        if self.layer != "laminar":
            shaft, vanes = parts.turbulent_plate(along_shaft), parts.turbulent_plate(along_vane)
            turbulent = shaft_area * shaft + self._vane_friction_area * vanes
        if self.layer != "blended":
            return laminar + turbulent
        share = turbulent_share(reynolds, self.band_low, self.band_high)
        return laminar + (turbulent - laminar) * share

    def kinks(self) -> tuple[float, ...]:
        """Return none: the law is smooth."""
        return ()

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        """Sum over the parts, m2, of the shape of flow.airspeed.

        Raises CaseError where neither the arrow's length nor shaft_length is given.
        """
        diameter, length = arrow.shaft_diameter, self._length(arrow)
        # In still air a climbing arrow may stop; the formulas need some Reynolds number.
        reynolds = np.maximum(flow.reynolds(diameter), 1.0)
        friction = self._friction_area(reynolds, diameter, length)
        pressure = self._edge_drag_area + self._end_coefficient * cross_section(arrow)
        return np.asarray(friction + pressure)

    def relative_uncertainty(self) -> Real:
        """Return the caller's, or the default, greater where the layer is blended."""
        if self.uncertainty is not None:
            return self.uncertainty
        # An even chance between the measured 1.3 and 2.6: 1.3 / sqrt(12) of 1.95.
        undecided = 0.19 if self.layer == "blended" else 0.0
        return hypot(self.default_uncertainty, undecided)

    def notes(self, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
        """Say so where a blended layer's flown Reynolds numbers lie in or near the band."""
        if self.layer != "blended":
            return ()
        advice = "compare the two layers, and verify the marks by shooting."
        return undecided(flow, arrow, self.band_low, self.band_high, advice)
