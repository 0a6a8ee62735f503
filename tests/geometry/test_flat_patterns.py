# SPDX-License-Identifier: MIT
"""Sizes as cast, flat patterns and moulds, against the geometry of cylinders, cones and spheres."""

import gmsh
import meshio
import numpy as np
import pytest
from shapely import Polygon

from annelid.geometry.errors import InvalidValue
from annelid.geometry.fabrication.cast_face import band_arcs, cast_face
from annelid.geometry.fabrication.development import Development
from annelid.geometry.fabrication.mask import Mask, cutting_lines, electrode_outlines, mark_lines
from annelid.geometry.fabrication.mould import Mould, mould_files
from annelid.geometry.fabrication.settings import FabricationSettings
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tapered_tube import TaperedTube
from annelid.geometry.shapes.tube import Tube

WALL = (Layer("wall", 0.4),)
TUBE = Tube(inner_radius=4.0, length=30.0, layers=WALL)
CONE = TaperedTube(low_radius=6.0, high_radius=4.0, length=30.0, layers=WALL)
BALL = Balloon(sphere(5.0), layers=WALL)


def mask(shape, depth, hoop, axial, bands=(), *, hot=False):
    face = cast_face(shape, depth, hoop, axial)
    arcs = {band.name: tuple(map(face.arc_at, band_arcs(shape, band))) for band in bands}
    return Mask("wall", "film", Development(face), arcs, hot, hoop, axial)


def area(lines):
    return sum(Polygon(line).area for line in lines)


@pytest.mark.exact
def test_a_cylinder_is_a_rectangle_with_exact_electrodes():
    ring = Band("ring", "wall", 5.0, 12.0)
    film = mask(TUBE, 0.1, 0.9, 0.8, [ring])
    assert film.development.kind == "rectangle"
    (cut,) = cutting_lines(film, FabricationSettings())
    np.testing.assert_allclose(np.ptp(cut, axis=0), [2 * np.pi * 4.1 * 0.9, 24.0], rtol=1e-12)
    ((name, outline),) = electrode_outlines(film, FabricationSettings())
    assert name == "ring"
    np.testing.assert_allclose(np.sort(outline[:, 1])[[0, -1]], [4.0, 9.6], rtol=1e-12)
    assert area([outline]) == pytest.approx(2 * np.pi * 4.1 * 7.0 * 0.9 * 0.8, rel=1e-12)


@pytest.mark.exact
def test_a_cone_is_a_sector_of_a_ring():
    """A cone of slope sin a unrolls to an angle of 2π sin a; distances along its lines are kept."""
    film = mask(CONE, 0.0, 0.9, 0.9)
    development, slant = film.development, 0.9 * np.hypot(30.0, 2.0)
    assert development.kind == "sector"
    assert development.face.area() == pytest.approx(np.pi * 0.9 * (6.0 + 4.0) * slant, rel=1e-12)
    assert area([development.outline(0.0, slant)]) == pytest.approx(development.face.area(), rel=1e-6)
    left, right = (development.edge(0.0, slant, side) for side in (0, 1))
    assert np.linalg.norm(left[1] - left[0]) == pytest.approx(slant, rel=1e-12)
    cosine = (left[1] - left[0]) @ (right[1] - right[0]) / slant**2
    assert np.arccos(cosine) == pytest.approx(2 * np.pi * 2.0 / np.hypot(30.0, 2.0), rel=1e-9)
    ring = development.row(0.0)
    length = np.linalg.norm(np.diff(ring, axis=0), axis=1).sum()
    assert length == pytest.approx(2 * np.pi * 0.9 * 6.0, rel=1e-5)


@pytest.mark.exact
def test_a_cone_with_unequal_stretches_is_another_cone():
    face = cast_face(CONE, 0.0, 0.8, 0.95)
    slant = 0.95 * np.hypot(30.0, 2.0)
    np.testing.assert_allclose(face.points[[0, -1], 0], [4.8, 3.2], rtol=1e-12)
    assert face.points[-1, 1] == pytest.approx(np.sqrt(slant**2 - 1.6**2), rel=1e-12)
    assert face.arc[-1] == pytest.approx(slant, rel=1e-12)


@pytest.mark.exact
def test_gores_of_a_sphere_have_its_area():
    film = mask(BALL, 0.0, 1.0, 1.0)
    development = film.development
    assert development.kind == "gores"
    assert development.panels > 6
    pieces = [development.outline(0.0, 5 * np.pi, n) for n in range(development.panels)]
    assert area(pieces) == pytest.approx(4 * np.pi * 5.0**2, rel=1e-4)
    assert development.face.area() == pytest.approx(4 * np.pi * 5.0**2, rel=1e-6)
    # The seam of one of n gores of a sphere: ∫ sqrt(1 + (π cos t / n)²) dt over the meridian.
    t = np.linspace(0.0, np.pi, 20001)
    seam = np.trapezoid(np.sqrt(1 + (np.pi * np.cos(t) / development.panels) ** 2), t) / np.pi
    assert development.mismatch == pytest.approx(seam - 1, rel=1e-4)
    assert development.mismatch < 0.01
    outlines = [Polygon(piece) for piece in pieces]
    assert all(a.disjoint(b) for i, a in enumerate(outlines) for b in outlines[:i])


