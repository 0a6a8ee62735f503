# SPDX-License-Identifier: MIT
"""Runs small models on the ranks of this job; the first rank writes their results to a file."""

import sys
from dataclasses import replace

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
from models import CLOSED, FOLLOW, SLIDING, neo_hookean, tube_body
from mpi4py import MPI

from annelid.geometry.lattice.catalogue import CELLS
from annelid.geometry.lattice.chart import chart_of
from annelid.geometry.lattice.wrapping import wrap
from annelid.geometry.lattice_mesh.core_surface import Core
from annelid.geometry.lattice_mesh.lattice_body import lattice_body
from annelid.geometry.lattice_mesh.lattice_sheet import LatticeMeshSize
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.tube import Tube
from annelid.solver.continuation.path import Path
from annelid.solver.model.boundary import Electrode, Foundation, Section, Support
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalField, NaturalStretch
from annelid.solver.model.parts import Part, Sheets
from annelid.solver.model.stage_ends import EndCondition
from annelid.solver.model.stages import Stage

SECTION = (Section("mid", 0.5),)


def closed_tube():
    """Plate, volume control past the pressure maximum: ties, border, critical point."""
    model = Model(tube_body(1.1, along=0.25), (Part("wall", neo_hookean()),), CLOSED, sections=SECTION)
    return model, [Stage("blow", volume=14.0, control="volume", steps=6)]


def layered_actuator():
    """Two materials, natural stretch, a ring electrode, an elastic foundation, a dead load."""
    body = tube_body(
        layers=(("liner", 0.1), ("skin", 0.1)),
        along=0.125,
        through=1,
        bands=(Band("ring", "skin", 0.25, 0.75),),
    )
    parts = (
        Part("liner", neo_hookean(0.3, bulk_modulus=40.0)),
        Part(
            "skin",
            neo_hookean(0.2, permittivity=2.8),
            Sheets(1, 0.1),
            natural_stretch=NaturalStretch(hoop=0.95),
        ),
    )
    supports = (Support("end_low", "all"), Support("end_high", "plate"))
    model = Model(body, parts, supports, (Electrode("ring"),), (Foundation("outer", 0.02),), SECTION)
    stages = [
        Stage("settle", pressure=0.01, steps=2),
        Stage("energise", voltages={"ring": 3.0}, forces={"end_high": 0.02}, steps=2),
    ]
    return model, stages


def sector():
    """Hexahedra between planes of symmetry that are not square to the axes."""
    body = tube_body(1.5, length=0.5, along=0.5, model="sector", sector=60.0, around=18)
    model = Model(body, (Part("wall", neo_hookean()),), CLOSED, sections=(Section("mid", 0.25),))
    on_outer = {"surface_pressures": {"outer": 0.02}, "radial_forces": {"outer": 0.1}}
    return model, [Stage("inflate", pressure=0.25, steps=2, **on_outer)]


def printed_lattice():
    """Tetrahedra of two parts with their own pressure unknowns, one deposited on the other under pressure."""
    tube = Tube(5.0, 8.0, (Layer("skin", 0.3),))
    cell = CELLS["re-entrant"](vertical=2.9, inclined=2.7, angle=15.0, width=0.5)
    lattice = wrap(cell.pattern(), chart_of(tube), height=0.5, around=8)
    size = LatticeMeshSize(along=2.5, on_struts=1.2, sector=22.5)

    def gradient(points, depth):
        shear = [[1.05, 0.0, 0.01], [0.0, 0.95, 0.0], [0.0, 0.0, 1.0]]
        return np.tile(shear, (len(points), 1, 1))

    body = lattice_body(lattice, tube.layers, size, stress_free_gradient=gradient)
    parts = (Part("skin", neo_hookean(0.1)), Part("lattice", neo_hookean(1.0)))
    skin = replace(
        parts[0],
        natural_stretch=NaturalField.of_gradient(body.stress_free_gradient["skin"], NaturalStretch()),
    )
    pressure = 0.1 * (0.95**-2 - 0.95**2) * 0.3 / 5.15  # of a membrane
    model = Model(body, (skin, parts[1]), SLIDING, drawn_pressure=pressure, deposited=body.deposited)
    return model, [Stage("release", pressure=0.0, steps=2)]


