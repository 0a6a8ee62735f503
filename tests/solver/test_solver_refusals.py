# SPDX-License-Identifier: MIT
"""Every message of the solver about invalid input."""

import pickle
from dataclasses import replace

import pytest
from models import CLOSED, SLIDING, cylinder_body, neo_hookean, tube_body, tube_model

from annelid.geometry.errors import AnnelidError, InputError
from annelid.geometry.shapes.band import Band
from annelid.solver.constraints.stage_checks import check_stages
from annelid.solver.continuation.path import Path, follow
from annelid.solver.energy.problem import Problem
from annelid.solver.errors import NoEquilibrium
from annelid.solver.linalg.factor import Factor
from annelid.solver.model.boundary import Electrode, Foundation, Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.material import Breakdown, Material, Tearing
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import ElectrodeFilm, Fibres, Part, Sheets
from annelid.solver.model.stages import PointMotion, Stage
from annelid.solver.model.stepping import Stepping

RUBBER = neo_hookean()


def rubber(law, **parameters):
    return Material("silicone", law, parameters)


RECORDS = {
    "unknown law": (
        lambda: rubber("neohooke", shear_modulus=1.0),
        r"material 'silicone': law: 'neohooke' is not allowed \(did you mean 'neo-hookean'\?\)",
    ),
    "missing parameter": (
        lambda: rubber("gent", shear_modulus=1.0),
        "law gent takes shear_modulus, stretch_limit; got shear_modulus",
    ),
    "no parameter": (lambda: rubber("gent"), "got nothing"),
    "foreign parameter": (lambda: rubber("neo-hookean", shear_modulus=1.0, c1=2.0), "got c1, shear_modulus"),
    "modulus": (
        lambda: rubber("neo-hookean", shear_modulus=0.0),
        "the shear modulus at rest is 0 MPa; it must be above 0 MPa",
    ),
    "sum of moduli": (
        lambda: rubber("mooney-rivlin", c1=0.1, c2=-0.2),
        "the shear modulus at rest is -0.2 MPa",
    ),
    "bulk modulus": (
        lambda: neo_hookean(bulk_modulus=-2.0),
        "material 'rubber': bulk_modulus: must be above 0 MPa, got -2 MPa",
    ),
    "stretch limit": (
        lambda: rubber("gent", shear_modulus=1.0, stretch_limit=-3.0),
        "stretch_limit: must be above 0, got -3",
    ),
    "chain links": (
        lambda: rubber("arruda-boyce", shear_modulus=1.0, chain_links=1.0),
        "chain_links: must be above 1",
    ),
    "ogden pairs": (
        lambda: rubber("ogden", moduli=(1.0, 0.5), exponents=(2.0,)),
        "has 1 entries, moduli has 2",
    ),
    "ogden zero": (lambda: rubber("ogden", moduli=(1.0, 1.0), exponents=(2.0, 0.0)), "no exponent may be 0"),
    "strength": (lambda: Breakdown(0.0), "breakdown_field: must be above 0 kV/mm, got 0 kV/mm"),
    "strength of a thickness": (
        lambda: Breakdown(50.0, thickness_exponent=-0.25),
        "breakdown_reference_thickness: missing",
    ),
    "tearing stretch": (lambda: Tearing(1.0), "tearing_stretch: must be above 1, got 1"),
    "tensile strength": (
        lambda: Tearing(None, 0.0, "true"),
        "tensile_strength: must be above 0 MPa, got 0 MPa",
    ),
    "kind of strength": (
        lambda: Tearing(None, 8.0),
        "tensile_strength_is: missing: tensile_strength needs it: write 'true' or 'nominal'",
    ),
    "other kind of strength": (
        lambda: Tearing(None, 8.0, "real"),
        "tensile_strength_is: 'real' is not allowed; allowed: true, nominal",
    ),
    "kind without strength": (
        lambda: Tearing(2.0, None, "true"),
        "tensile_strength: missing: tensile_strength_is needs it",
    ),
    "sheets": (lambda: Sheets(0, 0.1), "sheets.count: must be a whole number of at least 1, got 0"),
    "sheet thickness": (lambda: Sheets(1, 0.0), "sheets.thickness: must be above 0 mm, got 0 mm"),
    "natural stretch": (
        lambda: NaturalStretch(hoop=0.01),
        r"natural_stretch.hoop: must be at least 0.05 and at most 20, got 0.01",
    ),
    "swelling": (lambda: NaturalStretch(swelling=30.0), "natural_stretch.swelling: .* got 30"),
    "film fraction": (
        lambda: ElectrodeFilm(1.0, 1.0),
        r"volume_fraction: must be at least 0 and below 1, got 1",
    ),
    "film modulus": (
        lambda: ElectrodeFilm(0.1, -1.0),
        "electrode_film.shear_modulus: must be at least 0 MPa",
    ),
    "fibre angle": (
        lambda: Fibres(120.0, 1.0),
        "fibres.angle: must be at least -90 and at most 90 deg, got 120",
    ),
    "fibre stiffness": (lambda: Fibres(0.0, -1.0), "fibres.stiffness: must be at least 0 MPa"),
    "fibre stiffening": (lambda: Fibres(0.0, 1.0, 0.0), "fibres.stiffening: must be above 0"),
    "fibre families": (lambda: Fibres(0.0, 1.0, families=3), "fibres.families: must be 1 or 2, got 3"),
    "hold": (
        lambda: Support("end_low", "glued"),
        "support 'end_low': hold: 'glued' is not allowed; allowed: all, axial, axial twist, radial, "
        "symmetric, plate, plate all",
    ),
    "foundation stiffness": (
        lambda: Foundation("outer", -1.0),
        "stiffness: must be at least 0 MPa/mm, got -1",
    ),
    "foundation direction": (
        lambda: Foundation("outer", 1.0, "up"),
        "direction: 'up' is not allowed; allowed: normal, all",
    ),
    "contact kind": (lambda: Contact("rod", "lumen", "cube", 1.0), "kind: 'cube' is not allowed"),
    "control": (
        lambda: Stage("s", control="heat"),
        "control: 'heat' is not allowed; allowed: load, flow, volume, charge",
    ),
    "steps": (lambda: Stage("s", steps=0), "stage 's': steps: must be a whole number of at least 1, got 0"),
    "volume without control": (lambda: Stage("s", volume=1.0), "volume needs control = 'volume'"),
    "control without volume": (lambda: Stage("s", control="volume"), "'volume' needs its target"),
    "pressure under volume": (
        lambda: Stage("s", volume=1.0, control="volume", pressure=0.1),
        "under volume control the pressure is found: leave it out",
    ),
    "voltage under charge": (
        lambda: Stage("s", charges={"ring": 1.0}, control="charge", voltages={"ring": 1.0}),
        "under charge control the voltage of 'ring' is found",
    ),
    "arc of nothing": (lambda: Stage("s", arc=1.0, control="arc"), "name at least one"),
    "negative arc": (
        lambda: Stage("s", arc=-1.0, control="arc", pressure=0.1),
        "arc: must be above 0 mm, got -1 mm",
    ),
    "step floor": (lambda: Stepping(smallest=0.0), r"smallest_step: must be above 0 and at most 1, got 0"),
    "beyond instability": (
        lambda: Stepping(beyond_instability="hope"),
        "beyond_instability: 'hope' is not allowed; allowed: stop, follow, jump, branch",
    ),
    "margin": (lambda: Stepping(seek_limit=0.5), "seek_limit: must be at least 1, got 0.5"),
}


