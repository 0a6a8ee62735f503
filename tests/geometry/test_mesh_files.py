# SPDX-License-Identifier: MIT
"""Bodies written to files and read again, and meshes of other programs."""

import subprocess
import sys

import meshio
import numpy as np
import pytest
from measuring import BAND, MODELS, SHAPES, cell_volumes, enclosed_volume

from annelid.geometry.errors import InputError
from annelid.geometry.io.files import read_body, write_mesh
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.plane_mesh import gmsh_session

ROUNDING = 1e-12


@pytest.mark.parametrize("suffix", [".msh", ".vtu"])
@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("name", ["capped tube", "solid sleeve", "sphere"])
def test_round_trip_is_exact(tmp_path, name, model, suffix):
    body = build(SHAPES[name], MODELS[model], [BAND])
    write_mesh(body, tmp_path / f"part{suffix}")
    back = read_body(tmp_path / f"part{suffix}")
    assert (back.model, back.cell_type) == (body.model, body.cell_type)
    assert back.multiplicity == pytest.approx(body.multiplicity, rel=ROUNDING)
    for array in ("points", "cells", "facets", "normal"):
        assert np.array_equal(getattr(back, array), getattr(body, array)), array
    for group in ("regions", "bands", "surfaces"):
        ours, theirs = getattr(body, group), getattr(back, group)
        assert set(ours) == set(theirs)
        assert all(np.array_equal(ours[key], theirs[key]) for key in ours), group
    if body.hoop is None:
        assert back.hoop is None
    else:
        assert back.hoop == pytest.approx(body.hoop, abs=ROUNDING)


def test_other_programs_read_msh_files_with_their_names(tmp_path):
    """Source: meshio's own reader of the format and of its node order."""
    body = build(SHAPES["tube"], MODELS["solid"], [BAND])
    write_mesh(body, tmp_path / "part.msh")
    mesh = meshio.read(tmp_path / "part.msh")
    assert {"liner", "wall", "band ring", "lumen", "outer", "liner|wall"} <= set(mesh.field_data)
    cells = np.concatenate([block.data for block in mesh.cells if block.type == "hexahedron27"])
    theirs = np.sort(mesh.points[cells].reshape(len(cells), -1), axis=0)
    ours = np.sort(body.points[body.cells].reshape(len(cells), -1), axis=0)
    assert np.array_equal(theirs, ours)


def draw_annulus(path, *, names=("wall",), order=2, incomplete=0, recombine=True, shift=0.0, turned=False):
    """Mesh the meridian of a tube (R 4 to 5, Z 0 to 6) with the kernel of gmsh, as a user would."""
    with gmsh_session() as gmsh:
        gmsh.model.occ.addRectangle(4.0 + shift, 0.0, 0.0, 1.0, 6.0, tag=1)
        gmsh.model.occ.synchronize()
        gmsh.option.setNumber("Mesh.SecondOrderIncomplete", incomplete)
        for curve in (1, 3):
            gmsh.model.mesh.setTransfiniteCurve(curve, 3)
        for curve in (2, 4):
            gmsh.model.mesh.setTransfiniteCurve(curve, 7)
        gmsh.model.mesh.setTransfiniteSurface(1)
        if recombine:
            gmsh.model.mesh.setRecombine(2, 1)
        if turned:
            gmsh.model.mesh.setReverse(2, 1)
        for name in names:
            gmsh.model.addPhysicalGroup(2, [1], name=name)
        for curve, name in ((1, "end_low"), (2, "outer"), (3, "end_high"), (4, "lumen")):
            gmsh.model.addPhysicalGroup(1, [curve], name=name)
        gmsh.model.mesh.generate(2)
        gmsh.model.mesh.setOrder(order)
        gmsh.write(str(path))


