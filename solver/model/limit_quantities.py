# SPDX-License-Identifier: MIT
"""Reported quantities of electrodes and their field, and the margins to breakdown and tearing."""

from typing import NamedTuple

from annelid.solver.model.quantity import Quantity
from annelid.solver.model.stress_quantities import PERCENTILE

LARGEST_TRUE_FIELD = Quantity(
    "largest true field",
    "electric field",
    "max |F⁻ᵀ E0|",
    "electric field in the thinned sheets (kV/mm = V/um); if the potential is solved, it has no limit under "
    "mesh refinement at the edges of electrodes",
    ("electrodes",),
    larger_is_better=False,
    needs_voltage=True,
    beside=f"true field {PERCENTILE} %",
)
TRUE_FIELD_PERCENTILE = Quantity(
    f"true field {PERCENTILE} %",
    "electric field",
    f"|F⁻ᵀ E0| not exceeded in {PERCENTILE} % of the energised volume",
    "the same without the most loaded 0.5 % of the volume that carries a field",
    ("electrodes",),
    larger_is_better=False,
    needs_voltage=True,
)
BREAKDOWN_MARGIN = Quantity(
    "breakdown margin",
    "ratio",
    f"E_b(λ, h) / |F⁻ᵀ E0| exceeded in {PERCENTILE} % of the energised volume",
    "ratio of the dielectric strength to the true field, without the most loaded 0.5 % of the volume that "
    "carries a field; below 1 the sheet fails",
    ("electrodes", "strength"),
    larger_is_better=True,
    plot_limit=4.0,
    reference=(1.0, "breakdown"),
    needs_voltage=True,
)
LEAST_BREAKDOWN_MARGIN = Quantity(
    "least breakdown margin",
    "ratio",
    "min E_b(λ, h) / |F⁻ᵀ E0|",
    "the same at the most loaded point, which may be the edge of an electrode or a distorted cell",
    ("electrodes", "strength"),
    larger_is_better=True,
    plot_limit=4.0,
    reference=(1.0, "breakdown"),
    needs_voltage=True,
    beside="breakdown margin",
)
TEARING_MARGIN = Quantity(
    "tearing margin",
    "ratio",
    f"min(λ_t / λ1(Fe), σ_t / σ1) exceeded in {PERCENTILE} % of the volume with such a limit",
    "ratio of the tearing stretch to the largest principal stretch, or of the strength to the largest "
    "principal stress of the same kind (true or nominal) without the Maxwell stress, whichever is smaller; "
    "without the most loaded 0.5 % of the volume of the parts that have such a limit; below 1 the part tears",
    ("tearing_limit",),
    larger_is_better=True,
    plot_limit=4.0,
    reference=(1.0, "tearing"),
)
LEAST_TEARING_MARGIN = Quantity(
    "least tearing margin",
    "ratio",
    "min(λ_t / λ1(Fe), σ_t / σ1)",
    "the same at the most loaded point, which may be a clamped corner or a distorted cell",
    ("tearing_limit",),
    larger_is_better=True,
    plot_limit=4.0,
    reference=(1.0, "tearing"),
    beside="tearing margin",
)
ELECTRODE_VOLTAGE_OF = Quantity(
    "electrode voltage <electrode>",
    "voltage",
    "V",
    "voltage of one electrode, given or found",
)
CHARGE = Quantity(
    "charge",
    "charge",
    "Σ Q",
    "charge on all electrodes of the whole part",
    ("electrodes",),
    needs_voltage=True,
)
CHARGE_OF = Quantity(
    "charge <electrode>",
    "charge",
    "Q = -∂Π/∂V",
    "charge on one electrode, with all its sheets in parallel",
    needs_voltage=True,
)
CAPACITANCE = Quantity(
    "capacitance", "capacitance", "Σ C", "capacitance of all electrodes in parallel", ("electrodes",)
)
CAPACITANCE_OF = Quantity(
    "capacitance <electrode>",
    "capacitance",
    "C = Q/V",
    "current capacitance of one electrode, with all its sheets in parallel",
)
ELECTRICAL_ENERGY = Quantity(
    "stored electrical energy",
    "energy",
    "Σ ½ Q V",
    "energy in the electric field of the whole part",
    ("electrodes",),
    needs_voltage=True,
)


class Limit(NamedTuple):
    """What a material bears; it is exceeded where its margin is below 1.

    Attributes:
        margin: Without the most loaded part of the volume; the field of the same name has its values.
        least: The same at the most loaded point.
        exceeded: What exceeds what.
    """

    margin: Quantity
    least: Quantity
    exceeded: str


LIMITS = (
    Limit(BREAKDOWN_MARGIN, LEAST_BREAKDOWN_MARGIN, "the electric field exceeds the dielectric strength"),
    Limit(TEARING_MARGIN, LEAST_TEARING_MARGIN, "the stretch or stress exceeds that at which the part tears"),
)
MARGINS = frozenset(quantity.name for limit in LIMITS for quantity in (limit.margin, limit.least))
"""Names of the margins of all limits, which are unlimited where there is no load."""
