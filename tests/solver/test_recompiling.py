# SPDX-License-Identifier: MIT
"""Parameters are data: no change of material, load, size, number of sheets or flow compiles a form again."""

import errno

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import dolfinx
import numpy as np
import pytest
import ufl
from models import CLAMPED, CLOSED, reached, tube_body, value
from mpi4py import MPI

from annelid.geometry.shapes.band import Band
from annelid.solver.energy import form_libraries, forms
from annelid.solver.fluid.charging import Charging, Feed
from annelid.solver.fluid.circuit import Circuit
from annelid.solver.fluid.conductors import Valve
from annelid.solver.fluid.flow import Flow
from annelid.solver.fluid.fluid import Fluid
from annelid.solver.fluid.lubrication import Lubrication, OpenTo, Reservoir
from annelid.solver.fluid.stores import Compliance
from annelid.solver.model.boundary import Electrode, Foundation, Section
from annelid.solver.model.material import Breakdown, Material
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import ElectrodeFilm, Fibres, Part, Sheets
from annelid.solver.model.stages import Stage
from annelid.solver.model.waveforms import RaisedCosine, Sine, Waveform, travelling

BASE = {
    "mu": 0.3,
    "limit": 60.0,
    "bulk": 100.0,
    "foundation": 0.01,
    "thickness": 0.1,
    "layers": 1,
    "sheets": 2,
    "A": 1.0,
    "hoop": 0.95,
    "film": 0.05,
    "angle": 30.0,
    "pressure": 0.01,
    "voltage": 1.0,
    "along": 0.5,
}
CHANGES = (
    {"mu": 0.5, "limit": 97.2},
    {"bulk": 200.0},
    {"foundation": 0.05, "film": 0.1, "angle": 70.0, "hoop": 0.9},
    {"A": 1.7, "thickness": 0.2},
    {"sheets": 8},
    {"pressure": 0.02, "voltage": 2.0},
    {"along": 0.25},
    {"layers": 3},
)


def follow(**changes):
    p = BASE | changes
    names = [f"layer {i}" for i in range(p["layers"])]
    layers = [(name, p["thickness"] / len(names)) for name in names]
    bands = tuple(Band(f"ring {i}", name, 0.25, 0.75) for i, name in enumerate(names))
    body = tube_body(A=p["A"], layers=layers, along=p["along"], bands=bands)
    material = Material(
        "silicone",
        "gent",
        {"shear_modulus": p["mu"], "stretch_limit": p["limit"]},
        bulk_modulus=p["bulk"],
        permittivity=2.8,
        breakdown=Breakdown(80.0),
    )
    parts = tuple(
        Part(
            name,
            material,
            Sheets(p["sheets"], thickness / p["sheets"]),
            NaturalStretch(hoop=p["hoop"]),
            ElectrodeFilm(p["film"], 1.0),
            Fibres(p["angle"], 0.1),
        )
        for name, thickness in layers
    )
    electrodes = tuple(Electrode(band.name) for band in bands)
    foundations = (Foundation("outer", p["foundation"]),)
    model = Model(body, parts, CLOSED, electrodes, foundations, (Section("mid", 0.5),))
    voltages = {band.name: p["voltage"] / len(bands) for band in bands}
    stages = [
        Stage("settle", pressure=p["pressure"], steps=2),
        Stage("energise", voltages=voltages, forces={"end_high": 0.01 * p["pressure"]}, steps=2),
    ]
    state = reached(model, stages)[-1]
    return value(state, "radial expansion mid")


@pytest.fixture(scope="module")
def base():
    return follow()


@pytest.mark.parametrize("change", CHANGES, ids=lambda c: ", ".join(c))
def test_no_change_compiles_again(base, change):
    before = form_libraries.compiled_libraries()
    changed = follow(**change)
    assert abs(changed - base) > 1e-8  # the change has an effect
    assert form_libraries.compiled_libraries() == before


FLOW = {
    "viscosity": 1e-5,
    "index": 1.0,
    "sections": 4,
    "gap": 0.1,
    "outlet": 1e-3,
    "resistance": 1e-6,
    "leak": 1e-6,
    "compliance": 2e4,
    "feed": 0.1,
    "relaxation": 20.0,
    "form": RaisedCosine(1.0),
    "amplitude": 1.0,
    "period": 0.5,
}
FLOW_CHANGES = (
    {"viscosity": 2e-5},
    {"index": 0.7},
    {"sections": 3, "gap": 0.3},
    {"outlet": 2e-3},
    {"resistance": 3e-6, "leak": 1e-2},
    {"compliance": 5e4},
    {"feed": 10.0, "relaxation": 0.5},
    {"form": Sine(), "amplitude": 0.7},
    {"period": 0.25},
)


