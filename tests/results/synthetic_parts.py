# SPDX-License-Identifier: MIT
"""Invented bodies and equilibria: a thick neo-Hookean tube inflated in closed form, and a ball.

Own derivation: r^2 = a^2 + (R^2 - A^2)/l, z = l Z; sigma_rr follows from the radial balance
d sigma_rr/dr = (sigma_hoop - sigma_rr)/r with sigma_hoop - sigma_rr = mu (l_hoop^2 - l_r^2), 0 outside.
"""

import numpy as np

from annelid.geometry.body import Body
from annelid.solver.records import Equilibrium, Measure, Profile

INNER, OUTER, LENGTH = 4.0, 6.0, 12.0
SHEAR_MODULUS = 0.3
NOMINAL_FIELD, STRENGTH = 30.0, 60.0

QUAD9 = np.array([(0, 0), (2, 0), (2, 2), (0, 2), (1, 0), (2, 1), (1, 2), (0, 1), (1, 1)])
HEX27 = np.array(
    [
        *[(0, 0, 0), (2, 0, 0), (2, 2, 0), (0, 2, 0), (0, 0, 2), (2, 0, 2), (2, 2, 2), (0, 2, 2)],
        *[(1, 0, 0), (2, 1, 0), (1, 2, 0), (0, 1, 0), (1, 0, 2), (2, 1, 2), (1, 2, 2), (0, 1, 2)],
        *[(0, 0, 1), (2, 0, 1), (2, 2, 1), (0, 2, 1)],
        *[(0, 1, 1), (2, 1, 1), (1, 0, 1), (1, 2, 1), (1, 1, 0), (1, 1, 2), (1, 1, 1)],
    ]
)


