# SPDX-License-Identifier: MIT
"""Reported quantities of stretch and stress, and of the forces of supports and contacts."""

from annelid.solver.model.quantity import Quantity

PERCENTILE = 99.5

_PERCENTILE_NAME = f"peak stress {PERCENTILE} %"
LARGEST_STRETCH = Quantity(
    "largest stretch",
    "ratio",
    "max λ1(Fe)",
    "largest principal stretch relative to the stress-free state",
    beside="tearing margin",
)
MEAN_HOOP_STRETCH = "mean hoop stretch"
"""Of the inflation of a skin only: mean of r/R through the wall where the stress-free skin is widest."""
SMALLEST_STRETCH = Quantity(
    "smallest stretch",
    "ratio",
    "min λ3(Fe)",
    "smallest principal stretch relative to the stress-free state",
    beside="",
)
PEAK_STRESS = Quantity(
    "peak stress",
    "stress",
    "max σ1",
    "largest principal Cauchy stress, including the Maxwell stress; it grows without bound with mesh "
    "refinement at clamped corners",
    larger_is_better=False,
    beside=_PERCENTILE_NAME,
)
PEAK_STRESS_PERCENTILE = Quantity(
    _PERCENTILE_NAME,
    "stress",
    f"σ1 not exceeded in {PERCENTILE} % of the volume",
    "the same without the most loaded 0.5 % of the volume",
    larger_is_better=False,
)
LEAST_IN_PLANE_STRESS = Quantity(
    "least in-plane stress",
    "stress",
    "min σ2 in the wall's plane",
    "minimum of the smaller principal Cauchy stress in the deformed plane of the wall; negative where the "
    "wall is slack or wrinkled",
    beside="compressed wall fraction",
)
COMPRESSED_WALL = Quantity(
    "compressed wall fraction",
    "fraction",
    "volume with σ2 < -σ_w / volume",
    "fraction of the wall volume that is compressed in the plane of the wall by more than the stress σ_w at "
    "which it wrinkles",
    larger_is_better=False,
)
SLACK_WALL = Quantity(
    "slack wall fraction",
    "fraction",
    "volume with D > 0 / volume",
    "fraction of the walls with compression = 'none' that is slack, so that some of its length lies in folds",
    ("folds",),
    larger_is_better=False,
)
FOLDED_HOOP_LENGTH = Quantity(
    "folded hoop length",
    "fraction",
    "max b_h / (1 + b_h)",
    "largest fraction of the length of such a wall around the axis that lies in folds, which run along it",
    ("folds",),
    larger_is_better=False,
)
FOLDED_AXIAL_LENGTH = Quantity(
    "folded axial length",
    "fraction",
    "max b_a / (1 + b_a)",
    "the same of its length along the axis, in folds that run around it",
    ("folds",),
    larger_is_better=False,
)
FOLDED_LENGTHS = (FOLDED_HOOP_LENGTH, FOLDED_AXIAL_LENGTH)
PEAK_STRESS_OF = Quantity(
    "peak stress of <part>",
    "stress",
    "max σ1",
    "largest principal Cauchy stress in one of several parts",
    beside=_PERCENTILE_NAME,
)
MEAN_HOOP_STRESS_OF = Quantity(
    "mean hoop stress <part>",
    "stress",
    "mean σ_hoop",
    "mean Cauchy stress around the axis in one of several parts: its tension",
)
MEAN_AXIAL_STRESS_OF = Quantity(
    "mean axial stress <part>", "stress", "mean σ_axial", "the same stress along the wall"
)
AXIAL_REACTION_OF = Quantity(
    "axial reaction <support>",
    "force",
    "Σ R_Z",
    "force of the support on the whole part along +Z; with an end plate it balances the wall and the "
    "thrust of the fluid on both closed ends, without one it balances the wall alone; a plate has no "
    "reaction",
)
RADIAL_REACTION_OF = Quantity(
    "radial reaction <support>", "force", "Σ R_r", "outward force of the support, summed around the part"
)
TORQUE_REACTION_OF = Quantity(
    "reaction torque <support>",
    "torque",
    "Σ (x × R)_Z",
    "torque of the support on the whole part about +Z; of parts that twist",
    ("twist",),
)
TWIST_OF = Quantity(
    "twist <end>",
    "angle",
    "∫ R² θ dA / ∫ R² dA",
    "mean rotation of an end about +Z, over which its torque does work; of parts that twist",
    ("twist",),
)
CONTACT_FORCE_OF = Quantity(
    "contact force <contact>",
    "force",
    "∫ p dA",
    "contact pressure integrated over the surface of the whole part",
)
CONTACT_PRESSURE_OF = Quantity(
    "contact pressure <contact>",
    "pressure",
    "∫ p dA / a",
    "mean contact pressure over the current contact area",
)
CONTACT_LENGTH_OF = Quantity(
    "contact length <contact>",
    "length",
    "max z - min z where g < 0",
    "current length of the contact along the axis",
)
PENETRATION_OF = Quantity(
    "penetration <contact>",
    "length",
    "max ⟨-g⟩",
    "largest depth of the surface inside the obstacle; about the tolerance or less",
)
