# SPDX-License-Identifier: MIT
"""Field files, read by VTK's own readers and cells."""

from dataclasses import replace

import numpy as np
import pytest
from synthetic_parts import INNER, LENGTH, OUTER, STRENGTH, meridian_tube, solid_tube, tetra_block
from synthetic_runs import states

from annelid.geometry.errors import InputError
from annelid.results.fields.facets import CELL_FACES
from annelid.results.fields.state_fields import FIELD_KINDS, VTK_CELL_TYPES, FieldGrid, in_space
from annelid.results.fields.vtk_files import CellGrid, read_point_arrays, unstructured_grid
from annelid.results.folder.run_record import open_run
from annelid.results.views.rendering import pyvista_off_screen
from annelid.solver.model.quantities import LIMITS

# Averages of equal numbers, so rounding alone.
ROUNDING = 1e-13
# Gauss points integrate the polynomial maps below exactly, up to rounding of finite differences.
VOLUME_TOLERANCE = 1e-7


def stock_reader(path):
    pyvista_off_screen()
    from vtkmodules.vtkIOXML import vtkXMLUnstructuredGridReader

    reader = vtkXMLUnstructuredGridReader()
    reader.SetFileName(str(path))
    reader.Update()
    assert reader.GetErrorCode() == 0
    return reader.GetOutput()


@pytest.mark.parametrize(("fixture", "cell"), [("tube_run", 28), ("solid_run", 29)])
def test_the_stock_reader_gives_the_values_of_the_solver(request, fixture, cell):
    from vtkmodules.util.numpy_support import vtk_to_numpy

    run = open_run(request.getfixturevalue(fixture))
    state = list(states(run.body))[2]
    grid = stock_reader(run.field_file(2))
    assert grid.GetNumberOfCells() == len(run.body.cells)
    assert {grid.GetCellType(i) for i in range(grid.GetNumberOfCells())} == {cell}
    data = grid.GetPointData()
    arrays = {data.GetArrayName(i): vtk_to_numpy(data.GetArray(i)) for i in range(data.GetNumberOfArrays())}
    corners = vtk_to_numpy(grid.GetCells().GetConnectivityArray()).reshape(run.body.cells.shape)
    points = vtk_to_numpy(grid.GetPoints().GetData())

    np.testing.assert_array_equal(points[corners], in_space(run.body.points)[run.body.cells])
    np.testing.assert_array_equal(arrays["reference position [mm]"], points)
    np.testing.assert_array_equal(
        arrays["displacement [mm]"][corners], in_space(state.displacement)[run.body.cells]
    )
    stress = state.fields["Cauchy stress"]
    np.testing.assert_allclose(
        arrays["Cauchy stress [MPa]"][corners].reshape(stress.shape), stress, rtol=0, atol=ROUNDING
    )
    np.testing.assert_allclose(
        arrays["largest principal stress [MPa]"][corners],
        np.linalg.eigvalsh(stress)[..., -1],
        rtol=0,
        atol=1e-12,
    )
    stretches = arrays["principal stretches [1]"][corners]
    np.testing.assert_allclose(stretches, state.fields["principal stretches"], rtol=ROUNDING)
    np.testing.assert_allclose(
        arrays["pressure [MPa]"][corners], state.fields["pressure"], rtol=0, atol=ROUNDING
    )
    # Inside the band and outside it: the jump at its edge must not be smeared.
    np.testing.assert_allclose(
        arrays["true field [kV/mm]"][corners], state.fields["true field"], rtol=ROUNDING
    )
    margin, expected = arrays["breakdown margin [1]"][corners], state.fields["breakdown margin"]
    assert np.isfinite(expected).any()
    assert np.isinf(expected).any()
    np.testing.assert_allclose(margin, np.where(np.isinf(expected), np.nan, expected), rtol=ROUNDING)


def test_parts_and_names_go_with_the_grid(tube_run, tube):
    from vtkmodules.util.numpy_support import vtk_to_numpy

    grid = stock_reader(open_run(tube_run).field_file())
    names = grid.GetFieldData().GetAbstractArray("part names")
    part = vtk_to_numpy(grid.GetCellData().GetArray("part"))
    for i, (name, cells) in enumerate(tube.regions.items()):
        assert names.GetValue(i) == name
        np.testing.assert_array_equal(np.flatnonzero(part == i), cells)
    band = vtk_to_numpy(grid.GetCellData().GetArray("band"))
    np.testing.assert_array_equal(np.flatnonzero(band == 0), tube.bands["ring"])


def test_nodes_are_doubled_where_regions_meet(tube):
    grid = FieldGrid(tube)
    values = np.where(grid.region[:, None] == 1, 5.0, 2.0) * np.ones(tube.cells.shape)
    average = grid.average(values)
    np.testing.assert_array_equal(average[grid.cells], values)
    assert len(grid.nodes) > len(tube.points)


