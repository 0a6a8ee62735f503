# SPDX-License-Identifier: MIT
"""Shared by the dielectric tests: one material, paths with all their states, and structured bodies."""

import numpy as np

from annelid.geometry.body import Body
from annelid.geometry.elements import ELEMENT_NODES, FACETS
from annelid.solver.continuation.path import Path
from annelid.solver.model.material import Breakdown, Material
from annelid.solver.model.parts import Part, Sheets
from annelid.solver.model.stepping import Stepping

EPS0 = 8.8541878128e-6  # N/kV², CODATA 2018
MU = 0.2  # MPa
RELATIVE = 2.8
EPS = EPS0 * RELATIVE
RUBBER = Material("rubber", "neo-hookean", {"shear_modulus": MU}, permittivity=RELATIVE)

VOLTAGE = 2e-3  # relative error allowed of a voltage at given shape
FORCE = 1e-2  # and of a force


def volts(v, thickness):
    """Voltage in kV that makes the scaled nominal field v in a sheet of this drawn thickness (mm)."""
    return v * thickness * np.sqrt(MU / EPS)


def sheet(region, thickness, *, count=1, material=RUBBER):
    return Part(region, material, Sheets(count, thickness))


def strong(**breakdown):
    return Material(
        "rubber",
        "neo-hookean",
        {"shear_modulus": MU},
        permittivity=RELATIVE,
        breakdown=Breakdown(**breakdown),
    )


def follow(model, *stages, beyond="stop"):
    """States and outcome of a path."""
    states = []
    outcome = Path(model, stages, stepping=Stepping(beyond_instability=beyond)).follow(observe=states.append)
    return states, outcome


def value(state, quantity):
    return state.quantities[quantity].value


def inner_stretch(state):
    """Mean radius of the inner face over its drawn one, and how much it varies along the axis."""
    profile = state.profiles["inner"]
    ratio = profile.radius / profile.reference_radius
    return ratio.mean(), np.ptp(ratio)


def grid_body(model, axes, place, regions, surfaces, normal, *, hoop=None, bands=None):
    """A body on a tensor grid of second-order cells.

    Args:
        model: As in ``Body``.
        axes: Number of cells along each grid direction.
        place: Maps parameters in [0, 1]^d, shape (n, d), to positions.
        regions: Region of all cells.
        surfaces: Names by (grid direction, end 0 or 1).
        normal: Wall normal, one vector or one for each node.
        hoop: The same for the hoop direction.
        bands: Electrode name by (inner, outer) grid faces that carry its potentials.
    """
    dim = len(axes)
    cell_type = "quad9" if dim == 2 else "hexahedron27"
    counts = [2 * n + 1 for n in axes]
    grid = np.stack(np.meshgrid(*(np.arange(c) for c in counts), indexing="ij"), axis=-1).reshape(-1, dim)
    strides = np.array([int(np.prod(counts[i + 1 :])) for i in range(dim)])
    first = 2 * np.stack(np.meshgrid(*(np.arange(n) for n in axes), indexing="ij"), axis=-1).reshape(-1, dim)
    local = np.rint(2 * ELEMENT_NODES[cell_type]).astype(int)
    cells = (first[:, None, :] + local[None]) @ strides
    points = place(grid / (2 * np.array(axes)))
    _, table = FACETS[cell_type]
    every = cells[:, table].reshape(-1, table.shape[1])
    facets, named = [], {}
    faces = dict(surfaces)
    bands = bands or {}
    for direction, end in {*faces, *(f for pair in bands.values() for f in pair)}:
        hit = every[np.all(grid[every, direction] == end * (counts[direction] - 1), axis=1)]
        numbers = np.arange(len(hit)) + sum(map(len, facets))
        facets.append(hit)
        if (direction, end) in faces:
            named[faces[direction, end]] = numbers
        for band, pair in bands.items():
            for side, face in zip(("inner", "outer"), pair, strict=True):
                if face == (direction, end):
                    named[f"{band}.{side}"] = numbers
    return Body(
        model=model,
        points=points,
        cell_type=cell_type,
        cells=cells,
        regions={regions: np.arange(len(cells))},
        bands={band: np.arange(len(cells)) for band in bands},
        facets=np.concatenate(facets),
        surfaces=named,
        normal=np.broadcast_to(np.asarray(normal, dtype=float), points.shape).copy(),
        hoop=None if hoop is None else np.broadcast_to(np.asarray(hoop, dtype=float), points.shape).copy(),
    )


def disc(thickness):
    """Solid disc of radius 1 mm whose film normal is the axis: bottom grounded, top energised, rim free."""
    return grid_body(
        "axisymmetric",
        (2, 1),
        lambda q: q * np.array([1.0, thickness]),
        "film",
        {(0, 1): "outer", (1, 0): "end_low", (1, 1): "end_high"},
        (0.0, 1.0),
        bands={"film": ((1, 0), (1, 1))},
    )
