# SPDX-License-Identifier: MIT
"""The table of the reported quantities: what each is, its unit, and where it applies."""

from typing import NamedTuple

from annelid.solver.model.cycle_quantities import CYCLE_QUANTITIES
from annelid.solver.model.flow_quantities import FLOW_QUANTITIES
from annelid.solver.model.loads import LOAD_KINDS
from annelid.solver.model.quantity import Quantity, Scope

PERCENTILE = 99.5
CLOSED = 0.05
"""Radius over the drawn radius below which a lumen is closed: a laminar flow (r⁴) is then below 1e-5."""

_DRAWN = "relative to the drawn shape"
_ENERGY = "∫ det G [ψ + p²/(2κ)] dX"
_IN_TIME = ("time", "open_ends")
_BARE = ("electrodes", "bare_stroke")

TIME = Quantity("time", "time", "t", "since the start of the first stage that takes time", ("time",))
MEAN_RADIAL_EXPANSION = Quantity(
    "mean radial expansion",
    "fraction",
    "(1/L) ∫ (r/R - 1) dZ",
    f"mean along the inner surface, {_DRAWN}; negative for a contraction",
)
LARGEST_RADIAL_EXPANSION = Quantity(
    "largest radial expansion", "fraction", "max (r/R - 1)", f"maximum along the inner surface, {_DRAWN}"
)
LARGEST_RADIAL_CONTRACTION = Quantity(
    "largest radial contraction", "fraction", "max (1 - r/R)", f"maximum along the inner surface, {_DRAWN}"
)
WAVE_VOLUME = Quantity(
    "wave volume",
    "volume",
    "max ∫ (A - A_neck) dz",
    "volume of the largest bulge of the lumen between successive necks above the wider one, or beside an end "
    "above the median area there; of a single squeeze the volume that it displaces",
    _IN_TIME,
)
OCCLUSION = Quantity(
    "occlusion ratio",
    "fraction",
    "(r_max - r_min)/(r_max + r_min)",
    "of this wave, from the wider neck to the crest, with r = √(A/π); 100 % where it shuts the lumen",
    _IN_TIME,
)
RADIAL_EXPANSION_AT = Quantity(
    "radial expansion <section>",
    "fraction",
    "r/R - 1",
    f"change of the inner radius at a named section, {_DRAWN}",
)
RADIAL_CONTRACTION_AT = Quantity(
    "radial contraction <section>",
    "fraction",
    "1 - r/R",
    f"decrease of the inner radius at a named section, {_DRAWN}",
)
AXIAL_SHORTENING = Quantity(
    "axial shortening", "fraction", "1 - l/L", f"decrease of the distance between the ends, {_DRAWN}"
)
LENGTH = Quantity("length", "length", "l", "current distance between the ends")
LARGEST_DIAMETER = Quantity(
    "largest diameter", "length", "max 2r", "current largest diameter of the inner surface"
)
AXIAL_STROKE = Quantity(
    "axial stroke",
    "fraction",
    "l/l0 - 1",
    "change of length since the last state without voltage, whose length is l0",
    ("electrodes",),
)
RADIAL_STROKE = Quantity(
    "radial stroke",
    "fraction",
    "d/d0 - 1",
    "change of the largest diameter since the last state without voltage",
    ("electrodes",),
)
AXIAL_AMPLIFICATION = Quantity(
    "axial amplification",
    "ratio",
    "stroke / bare stroke",
    "ratio of the axial stroke to that of the bare skin, unstretched and without its lattice, at the same "
    "voltage",
    _BARE,
)
RADIAL_AMPLIFICATION = Quantity(
    "radial amplification", "ratio", "stroke / bare stroke", "the same ratio for the radial stroke", _BARE
)
SMALLEST_LUMEN_DIAMETER = Quantity(
    "smallest lumen diameter",
    "length",
    "min 2r",
    "current smallest diameter of the inner surface about the axis; of parts that are open at both ends",
    ("open_ends",),
)
SMALLEST_OPEN_AREA = Quantity(
    "smallest open area",
    "area",
    "min a, a = ∮ ½ x⊥·n dl",
    "smallest area that the inner surface encloses in a plane across the axis, π r² without a cut in an "
    "axisymmetric model; of parts that are open at both ends",
    ("open_ends",),
)
CLOSED_LENGTH = Quantity(
    "closed length",
    "length",
    f"∫ dz where √(a/A) < {CLOSED:g}",
    "length along the axis over which the lumen is closed: the mean radius √(a/π) is below "
    f"{100 * CLOSED:g} % of the drawn one, √(A/π); 0 for an open lumen",
    ("open_ends",),
)
LEAK_GAP = Quantity(
    "leak gap",
    "length",
    "max over paths, min g along a path",
    "gap between the inner surface and the obstacles in it along the path from one end of the lumen to the "
    "other on which it stays largest; negative while the lumen is shut; of parts that are open at both ends "
    "and have a contact on the lumen",
    ("seal",),
)
LEAK_PRESSURE = Quantity(
    "leak pressure",
    "pressure",
    "P where the leak gap becomes 0",
    "lumen pressure in the first state with a leak path since the lumen was shut; none before",
    ("seal",),
)
LUMEN_VOLUME = Quantity(
    "lumen volume",
    "volume",
    "V = ∫ ½ x⊥·n da",
    "current volume enclosed by the lumen and its plane ends",
    ("lumen",),
)
LUMEN_PRESSURE = Quantity(
    "lumen pressure",
    "pressure",
    "P",
    "pressure in the lumen relative to the outside, given or found",
    ("lumen",),
)
VOLUME_CHANGE = Quantity(
    "volume change", "volume", "V - V_drawn", f"change of the lumen volume {_DRAWN}", ("lumen",)
)
DISPLACED_VOLUME = Quantity(
    "displaced volume",
    "volume",
    "∫ f·dx",
    "volume that the pressurised wall has displaced since the first state of the path, so that ∫ P over it "
    "is the work of the pressure; equal to the change of the lumen volume unless the rim of an open end "
    "moves along the axis",
    ("lumen",),
)
DISPLACED_VOLUME_AT = Quantity(
    "displaced volume at <surface>",
    "volume",
    "∫ f·dx",
    "volume that a surface under a pressure of its own has displaced towards the material since the first "
    "state of the path, so that ∫ P over it is the work of the pressure",
)
MINIMUM_WALL_THICKNESS = Quantity(
    "minimum wall thickness",
    "thickness",
    "min |x_outer - x_inner|",
    "current shortest distance from the inner to the outer surface of the wall",
)
MINIMUM_THICKNESS_OF = Quantity(
    "minimum thickness of <wall>",
    "thickness",
    "min |x_outer - x_inner|",
    "the same for one of several layers or a hollow core alone; not reported for caps, solid cores, parts "
    "with lattices and meshes of tetrahedra",
)
LARGEST_STRETCH = Quantity(
    "largest stretch", "ratio", "max λ1(Fe)", "largest principal stretch relative to the stress-free state"
)
SMALLEST_STRETCH = Quantity(
    "smallest stretch", "ratio", "min λ3(Fe)", "smallest principal stretch relative to the stress-free state"
)
PEAK_STRESS = Quantity(
    "peak stress",
    "stress",
    "max σ1",
    "largest principal Cauchy stress, including the Maxwell stress; it grows without bound with mesh "
    "refinement at clamped corners",
    larger_is_better=False,
)
PEAK_STRESS_PERCENTILE = Quantity(
    f"peak stress {PERCENTILE} %",
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
)
COMPRESSED_WALL = Quantity(
    "compressed wall fraction",
    "fraction",
    "volume with σ2 < -σ_w / volume",
    "fraction of the wall volume that is compressed in the plane of the wall by more than the stress σ_w at "
    "which it wrinkles",
    larger_is_better=False,
)
PEAK_STRESS_OF = Quantity(
    "peak stress of <part>", "stress", "max σ1", "largest principal Cauchy stress in one of several parts"
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
LARGEST_TRUE_FIELD = Quantity(
    "largest true field",
    "electric field",
    "max |F⁻ᵀ E0|",
    "electric field in the thinned sheets (kV/mm = V/um); if the potential is solved, it has no limit under "
    "mesh refinement at the edges of electrodes",
    ("electrodes",),
    larger_is_better=False,
    needs_voltage=True,
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
STRAIN_ENERGY = Quantity("strain energy", "energy", _ENERGY, "elastic energy of the whole part")
STABILITY_MARGIN_OF = Quantity(
    "stability margin <load>",
    "ratio",
    "critical load / load",
    f"multiple of a load ({', '.join(filter(None, (kind.margin for kind in LOAD_KINDS)))}, or all loads "
    "together; the others are constant) at which the next limit point or bifurcation after the last state "
    "under load is; below 1 if the path ended at such a point before it reached the requested load",
    larger_is_better=True,
)
STRAIN_ENERGY_OF = Quantity(
    "strain energy <part>", "energy", _ENERGY, "elastic energy of one of several parts"
)
MEAN_HOOP_STRETCH = "mean hoop stretch"
"""Of the inflation of a skin only: mean of r/R through the wall where the stress-free skin is widest."""
UNSTABLE_MODES = Quantity(
    "unstable modes",
    "count",
    "negative pivots - constraint unknowns",
    "number of unstable modes under given loads; 0 for a stable state",
    larger_is_better=False,
)
UNSTABLE_MODES_CONTROLLED = Quantity(
    "unstable modes under control",
    "count",
    "the same with the border",
    "number of unstable modes while the controlled quantity (volume, charge, motion) is prescribed",
    larger_is_better=False,
)


def _of_path(name: str, kind: str, formula: str, meaning: str) -> Quantity:
    return Quantity(name, kind, formula, meaning, of_path=True)


_OPENS = "at which the part leaves the first stable branch of the path, as drawn, for another"
_CLOSES = (
    "at which the part leaves again, as the load goes back, the branch of the next stable state at zero "
    "load, or without one that on which the first snap ends; of the other sign if it must be pressed back"
)
STABLE_STATES = _of_path(
    "stable states at zero load",
    "count",
    "number of states with P = 0 and no unstable mode",
    "stable states without load that were found on the path of a single load; others may exist",
)
OPENING_PRESSURE = _of_path("opening pressure", "pressure", "P where dP/ds = 0", f"pressure {_OPENS}")
CLOSING_PRESSURE = _of_path("closing pressure", "pressure", "P where dP/ds = 0", f"pressure {_CLOSES}")
OPENING_FORCE = _of_path("opening force", "force", "F where dF/ds = 0", f"axial force {_OPENS}")
CLOSING_FORCE = _of_path("closing force", "force", "F where dF/ds = 0", f"axial force {_CLOSES}")
OPENING_VOLTAGE = _of_path("opening voltage", "voltage", "V where dV/ds = 0", f"voltage {_OPENS}")
CLOSING_VOLTAGE = _of_path("closing voltage", "voltage", "V where dV/ds = 0", f"voltage {_CLOSES}")
OPENING_SNAP_ENERGY = _of_path(
    "opening snap energy",
    "energy",
    "P ΔV - ΔU",
    "energy that the snap at the opening load releases while the load is constant; V is displaced volume, "
    "length or charge, U strain energy and electrical energy",
)
CLOSING_SNAP_ENERGY = _of_path(
    "closing snap energy", "energy", "P ΔV - ΔU", "the same of the snap at the closing load"
)
OPENING_BARRIER = _of_path(
    "opening barrier",
    "energy",
    "U_pass - U_first",
    "energy barrier from the first stable state at zero load to the next one: the unstable unloaded state "
    "between them on the path with the fewest unstable modes, of these the lowest",
)
CLOSING_BARRIER = _of_path("closing barrier", "energy", "U_pass - U_next", "the same on the way back")

QUANTITIES: tuple[Quantity, ...] = (
    *(value for value in list(globals().values()) if isinstance(value, Quantity)),
    *FLOW_QUANTITIES,
    *CYCLE_QUANTITIES,
)
"""All of them, in the order of tables."""


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


_SINGLE = {quantity.name: quantity for quantity in QUANTITIES if not quantity.placeholder}
_FAMILIES = [quantity for quantity in QUANTITIES if quantity.placeholder]


def quantity_of(name: str) -> Quantity:
    """The quantity of a reported name, also of one that carries a section, support or electrode.

    Raises:
        KeyError: No such quantity.
    """
    if name in _SINGLE:  # a whole name before a family whose stem it has
        return _SINGLE[name]
    for quantity in _FAMILIES:
        if quantity.matches(name):
            return quantity
    raise KeyError(name)


def names_for(scope: Scope) -> list[str]:
    """Names of all quantities that a model of this scope reports for each state, in table order."""
    return [name for quantity in QUANTITIES for name in quantity.names(scope)]


def cycle_names_for(scope: Scope) -> list[str]:
    """Names of the quantities of a cycle that a model of this scope may have."""
    return [name for quantity in CYCLE_QUANTITIES for name in quantity.in_scope(scope)]