def test_values_of_neighbouring_cells_are_averaged(tube):
    grid = FieldGrid(tube)
    height = tube.points[tube.cells[:, 8], 1]
    values = np.repeat(np.round(height)[:, None], 9, axis=1)
    average = grid.average(values)
    at_seam = np.isclose(tube.points[grid.nodes, 1], 2.0)
    assert at_seam.sum() > 0
    np.testing.assert_allclose(average[at_seam], 2.0, rtol=ROUNDING)


def test_margins_are_shown_without_a_unit():
    assert [FIELD_KINDS[limit.margin.name] for limit in LIMITS] == ["ratio", "ratio"]


@pytest.mark.parametrize("name", ["breakdown margin", "tearing margin"])
def test_margins_average_as_load_over_limit(tube, name):
    """Margins 2 and 6 are loads 1/2 and 1/6: 1/3 between them; 2 and no load: 1/4."""
    state = next(states(tube))
    height = tube.points[tube.cells[:, 8], 1]
    margin = np.select([height < 2.0, height < 4.0], [2.0, 6.0], np.inf)[:, None] * np.ones(9)
    plain = FieldGrid(replace(tube, bands={}))
    arrays = plain.point_arrays(replace(state, fields={name: margin}))
    found = arrays[f"{name} [1]"]
    height = tube.points[plain.nodes, 1]
    np.testing.assert_allclose(found[np.isclose(height, 2.0)], 3.0, rtol=ROUNDING)
    np.testing.assert_allclose(found[np.isclose(height, 4.0)], 12.0, rtol=ROUNDING)
    assert np.isnan(found[height > 4.5]).all()


def test_pyvista_opens_the_collection(solid_run, solid):
    pyvista = pyvista_off_screen()
    reader = pyvista.PVDReader(solid_run / "fields/fields.pvd")
    assert reader.time_values == [0.0, 1.0, 2.0, 3.0]
    reader.set_active_time_value(3.0)
    grid = reader.read()[0]
    last = list(states(solid))[3]
    np.testing.assert_array_equal(
        grid["displacement [mm]"][FieldGrid(solid).cells], last.displacement[solid.cells]
    )
    assert list(grid.field_data["stage"]) == ["inflate"]
    inner = np.hypot(*grid.warp_by_vector("displacement [mm]").points[:, :2].T).min()
    assert inner == pytest.approx(1.2 * INNER, rel=1e-12)
    assert np.nanmin(grid["breakdown margin [1]"]) == pytest.approx(
        STRENGTH / grid["true field [kV/mm]"].max()
    )


def written(body, cells=None):
    pyvista = pyvista_off_screen()
    grid = CellGrid(
        points=in_space(body.points),
        cells={VTK_CELL_TYPES[body.cell_type]: body.cells if cells is None else cells},
    )
    return pyvista, unstructured_grid(grid)


def jacobians(path, dimension):
    """Determinants of the map of every cell at 3 Gauss points a direction, by VTK's own shape functions."""
    from vtkmodules.vtkCommonCore import reference

    grid = stock_reader(path)
    nodes, weights = np.polynomial.legendre.leggauss(3)
    nodes, weights = 0.5 * (nodes + 1.0), 0.5 * weights
    places = np.stack(np.meshgrid(*[nodes] * dimension, indexing="ij"), axis=-1).reshape(-1, dimension)
    weight = np.prod(np.stack(np.meshgrid(*[weights] * dimension, indexing="ij"), axis=-1), axis=-1).ravel()
    if grid.GetCell(0).GetCellType() == VTK_CELL_TYPES["tetra10"]:
        places, weight = np.full((1, 3), 0.25), np.array([1.0 / 6.0])
    step = 1e-4
    determinants = np.empty((grid.GetNumberOfCells(), len(places)))
    for c in range(grid.GetNumberOfCells()):
        cell = grid.GetCell(c)
        shape = [0.0] * cell.GetNumberOfPoints()

        def at(place, cell=cell, shape=shape):
            x = [0.0, 0.0, 0.0]
            cell.EvaluateLocation(reference(0), [*place, 0.0, 0.0][:3], x, shape)
            return np.array(x)

        for p, place in enumerate(places):
            columns = [
                (at(place + step * e) - at(place - step * e)) / (2.0 * step) for e in np.eye(dimension)
            ]
            matrix = np.array(columns).T
            determinants[c, p] = np.linalg.det(matrix if dimension == 3 else matrix[[0, 2]])
    return determinants, weight


