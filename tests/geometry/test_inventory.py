# SPDX-License-Identifier: MIT
"""Names and edges that are determined before meshing are those of the mesh."""

import pytest
from measuring import BAND, MODELS, SHAPES

from annelid.geometry.inventory import inventory_of, walls_of
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.layout import lay_out


@pytest.mark.parametrize("model", ["axisymmetric", "solid", "sector"])
@pytest.mark.parametrize("name", SHAPES)
def test_names_and_edges_before_and_after_meshing(name, model):
    shape, size = SHAPES[name], MODELS[model]
    before = lay_out(shape, size, [BAND], ()).inventory(model)
    after = inventory_of(build(shape, size, [BAND]))
    assert before.model == after.model == model
    assert set(before.regions) == set(after.regions)
    assert set(before.surfaces) == set(after.surfaces)
    assert before.bands == after.bands == {"ring": ("wall",)}
    assert before.touching == after.touching
    assert before.has_lumen == shape.has_lumen
    assert before.has_open_ends == after.has_open_ends == shape.has_open_ends


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("name", SHAPES)
def test_walls_before_and_after_meshing(name, model):
    walls = walls_of(build(SHAPES[name], MODELS[model], [BAND]))
    assert tuple(walls) == (() if model == "tetrahedra" else SHAPES[name].walls)


def test_ends_at_which_the_lumen_is_open():
    def open_ends(name):
        return set(lay_out(SHAPES[name], MODELS["solid"], (), ()).inventory("solid").open_ends)

    assert open_ends("tube") == {"end_low", "end_high"}
    assert open_ends("capped tube") == open_ends("sphere") == open_ends("solid sleeve") == set()
    assert open_ends("hollow sleeve") == {"core_end_low", "core_end_high"}
    assert open_ends("shallow cap") == {"end_low"}
