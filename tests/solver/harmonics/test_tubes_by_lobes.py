# SPDX-License-Identifier: MIT
"""Thick tubes with sliding ends: loads at which modes of m lobes around and n half waves along turn.

The incremental equations of Haughton and Ogden, J. Mech. Phys. Solids 27, 179 and 489 (1979), from memory,
solved by a spectral Galerkin method of degree 9 in the radius; a second one with exactly divergence-free
functions gave the same values to 1e-8. n = 0 is plane strain. The values up to n = 4 are known: counts are
those of all n.
"""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import pytest
from counting import Judged, turns
from exact import tube as exact_tube
from models import neo_hookean, tube_body, tube_model

from annelid.solver.model.material import Material

MATERIALS = {
    "neo-Hookean": neo_hookean(),
    "Gent": Material("gent", "gent", {"shear_modulus": 1.0, "stretch_limit": 30.0}),
}
# B/A, axial stretch, elements through the wall, then m and P/μ in plane strain.
PLANE = {
    ("neo-Hookean", 1.1, 1.0, 2): [
        (2, 0.000867751),
        (3, 0.0023369),
        (4, 0.00444301),
        (5, 0.00723835),
        (6, 0.0107946),
    ],
    ("neo-Hookean", 1.35, 1.0, 8): [(2, 0.027579938)],
    ("neo-Hookean", 1.5, 1.0, 8): [
        (2, 0.0688764),
        (3, 0.215462),
        (4, 0.478682),
        (5, 0.795338),
        (6, 1.02483),
    ],
    ("neo-Hookean", 1.5, 1.5, 16): [(3, 0.143641), (4, 0.319122), (5, 0.530225), (6, 0.683224)],
    ("Gent", 1.5, 1.0, 8): [(2, 0.0689229), (3, 0.216497), (4, 0.484849)],
    ("Gent", 2.0, 1.0, 16): [(2, 0.34280655)],
    ("Gent", 1.5, 1.5, 8): [(2, 0.0468496), (3, 0.146967), (4, 0.328287)],
}
# m, P/μ and n of a neo-Hookean tube with B/A = 1.5 and L/B = 2, in the order of the pressure.
SUCTION = [
    (2, 0.0688764, 0),
    (2, 0.173266, 1),
    (3, 0.215462, 0),
    (3, 0.29867, 1),
    (4, 0.478682, 0),
    (4, 0.566787, 1),
    (2, 0.623448, 2),
    (3, 0.642025, 2),
]
# Material, B/A, L/B, then m and P/μ; n = 1.
INFLATION = {
    ("neo-Hookean", 1.5, 5): [(1, 0.344345)],
    ("neo-Hookean", 1.1, 10): [(1, 0.0651725)],
    ("Gent", 1.5, 10): [(1, 0.262685), (0, 0.382945)],
}
# Material, B/A, L/B, then m and axial stretch; in the order of compression.
COMPRESSION = {
    ("neo-Hookean", 1.5, 2): [(2, 0.80248), (1, 0.793122), (0, 0.768156)],
    ("neo-Hookean", 1.5, 5): [(1, 0.891042)],
    ("neo-Hookean", 1.5, 10): [(1, 0.966532)],
    ("neo-Hookean", 1.1, 2): [(3, 0.944273), (2, 0.940477)],
    ("Gent", 1.1, 5): [(2, 0.961064), (3, 0.94627)],
    ("Gent", 2.0, 5): [(1, 0.89632247)],
}


def tube(material, ratio, length, *, through, along):
    body = tube_body(ratio, length, along=along, through=through)
    return Judged(tube_model(body, MATERIALS[material]))


def pulled(judged, length, lz):
    return judged.at(displacements={"end_high": length * (lz - 1)}, steps=4)


@pytest.mark.exact
@pytest.mark.parametrize("case", PLANE, ids=str)
def test_lobes_of_a_short_tube_under_suction(case):
    """A ring as long as an element is in plane strain; one mode of each m turns, at the exact suction."""
    material, ratio, lz, through = case
    height = (ratio - 1) / through
    judged = pulled(tube(material, ratio, height, through=through, along=height), height, lz)
    for m, exact in PLANE[case]:
        assert turns(judged, m, exact, lambda P: {"pressure": -P}) == (0, 1), m
    assert [judged.count(m) for m in (0, 1)] == [0, 0]


@pytest.mark.exact
def test_the_pressure_in_plane_strain_goes_with_one_over_the_stretch():
    """The energy in the plane of a neo-Hookean tube goes with 1/λz: P(λz) = P(1)/λz."""
    height = 0.125
    for lz in (1.0, 1.3, 1.6):
        judged = pulled(tube("neo-Hookean", 1.5, height, through=4, along=height), height, lz)
        assert turns(judged, 2, 0.0688764 / lz, lambda P: {"pressure": -P}) == (0, 1)


@pytest.mark.exact
def test_many_lobes_crease_the_inner_surface():
    """B/A = 1.5: 20 lobes turn at a/A = 0.554941, a plane surface at 0.543689 (Biot, from memory)."""
    height = 0.5 / 32
    judged = tube("neo-Hookean", 1.5, height, through=32, along=height)
    P, _ = exact_tube.pressure_and_force(exact_tube.mooney_rivlin(0.5), 1.0, 1.5, 0.554941, 1.0)
    assert turns(judged, 20, -P, lambda P: {"pressure": -P}, steps=12) == (0, 1)


@pytest.mark.exact
def test_waves_along_the_axis_turn_in_their_order():
    judged = tube("neo-Hookean", 1.5, 3.0, through=4, along=0.125)
    for m, exact, n in SUCTION:
        assert turns(judged, m, exact, lambda P: {"pressure": -P}) == (n, n + 1), (m, n)
    assert judged.count(1) == 0  # it turns at 1.62 μ


@pytest.mark.exact
@pytest.mark.parametrize("case", INFLATION, ids=str)
def test_inflated_tubes_bend_sideways(case):
    material, ratio, length = case
    judged = tube(material, ratio, length * ratio, through=2, along=0.25)
    for m, exact in INFLATION[case]:
        assert turns(judged, m, exact, lambda P: {"pressure": P}, steps=8) == (0, 1), m


@pytest.mark.exact
@pytest.mark.parametrize("case", COMPRESSION, ids=str)
def test_compressed_tubes(case):
    material, ratio, over_B = case
    length = over_B * ratio
    judged = tube(material, ratio, length, through=2, along=0.1 if ratio < 1.2 else 0.25)

    def shorten(strain):
        return {"displacements": {"end_high": -strain * length}}

    for m, stretch in COMPRESSION[case]:
        assert turns(judged, m, 1 - stretch, shorten) == (0, 1), m


@pytest.mark.long
@pytest.mark.exact
def test_laws_of_principal_stretches():
    """Ogden's law with the exponent -2 is that of Mooney and Rivlin, also where principal stretches coincide.

    A perturbation shears the hoop direction, so that it is no principal one any more.
    """
    mooney = Material("mooney", "mooney-rivlin", {"c1": 0.0, "c2": 0.5})
    ogden = Material("ogden", "ogden", {"moduli": (-1.0,), "exponents": (-2.0,)})
    stiffness = []
    for material in (mooney, ogden):
        judged = Judged(tube_model(tube_body(1.5, 0.125, along=0.125, through=4), material))
        found = []
        for pressure in (0.0, 0.1, 0.25):
            judged.at(pressure=-pressure)
            found += [judged.harmonics.mode(m).stiffness for m in range(4)]
        stiffness.append(found)
    assert stiffness[1] == pytest.approx(stiffness[0], rel=1e-5)