def follow_flow(**changes):
    """Volume of the lumen after a wave of two rings moved a fluid into a circuit."""
    p = FLOW | changes
    rings = tuple(Band(name, "wall", low, low + 8.0) for name, low in (("a", 1.0), ("b", 11.0)))
    body = tube_body(1.05, 20.0, A=4.0, along=2.0, bands=rings)
    material = Material("m", "neo-hookean", {"shear_modulus": 0.1}, permittivity=2.8)
    circuit = Circuit(
        (
            Valve("valve", "out", "bag", p["resistance"], leak=p["leak"]),
            Compliance("bag", "bag", p["compliance"]),
        ),
        0,
        ("out",),
    )
    fluid = Fluid(p["viscosity"], p["index"])
    channel = Lubrication(p["sections"], fluid, Reservoir(p["outlet"]), OpenTo("out"), p["gap"], circuit)
    feeds = tuple(Feed(ring.name, None, p["feed"], None, p["relaxation"]) for ring in rings)
    electrodes = tuple(Electrode(ring.name) for ring in rings)
    model = Model(
        body,
        (Part("wall", material, Sheets(5, 0.04)),),
        CLAMPED,
        electrodes,
        flow=Flow(channel, Charging(feeds)),
    )
    form = Waveform(
        form=p["form"], period=p["period"], amplitude=p["amplitude"], offset=0.0, start=0.0, cycles=None
    )
    waves = travelling("voltages", [ring.name for ring in rings], form, delay=p["period"] / 2)
    rest = Stage("rest", pressure=1e-3, voltages={ring.name: 0.0 for ring in rings}, steps=1)
    on = Stage("on", voltages={w.entry: w.waveform.value(0.0) for w in waves}, steps=2)
    state = reached(model, [rest, on, Stage("wave", control="flow", duration=0.2, steps=3, waves=waves)])[-1]
    return value(state, "lumen volume")


@pytest.fixture(scope="module")
def flow_base():
    return follow_flow()


@pytest.mark.parametrize("change", FLOW_CHANGES, ids=lambda c: ", ".join(c))
def test_no_change_of_a_flow_compiles_again(flow_base, change):
    before = form_libraries.compiled_libraries()
    changed = follow_flow(**change)
    assert abs(changed - flow_base) > 1e-6  # the change has an effect
    assert form_libraries.compiled_libraries() == before


@pytest.fixture
def empty_cache(tmp_path, monkeypatch):
    forms.cache_folder.cache_clear()
    monkeypatch.setenv("ANNELID_CACHE", str(tmp_path))
    yield tmp_path
    forms.cache_folder.cache_clear()


def test_new_forms_are_counted(empty_cache):
    """With an empty cache a run compiles forms, so an unchanged count shows that nothing was compiled."""
    before = form_libraries.compiled_libraries()
    reached(
        Model(tube_body(), (Part("wall", Material("m", "neo-hookean", {"shear_modulus": 1.0})),), CLOSED),
        [Stage("rest", steps=1)],
    )
    assert form_libraries.compiled_libraries() > before + 3


@pytest.mark.parametrize("content", [None, b"\x7fELF"], ids=["missing", "damaged"])
def test_a_library_that_is_missing_or_damaged_is_compiled_again(empty_cache, monkeypatch, content):
    """In a second cache, because a process opens no library again that it has."""
    mesh = dolfinx.mesh.create_unit_interval(MPI.COMM_SELF, 1)
    forms.compile_forms(1 * ufl.dx(mesh))
    (library,) = (path for path in empty_cache.rglob("*") if path.is_file())
    copy = empty_cache / "second" / library.relative_to(empty_cache)
    copy.parent.mkdir(parents=True)
    if content:
        copy.write_bytes(content)
    monkeypatch.setenv("ANNELID_CACHE", str(empty_cache / "second"))
    forms.cache_folder.cache_clear()
    assert dolfinx.fem.assemble_scalar(forms.compile_forms(1 * ufl.dx(mesh))) == pytest.approx(1)
    assert copy.stat().st_size == library.stat().st_size


@pytest.mark.parametrize(
    ("command", "message"),
    [
        ("no-such-compiler", "the C compiler no-such-compiler is missing"),
        ("false", r"the C compiler failed \(exit code 1\)"),
    ],
)
def test_a_compiler_that_is_missing_or_fails_is_reported(empty_cache, monkeypatch, command, message):
    monkeypatch.setattr(form_libraries, "_COMPILER", [command])
    mesh = dolfinx.mesh.create_unit_interval(MPI.COMM_SELF, 1)
    with pytest.raises(form_libraries.CompilerFailed, match=message):
        forms.compile_forms([1 * ufl.dx(mesh), 2 * ufl.dx(mesh)])
    assert not [path for path in empty_cache.rglob("*") if path.is_file()]


def test_a_full_disk_is_no_failure_of_the_compiler(empty_cache, monkeypatch, tmp_path):
    compiler = tmp_path / "compiler"
    compiler.write_text("#!/bin/sh\necho 'ld: final link failed: No space left on device' >&2\nexit 1\n")
    compiler.chmod(0o755)
    monkeypatch.setattr(form_libraries, "_COMPILER", [str(compiler)])
    with pytest.raises(OSError, match="No space left on device") as caught:
        forms.compile_forms(1 * ufl.dx(dolfinx.mesh.create_unit_interval(MPI.COMM_SELF, 1)))
    assert caught.value.errno == errno.ENOSPC


def test_compiled_forms_leave_small_numbers_alone(empty_cache):
    """A library linked with -ffast-math would round 1e-310 to zero in the whole process."""
    small = np.array([1e-310])
    forms.compile_forms(
        1 * ufl.dx(dolfinx.mesh.create_unit_interval(MPI.COMM_SELF, 1)), flags=("-O1", "-ffast-math")
    )
    assert (small * 0.5 > 0).all()
