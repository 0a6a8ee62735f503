# SPDX-License-Identifier: MIT
"""Parts free of supports: only rigid motions are prevented, without reaction forces."""

from dataclasses import replace

import numpy as np
import pytest
from exact import sphere as exact
from exact import tube
from models import CLAMPED, SLIDING, neo_hookean, tube_body, value

from annelid.geometry.errors import InputError, InvalidValue
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.solver.constraints.stage_checks import check_stages
from annelid.solver.constraints.supports import constraints_of
from annelid.solver.continuation.path import follow
from annelid.solver.model.boundary import Foundation, Section, Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

A, B, MU, LA = 1.0, 1.2, 0.5, 1.15
RIGID_MOTION = (Support("outer", "rigid motion"),)
SPHERES = {
    "axisymmetric": MeshSize(along=0.3),
    "sector": MeshSize(along=0.6, model="sector", sector=60.0, around=12),
    "solid": MeshSize(along=0.8, model="solid", around=8),
}


@pytest.mark.exact
@pytest.mark.parametrize("model", SPHERES)
def test_closed_sphere_without_supports_is_inflated(model):
    body = build(Balloon(sphere(A), (Layer("wall", B - A),)), SPHERES[model])
    P = exact.neo_hookean_pressure(MU, LA, A, B)
    states = []
    part = Part("wall", neo_hookean(MU))
    outcome = follow(
        Model(body, (part,), RIGID_MOTION), [Stage("inflate", pressure=P, steps=2)], observe=states.append
    )
    assert outcome.kind == "reached"
    last = states[-1]
    inner = body.points[body.surface_nodes("lumen")].copy()
    moved = inner + last.displacement[body.surface_nodes("lumen")]
    # It may move as a rigid body: all nodes are equally far from their middle.
    middle = (moved[:, -1].max() + moved[:, -1].min()) / 2
    off = np.linalg.norm(moved - np.append(np.zeros(body.points.shape[1] - 1), middle), axis=1)
    if model == "solid":
        off = np.linalg.norm(moved - moved.mean(axis=0), axis=1)
    assert off == pytest.approx(LA * A, rel=0.02)
    assert value(last, "lumen volume") == pytest.approx(4 / 3 * np.pi * (LA * A) ** 3, rel=0.02)
    assert abs(value(last, "axial reaction outer")) < 1e-7 * P * A**2
    assert last.unstable_modes == 0


@pytest.mark.exact
def test_tube_between_sliding_ends_has_three_rigid_motions():
    # Its ends are fixed along the axis; two translations and a rotation about the axis remain.
    body = tube_body(1.3, length=0.8, along=0.4, model="solid", around=12, through=1)
    supports = (Support("end_low", "axial"), Support("end_high", "axial"), *RIGID_MOTION)
    held = [fixed for fixed in constraints_of(body, supports).fixed if fixed.reaction_free]
    assert [len(fixed.nodes) for fixed in held] == [1, 1, 1]
    assert {fixed.component for fixed in held} == {0, 1}
    P = tube.neo_hookean_pressure(MU, 1.0, 1.3, 1.2, 1.0)
    states = []
    model = Model(body, (Part("wall", neo_hookean(MU)),), supports, sections=(Section("mid", 0.4),))
    assert follow(model, [Stage("inflate", pressure=P)], observe=states.append).kind == "reached"
    assert value(states[-1], "radial expansion mid") == pytest.approx(0.2, rel=0.01)


def test_clamped_tube_has_no_rigid_motions():
    body = tube_body(1.3, model="solid", around=8, through=1)
    held = constraints_of(body, (Support("end_low", "all"), *RIGID_MOTION)).fixed
    assert not any(fixed.reaction_free for fixed in held)


def test_unbalanced_loads_are_refused_with_the_force():
    body = tube_body(1.3)
    model = Model(body, (Part("wall", neo_hookean(MU)),), RIGID_MOTION)
    pull = Stage("pull", forces={"end_high": 0.02}, steps=1)
    with pytest.raises(InputError, match=r"do not balance: 0\.02 N would be needed at one node"):
        follow(model, [pull])


@pytest.mark.parametrize(
    ("model", "supports", "foundations", "free"),
    [
        ("solid", SLIDING, (), "a translation along x, a translation along y, a rotation about the axis"),
        (
            "solid",
            SLIDING,
            (Foundation("outer", 0.0, "all"),),
            "a translation along x, a translation along y, a rotation about the axis",
        ),
        ("solid", SLIDING, (Foundation("outer", 0.1, "normal"),), "a rotation about the axis"),
        (
            "solid",
            (),
            (Foundation("outer", 0.1, "normal"),),
            "a translation along the axis, a rotation about",
        ),
        ("axisymmetric", (), (Foundation("outer", 0.1, "normal"),), "a translation along the axis"),
        ("sector", (), (), "a translation along the axis"),
    ],
)
def test_free_rigid_motions_are_refused_by_name(model, supports, foundations, free):
    """A foundation of zero stiffness holds nothing; one along the normal does not hold what slides."""
    body = tube_body(1.2, model=model, around=16, sector=45.0)
    part = Part("wall", neo_hookean(1.0))
    tube = Model(body, (part,), supports, foundations=foundations)
    with pytest.raises(InvalidValue, match=f"nothing prevents {free}"):
        check_stages(tube, (Stage("rest"),))


@pytest.mark.parametrize(
    ("model", "supports", "foundations"),
    [
        ("solid", CLAMPED, ()),
        ("solid", (*SLIDING, Support("outer", "rigid motion")), ()),
        ("solid", (), (Foundation("outer", 0.1, "all"),)),
        ("sector", SLIDING, ()),
        ("axisymmetric", SLIDING[:1], ()),
    ],
)
def test_supported_models_are_not_refused(model, supports, foundations):
    body = tube_body(1.2, model=model, around=16, sector=45.0)
    tube = Model(body, (Part("wall", neo_hookean(1.0)),), supports, foundations=foundations)
    check_stages(tube, (Stage("rest"),))
    with pytest.raises(InvalidValue, match="nothing prevents"):
        check_stages(replace(tube, supports=(), foundations=()), (Stage("rest"),))


def test_a_round_obstacle_keeps_no_part_from_turning():
    """A whole tube that slides along a rod; its rotation needs a support, as the rod is without friction."""
    body = build(
        Tube(1.0, 1.0, (Layer("wall", 0.1),)), MeshSize(along=0.5, model="solid", around=12, through=1)
    )
    stages = (Stage("press", pressure=0.01),)
    model = Model(
        body, (Part("wall", neo_hookean(MU)),), SLIDING, contacts=(Contact("rod", "lumen", position=0.9),)
    )
    with pytest.raises(InvalidValue, match="nothing prevents a rotation about the axis: add a support"):
        check_stages(model, stages)
    check_stages(replace(model, supports=(*SLIDING, *RIGID_MOTION)), stages)
    side = Contact("wall", "outer", "side", position=2.0, part_is="inside")
    check_stages(replace(model, contacts=(side,)), stages)