@pytest.mark.parametrize("case", RECORDS)
def test_invalid_records_are_refused(case):
    make, message = RECORDS[case]
    with pytest.raises(InputError, match=message):
        make()


@pytest.fixture(scope="module")
def tube():
    return tube_body()


@pytest.fixture(scope="module")
def banded():
    return tube_body(bands=(Band("ring", "wall", 0.0, 0.5),))


SHEETS = Sheets(1, 0.1)


def test_regions_without_a_part_or_with_two(tube):
    with pytest.raises(
        InputError, match="part 'skin': region: 'skin' is not a region of this shape; allowed: wall"
    ):
        Model(tube, (Part("skin", RUBBER),))
    with pytest.raises(InputError, match="missing: the part of region 'wall'"):
        Model(tube, ())
    with pytest.raises(InputError, match="'wall' has two parts"):
        Model(tube, (Part("wall", RUBBER), Part("wall", RUBBER)))


@pytest.mark.parametrize(
    "more",
    [
        {"supports": (Support("top", "all"),)},
        {"foundations": (Foundation("top", 1.0),)},
        {"contacts": (Contact("rod", "top", "cylinder", 0.5),)},
    ],
    ids=["support", "foundation", "contact"],
)
def test_surfaces_that_do_not_exist(tube, more):
    with pytest.raises(
        InputError, match="'top' is not a surface of this shape; allowed: lumen, outer, end_low, end_high"
    ):
        Model(tube, (Part("wall", RUBBER),), **more)


