# SPDX-License-Identifier: MIT
"""Checks of the unit cell of a lattice, and of the alignment of a scan."""

import numpy as np

__all__ = ["aligned_scan", "honeycomb"]

_POINTS, _NOISE = 1500, 0.003


def honeycomb() -> float:
    """Young's modulus around of a hexagonal cell with walls of 1 x 0.05, over that of the solid."""
    from annelid.geometry.lattice.honeycombs import Honeycomb
    from annelid.geometry.lattice_mesh.cell_mesh import unit_cell
    from annelid.solver.homogenisation.unit_cell import UnitCell
    from annelid.solver.model.material import Material

    pattern = Honeycomb(vertical=1.0, inclined=1.0, angle=30.0, width=0.05).pattern()
    body = unit_cell(pattern, height=pattern.widest)
    rubber = Material("rubber", "neo-hookean", {"shear_modulus": 1 / 3})  # E = 1
    return float(UnitCell(body, (pattern.width, pattern.height), rubber).moduli().around)


def aligned_scan() -> float:
    """Error of the pose of an invented scan of a balloon over its diameter; turns about its axis are free."""
    from scipy.spatial.transform import Rotation

    from annelid.compare.alignment.align import align
    from annelid.compare.alignment.choice import apart
    from annelid.compare.alignment.nominal import nominal_mesh
    from annelid.compare.alignment.poses import Pose
    from annelid.results.fields.facets import revolved

    z, around = np.linspace(0, 100, 51), 60
    angle = 2 * np.pi * np.arange(around) / around
    radius = 4 + 0.03 * z + 10 * np.exp(-(((z - 42) / 20) ** 2))
    points = np.stack(
        [
            np.outer(np.cos(angle), radius),
            np.outer(np.sin(angle), radius),
            np.broadcast_to(z, (around, len(z))),
        ],
        axis=-1,
    ).reshape(-1, 3)
    numbers = np.arange(len(z))
    lines = np.column_stack([numbers[:-1], numbers[1:]])
    surface = nominal_mesh(points, revolved(lines, len(z), around, full=True))
    rng = np.random.default_rng(1)
    rotation, shift = Rotation.random(rng=rng).as_matrix(), rng.uniform(-300, 300, 3)
    seen = surface.sampled(_POINTS, seed=1)[0]
    seen = seen + rng.normal(0, _NOISE * surface.diameter, seen.shape)
    found = align(seen @ rotation.T + shift, surface)
    truth = Pose(rotation.T, -rotation.T @ shift)
    samples = (surface.sampled(1000)[0] - truth.translation) @ truth.rotation
    return float(apart(truth, found.pose, samples, found.free) / surface.diameter)