def test_walls_that_no_surface_of_revolution_becomes_are_refused():
    with pytest.raises(InvalidValue, match=r"pre-stretch of 1\.111 around and 1\.25 along"):
        cast_face(BALL, 0.0, 0.9, 0.8)


@pytest.mark.parametrize(("thickness", "expected"), [(0.05, (3, 0.01)), (0.06, (3, 0.02)), (0.01, (1, 0.01))])
def test_passes_are_rounded_up_with_their_remainder(thickness, expected):
    count, last = FabricationSettings(pass_thickness=0.02).passes(thickness)
    assert (count, pytest.approx(last)) == expected
    assert FabricationSettings().passes(thickness) is None


def test_marks_become_squares_when_the_sheet_is_stretched():
    film = mask(TUBE, 0.2, 0.8, 0.5)
    lines = mark_lines(film, FabricationSettings(marks=4.0))
    around = sorted(line[0, 1] for line in lines if np.ptp(line[:, 1]) == 0)
    along = sorted(line[0, 0] for line in lines if np.ptp(line[:, 0]) == 0)
    np.testing.assert_allclose(np.diff(around) / 0.5, 4.0)
    np.testing.assert_allclose(np.diff(along) / 0.8, 4.0)
    assert len(around) == 7  # 30 mm mounted, without the ends
    assert mark_lines(mask(TUBE, 0.2, 1.0, 1.0), FabricationSettings()) == []


@pytest.mark.parametrize("shape", [TUBE, CONE, BALL], ids=["tube", "cone", "ball"])
def test_tabs_have_their_size(shape):
    film = mask(shape, 0.0, 1.0, 1.0, [Band("ring", "wall", 3.0, 8.0)])
    before, after = (
        area(line for _, line in electrode_outlines(film, settings))
        for settings in (FabricationSettings(), FabricationSettings(tab_width=1.5, tab_length=6.0))
    )
    assert after - before == pytest.approx(1.5 * 6.0, rel=0.02)  # on a curved edge a little is cut off


def test_tabs_of_opposite_polarity_are_on_opposite_edges_and_beside_each_other():
    settings = FabricationSettings(tab_width=1.5, tab_length=6.0)
    width = 2 * np.pi * 4.0
    tabs = []
    for hot, edge in ((True, [-6.0, width]), (False, [0.0, width + 6.0])):
        film = mask(TUBE, 0.0, 1.0, 1.0, [Band("ring", "wall", 3.0, 8.0)], hot=hot)
        ((_, line),) = electrode_outlines(film, settings)
        np.testing.assert_allclose([line[:, 0].min(), line[:, 0].max()], edge, atol=1e-9)
        tip = line[(line[:, 0] < -1e-6) | (line[:, 0] > width + 1e-6), 1]
        tabs.append((tip.min(), tip.max()))
    (high_from, high_to), (low_from, low_to) = tabs
    assert (high_to - high_from, low_to - low_from) == pytest.approx((1.5, 1.5))
    assert low_to < high_from


def test_blanks_have_overlap_and_allowance():
    film = mask(TUBE, 0.2, 1.0, 1.0)
    (cut,) = cutting_lines(film, FabricationSettings(seam_overlap=2.0, allowance=5.0))
    np.testing.assert_allclose(np.ptp(cut, axis=0), [2 * np.pi * 4.2 + 12.0, 40.0], rtol=1e-9)


def volume_of_step(content, folder):
    path = folder / "mould.step"
    path.write_bytes(content)
    gmsh.initialize()
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        gmsh.model.occ.importShapes(str(path))
        gmsh.model.occ.synchronize()
        return [gmsh.model.occ.getMass(*solid) for solid in gmsh.model.getEntities(3)]
    finally:
        gmsh.finalize()


def volume_of_stl(content, folder):
    path = folder / "mould.stl"
    path.write_bytes(content)
    mesh = meshio.read(path)
    a, b, c = np.moveaxis(mesh.points[mesh.cells_dict["triangle"]], 1, 0)
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("shape", "expected"),
    [
        (TUBE, np.pi * 4.0**2 * 30.0),
        (CONE, np.pi / 3 * 30.0 * (6.0**2 + 6.0 * 4.0 + 4.0**2)),
        (BALL, 4 / 3 * np.pi * 5.0**3),
    ],
    ids=["cylinder", "frustum", "sphere"],
)
def test_moulds_are_solids_of_revolution_of_exact_volume(shape, expected, tmp_path):
    face = cast_face(shape, 0.0, 1.0, 1.0)
    enlarged = FabricationSettings(shrinkage=0.02).in_mould(1.0)
    mould = Mould(("wall",), enlarged * face.points, face.joints)
    expected = expected / 0.98**3
    files = mould_files(mould)
    (volume,) = volume_of_step(files[".step"], tmp_path)
    assert volume == pytest.approx(expected, rel=1e-6 if mould.is_conical else 1e-4)
    assert volume_of_stl(files[".stl"], tmp_path) == pytest.approx(expected, rel=5e-3)