RING = (Electrode("ring"),)


def electric(body, part, electrodes=RING, **more):
    return Model(body, (part,), electrodes=electrodes, **more)


def test_electrodes_that_do_not_fit(tube, banded):
    good = Part("wall", neo_hookean(permittivity=2.8), SHEETS)
    assert electric(banded, good).electrodes
    with pytest.raises(InputError, match=r"electrodes: \['ring'\] do not match the body's bands \[\]"):
        electric(tube, good)
    with pytest.raises(InputError, match=r"electrodes: \[\] do not match the body's bands \['ring'\]"):
        electric(banded, good, ())
    with pytest.raises(InputError, match="part 'wall': sheets: missing: electrode 'ring' is on this part"):
        electric(banded, replace(good, sheets=None))
    with pytest.raises(
        InputError, match=r"material 'rubber': permittivity: missing: electrode 'ring' is in this material"
    ):
        electric(banded, replace(good, material=RUBBER))
    with pytest.raises(InputError, match="electrics: 'guessed' is not allowed; allowed: layered, solved"):
        electric(banded, good, electrics="guessed")
    with pytest.raises(InputError, match=r"sheets\.count: must be 1, got 4"):
        electric(banded, replace(good, sheets=Sheets(4, 0.025)), electrics="solved")


STAGES = {
    "electrode": (
        Stage("s", voltages={"ring": 1.0}),
        "voltage.ring: 'ring' is not an electrode; allowed: there are none",
    ),
    "force": (
        Stage("s", forces={"side": 1.0}),
        "force.side: 'side' is not a surface of this shape; allowed: ",
    ),
    "support": (
        Stage("s", displacements={"end_high": 1.0}),
        "move.end_high: 'end_high' is not a support that holds the axial motion; allowed: end_low",
    ),
    "contact": (
        Stage("s", obstacles={"rod": 1.0}),
        "obstacle.rod: 'rod' is not a contact; allowed: there are none",
    ),
    "charge": (
        Stage("s", charges={"ring": 1.0}, control="charge"),
        "charge.ring: 'ring' is not an electrode; allowed: there are none",
    ),
    "section": (
        Stage("s", opening=("throat", 1.0), control="opening", pressure=0.1),
        "opening.throat: 'throat' is not a section; allowed: mid",
    ),
    "point": (
        Stage("s", point=PointMotion((1.0, 0.0, 0.0), 0, 0.1), control="displacement", pressure=0.1),
        "point.at: must have 2 coordinates in this model, got 3",
    ),
}


@pytest.mark.parametrize("case", STAGES)
def test_stages_that_act_on_nothing(tube, case):
    stage, message = STAGES[case]
    with pytest.raises(InputError, match=message):
        check_stages(tube_model(tube, RUBBER, CLOSED), (stage,))


def test_supports_that_share_an_edge_and_move_apart(tube):
    supports = (Support("end_low", "axial"), Support("end_high", "axial"), Support("outer", "all"))
    model = tube_model(tube, RUBBER, supports)
    words = "supports 'end_high' and 'outer' share an edge but are moved along the axis by 0.2 and 0 mm"
    with pytest.raises(InputError, match=words):
        check_stages(model, (Stage("s", displacements={"end_high": 0.2}),))
    together = {"end_low": 0.2, "end_high": 0.2, "outer": 0.2}
    check_stages(model, (Stage("s", displacements=together), Stage("t", displacements=together)))
    with pytest.raises(InputError, match=r"stage 't'.*'end_low' and 'outer'.*by 0.2 and 0.3 mm"):
        check_stages(model, (Stage("s", displacements=together), Stage("t", displacements={"outer": 0.3})))
    radial = (*supports[:2], Support("outer", "radial"))
    check_stages(tube_model(tube, RUBBER, radial), (Stage("s", displacements={"end_high": 0.2}),))


