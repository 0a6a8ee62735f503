# SPDX-License-Identifier: MIT
"""The table of checks: what is computed, the published value or closed form, and the allowed error.

Values are dimensionless unless a unit is given. Where a source is given "from memory", the value was
recomputed from its formula; ``tests/cases/selfcheck`` does so again. Tolerances are those of the meshes.
"""

from typing import NamedTuple

__all__ = ["CHECKS", "Check"]


class Check(NamedTuple):
    """One check.

    Attributes:
        name: Name of the function of ``cases/selfcheck`` that computes the value, and its argument if any.
        feature: What it is about, for readers.
        covers: Features of cases that it covers, words of ``features_of``.
        quantity: What is computed.
        source: Where the value comes from.
        published: The value.
        tolerance: Largest error, relative to the value, or absolute if that is 0.
    """

    name: str
    feature: str
    covers: tuple[str, ...]
    quantity: str
    source: str
    published: float
    tolerance: float


_RIVLIN = "Rivlin, Phil. Trans. A 242, 173 (1949); Haughton, Ogden, J. Mech. Phys. Solids 27, 179 (1979)"
CHECKS = (
    Check(
        "inflated_tube",
        "thick tube under pressure",
        ("axisymmetric", "tube", "pressure", "neo-hookean"),
        "P/μ at B/A = 1.5, axial stretch 1.2, inner stretch 1.5",
        f"{_RIVLIN}, from memory",
        0.262382,
        2e-3,
    ),
    Check(
        "sphere_maximum",
        "pressure maximum of a thick sphere, by volume",
        ("balloon", "volume control", "limit points"),
        "largest P/μ at B/A = 1.5",
        "Green, Adkins, Large Elastic Deformations (1960), from memory",
        0.493519,
        1e-3,
    ),
    Check(
        "gent_sphere",
        "thick sphere of a Gent rubber",
        ("gent",),
        "P/μ at B/A = 1.5, limit 30, inner stretch 2",
        "Gent, Rubber Chem. Technol. 69, 59 (1996); radial balance by quadrature, from memory",
        0.5056278,
        1e-3,
    ),
    Check(
        "film_stretch",
        "strain of a free dielectric film of two sheets",
        ("dielectric", "layered field", "sheets"),
        "strain at the nominal field 0.655166 √(μ/ε)",
        "Zhao, Suo, Appl. Phys. Lett. 91, 061921 (2007), e² = λ⁻² - λ⁻⁸, from memory",
        0.15,
        4e-3,
    ),
    Check(
        "film_pull_in",
        "pull-in of a free dielectric film",
        ("dielectric", "layered field", "limit points"),
        "nominal field over √(μ/ε)",
        "Zhao, Suo, Appl. Phys. Lett. 91, 061921 (2007): 0.69, from memory; digits from e² = λ⁻² - λ⁻⁸",
        0.687364818,
        2e-3,
    ),
    Check(
        "solved_field_tube",
        "thick dielectric tube, potential solved",
        ("solved field",),
        "nominal field over √(μ/ε) at B/A = 1.5, inner stretch 1.2",
        "radial field, own derivation after Melnikov, Ogden, ZAMP 67, 140 (2016)",
        0.63003,
        2e-3,
    ),
    Check(
        "natural_stretch",
        "natural stretch of a free tube",
        ("natural stretch",),
        "mean radial expansion at rest, natural stretch 1.1 around and through the wall",
        "definition: a free part rests at its natural stretch without stress",
        0.1,
        1e-5,
    ),
    Check(
        "oval_tube",
        "bifurcation of a tube into two lobes",
        ("harmonics",),
        "suction over μ at B/A = 1.5, plane strain",
        "Haughton, Ogden, J. Mech. Phys. Solids 27, 489 (1979), incremental equations, from memory",
        0.0688764,
        5e-3,
    ),
    Check(
        "pulled_tube yeoh",
        "uniaxial tension, Yeoh rubber",
        ("yeoh",),
        "nominal stress over μ at stretch 1.5; c2 = -0.01 μ, c3 = 0.001 μ",
        "Treloar, The Physics of Rubber Elasticity (1975), from memory",
        1.03308102,
        1e-6,
    ),
    Check(
        "pulled_tube ogden",
        "uniaxial tension, Ogden rubber",
        ("ogden",),
        "nominal stress over μ at stretch 1.5; μ_p/μ = 1.2, -0.2, α_p = 1.5, -2",
        "Treloar, The Physics of Rubber Elasticity (1975), from memory",
        1.02020423,
        1e-6,
    ),
    Check(
        "twisted_tube",
        "torsion of a thick tube",
        ("twist", "mooney-rivlin"),
        "torque over μ A³, B/A = 1.5, 1 rad per A, c1 = 0.3 μ, c2 = 0.2 μ",
        "Rivlin, Phil. Trans. A 242, 173 (1949), from memory; radial balance by quadrature",
        5.45024695,
        1e-3,
    ),
    Check(
        "hanging_tube",
        "slender tube under its weight",
        ("gravity",),
        "elongation at ρ g L/μ = 0.86328",
        "uniaxial law of each section, μ (λ - λ⁻²) = weight below over area, by quadrature",
        0.175179184,
        1e-3,
    ),
    Check(
        "fibre_tube",
        "tube with helical fibres",
        ("fibres",),
        "P/μ at B/A = 1.1, fibres at 35 deg with k1 = 2 μ, k2 = 0.8, axial stretch 1.05, inner stretch 1.3",
        "radial balance by quadrature, own derivation; "
        "fibre energy of Holzapfel, Gasser, Ogden, J. Elast. 61, 1 (2000), from memory",
        0.1895471,
        1e-4,
    ),
    Check(
        "solid_tube",
        "thick tube under pressure in 3-D",
        ("3-D",),
        "P/μ at B/A = 1.5, axial stretch 1.2, inner stretch 1.5",
        f"{_RIVLIN}, from memory",
        0.262382,
        2e-3,
    ),
    Check(
        "honeycomb",
        "modulus of a slender honeycomb",
        ("lattice",),
        "E around over that of the solid, t/l = 0.05, stretched beams",
        "Gibson, Ashby, Cellular Solids (1997), ch. 4, from memory; joints stiffen by up to 6 %",
        2.843040e-4,
        0.06,
    ),
    Check(
        "press_fit",
        "tube on a rigid rod",
        ("contact",),
        "pressure over E at an interference of 0.01 of the radius, c/b = 1.1, plane strain",
        "Lamé's press fit, textbook formula from memory",
        0.00115702,
        5e-3,
    ),
    Check(
        "peristaltic_pump",
        "peristaltic pumping",
        ("flow along a lumen",),
        "free flow in a wave at φ = 0.4",
        "Shapiro, Jaffrin, Weinberg, J. Fluid Mech. 37, 799 (1969), φ²(16 - φ²)/(2(2 + 3φ²)), from memory",
        0.510968,
        4e-3,
    ),
    Check(
        "windkessel",
        "three-element windkessel",
        ("circuit",),
        "pressure in mmHg 1 s after a step of inflow of 100 mL/s",
        "Zc Q + R Q (1 - exp(-t/RC)), R = 1, C = 1.3, Zc = 0.05; Westerhof's model, from memory",
        58.66306308,
        1e-4,
    ),
    Check(
        "aligned_scan",
        "alignment of a scan",
        ("scans",),
        "error of the pose of an invented scan over its diameter",
        "known truth: the pose in which the scan was invented",
        0.0,
        5e-3,
    ),
)
"""All checks, in the order in which they run: cheap ones first where forms are shared."""