@pytest.mark.exact
@pytest.mark.parametrize(
    ("body", "dimension", "volume"),
    [
        (meridian_tube(2, 3), 2, (OUTER - INNER) * LENGTH),
        (tetra_block(), 3, 1.0),
        # Own derivation: area of the ring whose boundary is drawn by parabolas through 3 points of a circle,
        # n pieces of half angle a: chord triangle plus two thirds of chord times rise.
        (
            solid_tube(1, 4, 1),
            3,
            4
            * (np.sin(np.pi / 4) * np.cos(np.pi / 4) + 4 / 3 * np.sin(np.pi / 4) * (1 - np.cos(np.pi / 4)))
            * (OUTER**2 - INNER**2)
            * LENGTH,
        ),
    ],
    ids=lambda value: getattr(value, "cell_type", ""),
)
def test_node_order_is_that_of_vtk(tmp_path, body, dimension, volume):
    file = tmp_path / "cells.vtu"
    file.write_bytes(written(body)[1])
    determinants, weight = jacobians(file, dimension)
    assert determinants.min() > 0
    assert (determinants @ weight).sum() == pytest.approx(volume, rel=VOLUME_TOLERANCE)
    # The check can fail: with the last two nodes exchanged it does.
    wrong = body.cells.copy()
    wrong[:, [-2, -1]] = wrong[:, [-1, -2]]
    file.write_bytes(written(body, wrong)[1])
    determinants, weight = jacobians(file, dimension)
    assert determinants.min() <= 0 or (determinants @ weight).sum() != pytest.approx(
        volume, rel=VOLUME_TOLERANCE
    )


@pytest.mark.exact
@pytest.mark.parametrize(
    "body", [meridian_tube(2, 3), tetra_block(), solid_tube(1, 8, 1)], ids=lambda b: b.cell_type
)
def test_vtk_cuts_the_cells_into_pieces_of_the_right_size(tmp_path, body):
    file = tmp_path / "cells.vtu"
    pyvista, content = written(body)
    file.write_bytes(content)
    pieces = pyvista.read(file).triangulate()
    sizes = pieces.compute_cell_sizes()
    measure = sizes["Area"] if body.cell_type == "quad9" else sizes["Volume"]
    whole = {
        "quad9": (OUTER - INNER) * LENGTH,
        "tetra10": 1.0,
        "hexahedron27": np.pi * (OUTER**2 - INNER**2) * LENGTH,
    }
    # Straight pieces of a circle in 16 chords miss 2.6 % of its area.
    assert measure.min() > 0
    assert measure.sum() == pytest.approx(whole[body.cell_type], rel=0.03)


def test_our_own_reader_gives_what_was_written(tmp_path):
    rng = np.random.default_rng(1)
    long = rng.normal(size=(60_000, 3))
    body = meridian_tube(1, 1)
    arrays = {"long [mm]": long, "whole": np.arange(60_000)}
    grid = CellGrid(long, {VTK_CELL_TYPES["quad9"]: body.cells}, point_data=arrays)
    (tmp_path / "x.vtu").write_bytes(unstructured_grid(grid))
    found = read_point_arrays(tmp_path / "x.vtu")
    for name, values in arrays.items():
        np.testing.assert_array_equal(found[name], values)
    # The same file through VTK: several compressed blocks.
    np.testing.assert_array_equal(pyvista_off_screen().read(tmp_path / "x.vtu")["long [mm]"], long)


@pytest.mark.parametrize("cell_type", VTK_CELL_TYPES)
def test_faces_run_around_the_cell_as_vtk_places_its_nodes(cell_type):
    from vtkmodules.vtkCommonDataModel import vtkGenericCell

    cell = vtkGenericCell()
    cell.SetCellType(VTK_CELL_TYPES[cell_type])
    places = np.array(cell.GetParametricCoords()).reshape(-1, 3)
    centre = places.mean(axis=0)
    corners = {"quad9": 2, "hexahedron27": 4, "tetra10": 3}[cell_type]
    for face in CELL_FACES[cell_type]:
        corner, rest = places[face[:corners]], places[face[corners:]]
        following = np.roll(corner, -1, axis=0)
        sides = 0.5 * (corner + following)[: corners if corners > 2 else 1]
        np.testing.assert_array_equal(rest[: len(sides)], sides)
        if corners == 4:
            np.testing.assert_array_equal(rest[-1], corner.mean(axis=0))
        along = corner[1] - corner[0]
        normal = np.cross(along, corner[2] - corner[0] if corners > 2 else [0.0, 0.0, 1.0])
        assert normal @ (corner.mean(axis=0) - centre) > 0


def test_first_order_cells_are_refused(tube):
    with pytest.raises(InputError, match=r"'quad'.*quad9"):
        FieldGrid(replace(tube, cell_type="quad"))