@pytest.mark.exact
@pytest.mark.parametrize("turned", [False, True])
def test_a_meridian_mesh_of_another_program(tmp_path, turned):
    """Source: annulus pi (b^2 - a^2) L and lumen pi a^2 L."""
    draw_annulus(tmp_path / "drawn.msh", turned=turned)
    body = read_body(tmp_path / "drawn.msh")
    assert (body.model, body.cell_type, len(body.cells)) == ("axisymmetric", "quad9", 12)
    assert cell_volumes(body).sum() == pytest.approx(np.pi * (25.0 - 16.0) * 6.0, rel=1e-9)
    assert enclosed_volume(body) == pytest.approx(np.pi * 16.0 * 6.0, rel=1e-9)
    assert set(body.surfaces) == {"lumen", "outer", "end_low", "end_high"}
    assert body.normal == pytest.approx(np.broadcast_to([1.0, 0.0], body.normal.shape), abs=1e-9)


@pytest.mark.exact
def test_a_solid_mesh_of_another_program(tmp_path):
    """Source: annulus pi (b^2 - a^2) L; second-order cells from gmsh's own curved kernel."""
    path = tmp_path / "drawn.msh"
    with gmsh_session() as gmsh:
        gmsh.model.occ.addCylinder(0, 0, 0, 0, 0, 6.0, 5.0, tag=1)
        gmsh.model.occ.addCylinder(0, 0, 0, 0, 0, 6.0, 4.0, tag=2)
        gmsh.model.occ.cut([(3, 1)], [(3, 2)])
        gmsh.model.occ.synchronize()
        (volume,) = gmsh.model.getEntities(3)
        gmsh.model.addPhysicalGroup(3, [volume[1]], name="wall")
        for _, surface in gmsh.model.getEntities(2):
            low, high = np.split(np.array(gmsh.model.getBoundingBox(2, surface)), 2)
            radius = high[0]
            if high[2] - low[2] > 1.0:
                gmsh.model.addPhysicalGroup(2, [surface], name="outer" if radius > 4.5 else "lumen")
            else:
                gmsh.model.addPhysicalGroup(2, [surface], name="end_low" if high[2] < 1.0 else "end_high")
        gmsh.option.setNumber("Mesh.MeshSizeMax", 1.0)
        gmsh.model.mesh.generate(3)
        gmsh.model.mesh.setOrder(2)
        gmsh.write(str(path))
    body = read_body(path)
    assert (body.model, body.cell_type) == ("solid", "tetra10")
    assert cell_volumes(body).sum() == pytest.approx(np.pi * (25.0 - 16.0) * 6.0, rel=1e-3)
    assert enclosed_volume(body) == pytest.approx(np.pi * 16.0 * 6.0, rel=1e-3)
    radial = body.points * [1.0, 1.0, 0.0]
    radial /= np.linalg.norm(radial, axis=1, keepdims=True)
    assert np.einsum("ni,ni->n", radial, body.normal).min() > 0.95


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (
            {"order": 1},
            r"cells of type Quadrilateral 4 cannot be used; all cells must be of type quad9 "
            r"\(in gmsh: Mesh\.ElementOrder = 2",
        ),
        ({"incomplete": 1}, r"cells of type Quadrilateral 8 cannot be used; all cells must be of type quad9"),
        ({"recombine": False}, r"cells of type Triangle 6 cannot be used; all cells must be of type quad9"),
        (
            {"names": ("wall", "ring")},
            r"12 cells are in two regions of wall, ring; write electrode bands as groups",
        ),
        ({"names": ("band a",)}, r"12 cells have no region"),
        ({"names": ("wall", "band a", "band b")}, r"band 'b' overlaps another band"),
        ({"shift": -4.5}, r"the least radius is -0\.5 mm; all radii \(x = R\) must be at least 0 mm"),
    ],
)
def test_unusable_meshes_of_other_programs(tmp_path, options, message):
    draw_annulus(tmp_path / "drawn.msh", **options)
    with pytest.raises(InputError, match=message):
        read_body(tmp_path / "drawn.msh")


def written(tmp_path, change):
    """Write a tube as .vtu with a change to the mesh that meshio has read."""
    path = tmp_path / "part.vtu"
    write_mesh(build(SHAPES["tube"], MODELS["axisymmetric"]), path)
    mesh = meshio.read(path)
    change(mesh)
    mesh.write(path)
    return path