def test_pressure_without_a_lumen():
    model = Model(cylinder_body(1.0, 1.0), (Part("core", RUBBER),), SLIDING)
    with pytest.raises(InputError, match="this shape has no lumen to fill"):
        check_stages(model, (Stage("s", pressure=0.1),))


@pytest.mark.parametrize("stage", [Stage("s", pressure=0.1), Stage("s", volume=4.0, control="volume")])
def test_pressure_in_an_open_lumen(tube, stage):
    free = (Support("end_low", "axial"), Support("end_high", "radial"))
    with pytest.raises(InputError, match="the lumen is open at 'end_high', free along the axis"):
        check_stages(tube_model(tube, RUBBER, free), (stage,))


def test_no_branch_where_the_loads_are_found(tube):
    stage = Stage("fill", volume=4.0, control="volume")
    with pytest.raises(InputError, match="stage 'fill': control: under volume control the loads are found"):
        Path(tube_model(tube, RUBBER, CLOSED), (stage,), stepping=Stepping(beyond_instability="branch"))


def test_a_case_without_stages(tube):
    with pytest.raises(InputError, match="stages: at least one stage is needed"):
        Path(tube_model(tube, RUBBER), [])


def test_meshes_that_cannot_be_used(tube):
    with pytest.raises(
        InputError, match="cell type 'quad8' is not supported; use one of: quad9, hexahedron27"
    ):
        Problem(tube_model(replace(tube, cell_type="quad8"), RUBBER))
    layered = tube_body(layers=(("liner", 0.1), ("skin", 0.1)))
    parts = (Part("liner", RUBBER), Part("skin", RUBBER))
    with pytest.raises(InputError, match=r"'liner\|skin' is not a surface of this shape"):
        Problem(Model(layered, parts, SLIDING, foundations=(Foundation("liner|skin", 1.0),)))
    solid = tube_body(model="sector", sector=90.0, around=8)
    with pytest.raises(InputError, match="a three-dimensional body needs its hoop directions"):
        Problem(tube_model(replace(solid, hoop=None), RUBBER))


def test_symmetric_needs_a_plane():
    body = tube_body(model="sector", sector=90.0, around=8)
    supports = (Support("outer", "symmetric"),)
    with pytest.raises(InputError, match="hold: 'symmetric' needs a plane surface square to an axis"):
        Path(tube_model(body, RUBBER, supports), [Stage("s")])


def test_plate_on_an_axially_fixed_edge(tube):
    supports = (Support("end_high", "plate"), Support("lumen", "axial"))
    with pytest.raises(
        InputError, match="the plate shares an edge with 'lumen', which is held along the axis"
    ):
        Path(tube_model(tube, RUBBER, supports), [Stage("s")])


def test_no_equilibrium_can_be_sent_between_processes():
    error = pickle.loads(pickle.dumps(NoEquilibrium("the iteration diverged", residual=2.0, iterations=3)))
    assert isinstance(error, AnnelidError)
    assert str(error) == "the iteration diverged"
    assert error.data == {"residual": 2.0, "iterations": 3}


def test_lack_of_memory_is_not_a_lack_of_equilibrium(monkeypatch):
    monkeypatch.setattr(Factor, "_try", lambda *_: -13)
    model = tube_model(tube_body(), neo_hookean(1.0), CLOSED)
    with pytest.raises(MemoryError, match=r"not enough memory to factorise \d+ unknowns \(MUMPS -13\)"):
        follow(model, [Stage("inflate", pressure=0.01, steps=1)])


def test_a_factorisation_is_repeated_with_more_room(monkeypatch):
    """MUMPS reports -9 if pivots that had to be delayed do not fit into the room that was foreseen."""
    attempts, attempt = [], Factor._try

    def first_without_room(factor, pc):
        attempts.append(attempt(factor, pc))
        return -9 if len(attempts) == 1 else attempts[-1]

    monkeypatch.setattr(Factor, "_try", first_without_room)
    model = tube_model(tube_body(), neo_hookean(1.0), CLOSED)
    assert follow(model, [Stage("inflate", pressure=0.01, steps=1)]).kind == "reached"
    assert len(attempts) > 1
