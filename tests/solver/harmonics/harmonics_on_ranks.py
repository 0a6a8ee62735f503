# SPDX-License-Identifier: MIT
"""Judges small models on the ranks of this job; the first rank writes counts, stiffness and modes."""

import sys

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
from counting import Judged
from dielectric_cases import sheet, volts
from models import CLOSED, SLIDING, neo_hookean, tube_body, tube_model
from mpi4py import MPI

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part


def free_sphere():
    """Free rigid motions, and nodes on the axis that are tied for m = 1."""
    body = build(Balloon(sphere(1.0), (Layer("wall", 0.5),)), MeshSize(along=0.25, through=2))
    model = Model(body, (Part("wall", neo_hookean()),), (Support("outer", "rigid motion"),))
    return Judged(model).at(pressure=-0.9, steps=4)


def closed_tube():
    """A plate, which is tied for m = 0."""
    model = tube_model(tube_body(1.5, 3.0, along=0.25, through=2), neo_hookean(), CLOSED)
    return Judged(model).at(pressure=-0.1, steps=2)


def solved_potential():
    body = tube_body(1.05, 2.1, along=0.1, through=2, bands=(Band("all", "wall", 0.0, 2.1),))
    model = Model(body, (sheet("wall", 0.05),), SLIDING, (Electrode("all"),), electrics="solved")
    return Judged(model).at(voltages={"all": volts(0.379, 0.05)}, steps=8)


def main():
    found = {}
    for make in (free_sphere, closed_tube, solved_potential):
        judged = make()
        modes = [judged.harmonics.mode(m) for m in range(4)]
        found[f"{make.__name__} count"] = [judged.count(m) for m in range(4)]
        found[f"{make.__name__} stiffness"] = [mode.stiffness for mode in modes]
        found[f"{make.__name__} mode"] = modes[3].amplitude
    if MPI.COMM_WORLD.rank == 0:
        np.savez(sys.argv[1], **found)


if __name__ == "__main__":
    main()