def test_meshes_without_a_wall_normal(tmp_path):
    def change(mesh):
        del mesh.point_data["normal"]
        mesh.cell_data = {
            k: v for k, v in mesh.cell_data.items() if k not in ("surface lumen", "surface outer")
        }

    with pytest.raises(
        InputError, match=r"the wall normal cannot be determined; name a surface 'lumen' or 'outer'"
    ):
        read_body(written(tmp_path, change))


def test_normal_is_recovered_where_the_file_lacks_it(tmp_path):
    body = read_body(written(tmp_path, lambda mesh: mesh.point_data.pop("normal")))
    assert body.normal == pytest.approx(np.broadcast_to([1.0, 0.0], body.normal.shape), abs=1e-9)


def test_inverted_cells(tmp_path):
    def change(mesh):
        mesh.points[mesh.cells[0].data[0, 8]] += [3.0, 0.0, 0.0]

    with pytest.raises(InputError, match=r"a cell of region 'liner' at R = .* is inverted"):
        read_body(written(tmp_path, change))


def test_meshes_out_of_the_plane(tmp_path):
    def change(mesh):
        mesh.points[0, 2] = 1.0

    with pytest.raises(InputError, match=r"must lie in the plane z = 0 with x = R and y = Z"):
        read_body(written(tmp_path, change))


def test_facets_that_bound_no_cell(tmp_path):
    def change(mesh):
        mesh.cells[1].data[0] = mesh.cells[0].data[0, [0, 2, 8]]

    with pytest.raises(InputError, match=r"surface '.*' has facets that bound no cell"):
        read_body(written(tmp_path, change))


def test_facets_with_nodes_of_no_cell(tmp_path):
    def change(mesh):
        mesh.points = np.vstack([mesh.points, [[9.0, 9.0, 0.0]]])
        mesh.point_data["normal"] = np.vstack([mesh.point_data["normal"], [[1.0, 0.0, 0.0]]])
        mesh.cells[1].data[0, 2] = len(mesh.points) - 1

    with pytest.raises(InputError, match=r"a surface has nodes that belong to no cell"):
        read_body(written(tmp_path, change))


def test_groups_without_a_name(tmp_path):
    draw_annulus(tmp_path / "drawn.msh", names=("",))
    with pytest.raises(InputError, match=r"physical group \d+ has no name; name every group"):
        read_body(tmp_path / "drawn.msh")


def test_first_order_vtu(tmp_path):
    mesh = meshio.Mesh(np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]), [("quad", [[0, 1, 2, 3]])])
    mesh.write(tmp_path / "part.vtu")
    with pytest.raises(
        InputError, match=r"of type quad cannot be used; .* of type quad9 or hexahedron27 or tetra10"
    ):
        read_body(tmp_path / "part.vtu")


@pytest.mark.parametrize("suffix", [".msh", ".vtu"])
def test_files_that_cannot_be_read(tmp_path, suffix):
    path = tmp_path / f"part{suffix}"
    with pytest.raises(InputError, match=r"no such file"):
        read_body(path)
    path.write_text("nonsense", encoding="utf-8")
    with pytest.raises(InputError, match=r"cannot (be )?read|contains no cells"):
        read_body(path)


def test_names_and_folders(tmp_path):
    body = build(SHAPES["tube"], MODELS["axisymmetric"])
    with pytest.raises(InputError, match=r"part\.stl: the name must end in \.msh or \.vtu"):
        write_mesh(body, tmp_path / "part.stl")
    with pytest.raises(InputError, match=r"must end in"):
        read_body(tmp_path / "part.stl")
    with pytest.raises(InputError, match=r"the folder .*nowhere does not exist"):
        write_mesh(body, tmp_path / "nowhere" / "part.msh")


def test_shapes_and_checks_need_no_gmsh():
    """The library is large: reading and checking a case must not load it."""
    modules = ("meshing.build", "io.files", "shapes.shape")
    code = (
        f"import sys, {', '.join(f'annelid.geometry.{m}' for m in modules)}; sys.exit('gmsh' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
