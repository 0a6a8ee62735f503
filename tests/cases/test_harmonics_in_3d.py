# SPDX-License-Identifier: MIT
"""Library cases on coarse meshes: sectors of the same mesh in 3-D lose stability at the loads of harmonics.

A sector of half a wave has the modes of that many waves around and of their multiples. Only its supports,
elements and shape functions are those of the meridian.
"""

from dataclasses import replace

import pytest

from annelid.cases.convert.body import body_of
from annelid.cases.convert.model import model_of
from annelid.cases.convert.path import stages_of, stepping_of
from annelid.cases.schema.stage import SupportTable
from annelid.cases.validate.reading import library_cases, read_case
from annelid.solver.continuation.path import Path
from annelid.solver.model.harmonic_words import waves_of

# Loads of the last stage, beyond the critical ones, and the load that is compared.
CASES = {
    "two_material_sleeve": ({"pressure": 0.014}, "pressure"),  # the voltages rise, too
    "cuff": ({"voltage": {"whole": 2.67}}, "voltage whole"),
}
COARSER, AROUND = 2.0, 4  # elements along and in the core over those of the case, elements in half a wave


def coarse(name, loads):
    case = read_case(library_cases()[name])
    core = case.mesh.across_core
    sizes = {"along": COARSER * case.mesh.along, "across_core": core and COARSER * core}
    *before, last = case.stages
    stages = (*before, last.model_copy(update=loads))
    mesh = case.mesh.model_copy(update=sizes)
    return case.model_copy(update={"mesh": mesh, "stages": stages, "requirements": ()})


def sector_of(case, m):
    """Half a wave of the part, or two where its tip on the axis would be too sharp."""
    half_waves = 2 if case.shape.kind == "sleeve" and not case.shape.core_inner_radius else 1
    angle = half_waves * 180.0 / m
    mesh = {"model": "sector", "sector": angle, "around": 2 * m * AROUND}
    free = () if m > 1 else (SupportTable.model_construct(region="outer", hold="rigid motion"),)
    update = {"mesh": case.mesh.model_copy(update=mesh), "supports": (*case.supports, *free)}
    return case.model_copy(update=update)


def lost(case, load):
    """What is lost first, and the load there."""
    states = []
    stepping = replace(stepping_of(case), seek_limit=1.0, beyond_instability="stop")
    path = Path(model_of(case, body_of(case)), stages_of(case), stepping=stepping)
    assert path.follow(observe=states.append).kind == "lost stability"
    return states[-1].critical, states[-1].loads[load].value


@pytest.mark.long
@pytest.mark.reference
@pytest.mark.parametrize("name", CASES)
def test_a_sector_loses_stability_with_its_harmonic(name):
    loads, compared = CASES[name]
    case = coarse(name, loads)
    kind, critical = lost(case, compared)
    m = waves_of(kind)
    assert m
    sector = sector_of(case, m)
    assert lost(sector, compared) == ("bifurcation", pytest.approx(critical, rel=5e-3))


@pytest.mark.long
@pytest.mark.reference
def test_a_sector_of_the_wrinkling_sleeve():
    """Two half waves, as its tip is on the axis: stable 0.5 % below the harmonic's voltage, not above."""
    case = coarse("wrinkling_sleeve", {})
    kind, critical = lost(case, "voltage whole")
    outcomes = []
    for share in (0.995, 1.005):
        stage = case.stages[-1].model_copy(update={"voltage": {"whole": share * critical}, "steps": 1})
        sector = sector_of(case.model_copy(update={"stages": (*case.stages[:-1], stage)}), waves_of(kind))
        stepping = replace(stepping_of(sector), seek_limit=1.0, beyond_instability="stop")
        model = model_of(sector, body_of(sector))
        outcomes.append(Path(model, stages_of(sector), stepping=stepping).follow().kind)
    assert outcomes == ["reached", "lost stability"]
