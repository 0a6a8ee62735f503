# SPDX-License-Identifier: MIT
"""Walls whose paths pass limit points, and the measure of their motion."""

import numpy as np

from annelid.geometry.elements import ELEMENT_NODES
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.solver.model.boundary import Support
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part


def half_sphere(thickness, material, *, through=1, along=0.25, electrode=None, electrics="layered"):
    """Half of a sphere of inner radius 1, the equator sliding in its plane.

    Args:
        thickness: Of the wall.
        material: Of the wall.
        through: Elements through it.
        along: Their length.
        electrode: An ``Electrode`` that covers the whole, with its ``Sheets`` as a pair, or nothing.
        electrics: As in ``Model``.
    """
    bands, electrodes, sheets = (), (), None
    if electrode is not None:
        covering, sheets = electrode
        bands, electrodes = (Band(covering.name, "wall", 0.0, 1.0),), (covering,)
    body = build(
        Balloon(sphere(1.0, half=True), (Layer("wall", thickness),)),
        MeshSize(along=along, through=through),
        bands,
    )
    return Model(
        body,
        (Part("wall", material, sheets),),
        (Support("end_low", "symmetric"),),
        electrodes=electrodes,
        electrics=electrics,
    )


def root_mean_square_motion(body, motion):
    """√(∫ |u|² dV / V) of nodal values on a meridian mesh of straight-sided cells, by Gauss's rule.

    The biquadratic basis follows from its nodes, independently of the solver.
    """

    def powers(q):
        return np.stack([q[:, 0] ** i * q[:, 1] ** j for i in range(3) for j in range(3)], axis=1)

    def slopes(q):
        x, y = q.T
        zero = np.zeros_like(x)
        dx = [i * x ** (i - 1) * y**j if i else zero for i in range(3) for j in range(3)]
        dy = [j * x**i * y ** (j - 1) if j else zero for i in range(3) for j in range(3)]
        return np.stack([dx, dy], axis=-1)  # (9, n, 2)

    inverse = np.linalg.inv(powers(np.asarray(ELEMENT_NODES["quad9"], dtype=float)))
    x, w = np.polynomial.legendre.leggauss(4)
    x, w = (x + 1) / 2, w / 2
    q = np.stack([a.ravel() for a in np.meshgrid(x, x, indexing="ij")], axis=1)
    N = powers(q) @ inverse
    dN = np.einsum("pnd,pk->nkd", slopes(q), inverse)
    corners = body.points[body.cells]
    volume = np.abs(np.linalg.det(np.einsum("nkd,mkc->mncd", dN, corners)))
    volume = volume * np.einsum("nk,mk->mn", N, corners[..., 0]) * np.outer(w, w).ravel()
    square = (np.einsum("nk,mkc->mnc", N, motion[body.cells]) ** 2).sum(-1)
    return float(np.sqrt((square * volume).sum() / volume.sum()))
