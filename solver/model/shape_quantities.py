# SPDX-License-Identifier: MIT
"""Reported quantities of the deformed shape: radii, lengths, the lumen, and the thickness of the wall."""

from annelid.solver.model.quantity import Quantity

CLOSED = 0.05
"""Radius over the drawn radius below which a lumen is closed: a laminar flow (r⁴) is then below 1e-5."""

_DRAWN = "relative to the drawn shape"
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
    "max over ± of ∫ Λ(±(A - A0) > a) da, a > 0",
    "volume that the largest wave displaces in the lumen; Λ is the longest piece of the lumen along which "
    "its area differs by more than a, in one sense, from A0, that at the same height at rest: in the last "
    "state without voltage and outside stages with waves; 0 at rest, and without jumps while the shape "
    "changes",
    _IN_TIME,
)
OCCLUSION = Quantity(
    "occlusion ratio",
    "fraction",
    "(ρ_max - ρ_min)/(ρ_max + ρ_min)",
    "along the lumen, with ρ = h/h0 to the lumen at rest and h = √(A/π), or √(A/π) - c around a cylinder of "
    "the radius c; 0 at rest, 100 % if a wave shuts the lumen, or opens one that is shut at rest",
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
    "min a - π c², a = ∮ ½ x⊥·n dl",
    "smallest area that the inner surface encloses in a plane across the axis, π r² without a cut in an "
    "axisymmetric model, less that of the widest cylinder (radius c) in it; of parts that are open at both "
    "ends",
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