def lattice_cells(numbers, order):
    """Second-order cells on a lattice of node numbers, in the order of the local lattice places."""
    counts = [(n - 1) // 2 for n in numbers.shape]
    starts = np.stack(np.meshgrid(*(2 * np.arange(c) for c in counts), indexing="ij"), axis=-1)
    places = starts.reshape(-1, 1, len(counts)) + order
    return numbers[tuple(np.moveaxis(places, -1, 0))]


def _sets(cell_radius, cell_height, inner, outer, length):
    middle = 0.5 * (inner + outer)
    low, high = length * 0.25, length * 0.75
    return {
        "regions": {
            "liner": np.flatnonzero(cell_radius < middle),
            "skin": np.flatnonzero(cell_radius >= middle),
        },
        "bands": {
            "ring": np.flatnonzero((cell_radius >= middle) & (cell_height > low) & (cell_height < high))
        },
    }


def meridian_tube(through=4, along=12, inner=INNER, outer=OUTER, length=LENGTH):
    """A tube of two bonded layers in its meridian, quad9."""
    radius = np.linspace(inner, outer, 2 * through + 1)
    height = np.linspace(0.0, length, 2 * along + 1)
    numbers = np.arange(radius.size * height.size).reshape(radius.size, height.size)
    points = np.stack(np.meshgrid(radius, height, indexing="ij"), axis=-1).reshape(-1, 2)
    cells = lattice_cells(numbers, QUAD9)
    steps = 2 * np.arange(along)
    lumen = numbers[0][np.column_stack([steps, steps + 2, steps + 1])]
    skin = numbers[-1][np.column_stack([steps, steps + 2, steps + 1])]
    centre = points[cells[:, 8]]
    return Body(
        model="axisymmetric",
        points=points,
        cell_type="quad9",
        cells=cells,
        facets=np.concatenate([lumen, skin]),
        surfaces={"lumen": np.arange(along), "outer": np.arange(along, 2 * along)},
        normal=np.tile([1.0, 0.0], (len(points), 1)),
        **_sets(centre[:, 0], centre[:, 1], inner, outer, length),
    )


def solid_tube(through=2, around=8, along=6, inner=INNER, outer=OUTER, length=LENGTH, turns=1.0):
    """The same tube in 3-D, hexahedron27; a sector when ``turns`` is a part of one."""
    radius = np.linspace(inner, outer, 2 * through + 1)
    height = np.linspace(0.0, length, 2 * along + 1)
    angles = np.linspace(0.0, 2.0 * np.pi * turns, 2 * around + 1)
    closed = turns == 1.0
    stations = angles.size - 1 if closed else angles.size
    numbers = np.arange(radius.size * stations * height.size).reshape(radius.size, stations, height.size)
    r, t, z = np.meshgrid(radius, angles[:stations], height, indexing="ij")
    points = np.stack([r * np.cos(t), r * np.sin(t), z], axis=-1).reshape(-1, 3)
    if closed:
        numbers = np.concatenate([numbers, numbers[:, :1]], axis=1)
    cells = lattice_cells(numbers, HEX27)
    lumen = lattice_cells(numbers[0], QUAD9)
    skin = lattice_cells(numbers[-1], QUAD9)
    centre = points[cells[:, 26]]
    normal = points * [1.0, 1.0, 0.0]
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    return Body(
        model="solid" if closed else "sector",
        points=points,
        cell_type="hexahedron27",
        cells=cells,
        facets=np.concatenate([lumen, skin]),
        surfaces={"lumen": np.arange(len(lumen)), "outer": np.arange(len(skin)) + len(lumen)},
        normal=normal,
        hoop=np.cross([0.0, 0.0, 1.0], normal),
        multiplicity=1.0 / turns,
        **_sets(np.hypot(*centre.T[:2]), centre[:, 2], inner, outer, length),
    )


def tetra_block():
    """A unit cube of six tetra10 cells."""
    corners = np.array([(i, j, k) for i in (0, 1) for j in (0, 1) for k in (0, 1)], dtype=float)
    step = np.array([4, 2, 1])
    paths = [(0, 1, 2), (1, 2, 0), (2, 0, 1), (0, 2, 1), (2, 1, 0), (1, 0, 2)]
    linear = np.array([np.cumsum([0, *step[list(path)]]) for path in paths])
    # Odd paths turn the other way round.
    linear[3:, [1, 2]] = linear[3:, [2, 1]]
    pairs = np.array([(0, 1), (1, 2), (2, 0), (0, 3), (1, 3), (2, 3)])
    edges = np.sort(linear[:, pairs].reshape(-1, 2), axis=1)
    unique, which = np.unique(edges, axis=0, return_inverse=True)
    points = np.concatenate([corners, corners[unique].mean(axis=1)])
    cells = np.column_stack([linear, which.reshape(6, 6) + len(corners)])
    return Body(
        model="solid",
        points=points,
        cell_type="tetra10",
        cells=cells,
        regions={"block": np.arange(6)},
        bands={},
        facets=np.empty((0, 6), dtype=np.int64),
        surfaces={},
        normal=np.tile([0.0, 0.0, 1.0], (len(points), 1)),
        hoop=np.tile([1.0, 0.0, 0.0], (len(points), 1)),
    )


def meridian_ball(radius=12.0, wall=1.0, through=2, along=16):
    """A spherical balloon in its meridian, closed at both poles."""
    r = np.linspace(radius, radius + wall, 2 * through + 1)
    angle = np.linspace(-0.5 * np.pi, 0.5 * np.pi, 2 * along + 1)
    numbers = np.arange(r.size * angle.size).reshape(r.size, angle.size)
    rr, aa = np.meshgrid(r, angle, indexing="ij")
    direction = np.stack([np.cos(aa), np.sin(aa)], axis=-1)
    direction[:, [0, -1], 0] = 0.0
    steps = 2 * np.arange(along)
    columns = np.column_stack([steps, steps + 2, steps + 1])
    return Body(
        model="axisymmetric",
        points=(rr[..., None] * direction).reshape(-1, 2),
        cell_type="quad9",
        cells=lattice_cells(numbers, QUAD9),
        regions={"wall": np.arange(through * along)},
        bands={},
        facets=np.concatenate([numbers[0][columns], numbers[-1][columns]]),
        surfaces={"lumen": np.arange(along), "outer": np.arange(along, 2 * along)},
        normal=direction.reshape(-1, 2),
    )


def inflated(body, stretch, *, axial=1.0, index=0, stage="inflate", parameter=1.0, bulge=0.0, extra=None):
    """The tube at the inner hoop stretch ``stretch``; exact when ``bulge`` is 0.

    ``bulge`` lets the hoop stretch fade towards the ends (1: no displacement there).
    """
    flat = body.model == "axisymmetric"
    big_r = body.points[:, 0] if flat else np.hypot(*body.points.T[:2])
    big_z = body.points[:, -1]
    fade = 1.0 - bulge * (2.0 * big_z / big_z.max() - 1.0) ** 2
    inner = 1.0 + (stretch - 1.0) * fade
    a2 = (inner * INNER) ** 2
    r = np.sqrt(a2 + (big_r**2 - INNER**2) / axial)
    radial = body.points[:, :1] * 0 + 1 if flat else body.points[:, :2] / big_r[:, None]
    displacement = np.column_stack([radial * (r - big_r)[:, None], (axial - 1.0) * big_z])
    hoop = r / big_r
    through = 1.0 / (hoop * axial)
    k = INNER**2 - axial * a2

    def potential(radius):
        first = np.log(axial * radius**2 + k) / (2.0 * axial) - np.log(radius) / axial
        return SHEAR_MODULUS * (first + k / (2.0 * axial**2 * radius**2))

    outside = np.sqrt(a2 + (OUTER**2 - INNER**2) / axial)
    stress_r = potential(r) - potential(outside)
    shift = stress_r - SHEAR_MODULUS * through**2
    deviator = SHEAR_MODULUS * np.stack([through**2, hoop**2, np.full_like(hoop, axial**2)], axis=-1)
    principal = deviator + shift[:, None]
    stress = np.zeros((len(r), 3, 3))
    if flat:
        stress[:, [0, 1, 2], [0, 1, 2]] = principal
    else:
        frame = np.stack([body.normal, body.hoop, np.tile([0.0, 0.0, 1.0], (len(r), 1))], axis=-1)
        stress = np.einsum("nij,nj,nkj->nik", frame, principal, frame)
    cells = body.cells
    in_band = np.zeros(len(cells), dtype=bool)
    in_band[body.bands["ring"]] = True
    field = np.where(in_band[:, None], (NOMINAL_FIELD / through)[cells], 0.0)
    with np.errstate(divide="ignore"):
        margin = STRENGTH / field
    stretches = -np.sort(-np.stack([through, hoop, np.full_like(hoop, axial)], axis=-1), axis=1)
    pressure = (potential(outside) - potential(np.sqrt(a2))).max()
    return Equilibrium(
        index=index,
        stage=stage,
        parameter=parameter,
        loads={"pressure": Measure(float(pressure), "MPa"), "voltage ring": Measure(3.0 * parameter, "kV")},
        iterations=4,
        residual=3e-11,
        factorisations=1,
        unstable_modes=0,
        unstable_modes_controlled=0,
        quantities=_quantities(stretch, principal, field, margin, extra or {}),
        displacement=displacement,
        fields={
            "Cauchy stress": stress[cells],
            "principal stretches": stretches[cells],
            "pressure": -shift[cells],
            "true field": field,
            "breakdown margin": margin,
        },
        profiles={name: _profile(body, r, big_r, big_z, axial, name) for name in body.surfaces},
        places={"peak stress": (INNER, 6.0) if flat else (INNER, 0.0, 6.0)},
    )


def _quantities(stretch, principal, field, margin, extra):
    quantities = {
        "mean radial expansion": Measure(stretch - 1.0, "1"),
        "largest stretch": Measure(stretch, "1"),
        "peak stress": Measure(float(principal.max()), "MPa"),
        "lumen volume": Measure(np.pi * (INNER * stretch) ** 2 * LENGTH, "mm3"),
        "largest true field": Measure(float(field.max()), "kV/mm"),
        "breakdown margin": Measure(float(margin.min()), "1"),
        "charge": Measure(0.9 * stretch, "uC"),
        "stored electrical energy": Measure(1.4 * stretch, "mJ"),
        "unstable modes": Measure(0.0, "1"),
    }
    return quantities | extra


def _profile(body, r, big_r, big_z, axial, surface):
    nodes = body.surface_nodes(surface)
    height, which = np.unique(np.round(big_z[nodes], 9), return_inverse=True)
    count = np.bincount(which)
    return Profile(
        height=height,
        reference_radius=np.bincount(which, big_r[nodes]) / count,
        radius=np.bincount(which, r[nodes]) / count,
        current_height=axial * height,
    )