def lattice_on(shape, **more):
    """A sector of a wall with a lattice, coarse."""
    cell = CELLS["diamond"](strut=1.2, braid_angle=40.0, width=0.3)
    lattice = wrap(cell.pattern(), chart_of(shape), height=0.1, around=6, smallest=0.5)
    return lattice_body(lattice, shape.layers, LatticeMeshSize(along=0.8, on_struts=0.4, sector=30.0), **more)


def lattice_over_a_pole():
    """A lattice on a wall that closes on the axis."""
    body = lattice_on(Balloon(sphere(1.5, half=True), (Layer("skin", 0.15),)))
    parts = (Part("skin", neo_hookean()), Part("lattice", neo_hookean(2.0)))
    return Model(body, parts, (Support("end_low", "symmetric"),)), [Stage("inflate", pressure=0.02, steps=1)]


def cored_sleeve():
    """A lattice on a sleeve around a hollow core that sticks out."""
    sleeve = Sleeve(1.5, 3.0, (Layer("skin", 0.15),), core_inner_radius=0.8, core_overhang=0.5)
    core = Core(radius=1.5, inner_radius=0.8, low=0.0, high=4.0, along=0.8)
    parts = (Part("core", neo_hookean(0.5)), Part("skin", neo_hookean()), Part("lattice", neo_hookean(2.0)))
    supports = (Support("core_end_low", "axial"), Support("core_end_high", "axial"))
    return Model(lattice_on(sleeve, core=core), parts, supports), [Stage("inflate", pressure=0.02, steps=1)]


def unsupported_sphere():
    """A closed sphere without supports except against rigid motions, as a whole solid."""
    body = build(Balloon(sphere(1.5), (Layer("wall", 0.2),)), MeshSize(along=1.2, model="solid", around=8))
    model = Model(body, (Part("wall", neo_hookean()),), (Support("outer", "rigid motion"),))
    return model, [Stage("inflate", pressure=0.1, steps=1)]


def film_until_a_limit():
    """A ring electrode whose stage ends at a limit, which all ranks find together, and a stage after it."""
    model, (settle, energise) = layered_actuator()
    until = (EndCondition("largest true field", "at least", 20.0),)
    return model, [settle, replace(energise, until=until), Stage("release", voltages={"ring": 0.0}, steps=1)]


CASES = {
    "film until a limit": film_until_a_limit,
    "closed tube": closed_tube,
    "layered actuator": layered_actuator,
    "sector": sector,
    "printed lattice": printed_lattice,
    "lattice over a pole": lattice_over_a_pole,
    "cored sleeve": cored_sleeve,
    "unsupported sphere": unsupported_sphere,
}


QUICK = ("closed tube",)


def results(names):
    """Displacement, fields, quantities and mode counts of every state of cases, on the first rank."""
    found = {}
    for name in names:
        states = []
        model, stages = CASES[name]()
        outcome = Path(model, stages, stepping=FOLLOW).follow(observe=states.append)
        found[f"{name}: outcome"] = np.array(outcome.kind)
        for i, s in enumerate(states):
            found[f"{name}: displacement {i}"] = s.displacement
            found[f"{name}: stress {i}"] = s.fields["Cauchy stress"]
            found[f"{name}: quantities {i}"] = np.array([m.value for m in s.quantities.values()])
            found[f"{name}: loads {i}"] = np.array([m.value for m in s.loads.values()])
            found[f"{name}: modes {i}"] = np.array([s.unstable_modes, s.unstable_modes_controlled])
            if s.mode is not None:
                found[f"{name}: critical mode {i}"] = s.mode
    return found


if __name__ == "__main__":
    gathered = results(sys.argv[2:])
    if MPI.COMM_WORLD.rank == 0:
        np.savez(sys.argv[1], ranks=MPI.COMM_WORLD.size, **gathered)
