# SPDX-License-Identifier: MIT
"""An invented scan of a surface and the truth about it."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.transform import Rotation

from annelid.compare.invented.faults import depth_of_return, ghost, outliers, patches
from annelid.compare.invented.scanned_surface import ScannedSurface
from annelid.compare.invented.scanner import InventedScanner
from annelid.compare.invented.seen_points import PointsSeen, seen_points
from annelid.compare.scans.point_cloud import PointCloud
from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InvalidValue

SURFACE, GHOST, OUTLIER = 0, 1, 2
"""Origins of points."""
_BRIGHTEST = 255.0
_SATURATED_COSINE = 0.9986  # within 3° of the normal the reflection saturates the sensor
_SATURATED_NOISE = 4.0  # times the noise of other points
_NORMAL_NOISE = 0.05


@dataclass(frozen=True)
class Truth:
    """What is true of an invented scan, with n points.

    Attributes:
        rotation: Rotation from the frame of the part to that of the scan, shape (3, 3).
        translation: Translation after the rotation, shape (3,), mm: x_scan = rotation x_part + translation.
        origin: ``SURFACE``, ``GHOST`` or ``OUTLIER``, shape (n,).
        positions: The place on the surface from which the light came, in the frame of the part, shape (n, 3),
            mm; nan for outliers.
        depth: How far below the surface it was returned, along the line of sight, shape (n,), mm.
        view: Number of the view, shape (n,).
        scanner: The parameters.
    """

    rotation: FloatArray
    translation: FloatArray
    origin: IntArray
    positions: FloatArray
    depth: FloatArray
    view: IntArray
    scanner: InventedScanner


def random_pose(size: float, random: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Return a rotation, evenly distributed over all, and a translation by up to twice the size, mm."""
    rotation = Rotation.random(rng=random).as_matrix()
    return np.asarray(rotation), random.uniform(-2.0, 2.0, size=3) * size


def invent_scan(
    surface: ScannedSurface, scanner: InventedScanner, *, pose: tuple[FloatArray, FloatArray] | None = None
) -> tuple[PointCloud, Truth]:
    """Invent the scan of a surface.

    Args:
        surface: The surface.
        scanner: How it is scanned.
        pose: Rotation, shape (3, 3), and translation, shape (3,), mm, of the scan; by default random.

    Returns:
        The scan, with normals and intensities from 0 to 255, its points in random order; and the truth.

    Raises:
        InvalidValue: Nothing of the surface is seen.
    """
    random = np.random.default_rng(scanner.seed)
    size = float(np.linalg.norm(np.ptp(surface.points, axis=0)))
    rotation, translation = random_pose(size, random) if pose is None else pose
    seen, view = _all_views(surface, scanner, random)
    sight = _directions(scanner)[view]
    depth = depth_of_return(seen.thickness, scanner.translucency)
    count = len(view)
    ghosts = patches(seen.positions, scanner.ghost_share, scanner.ghost_patches, random)
    shown = [seen.positions + depth[:, None] * sight]
    for number, patch in enumerate(ghosts):
        shown.append(ghost(shown[0][patch], sight[patch], size, mirrored=number % 2 == 1, random=random))
    source = np.concatenate([np.arange(count), *ghosts])
    shown_points = np.concatenate(shown)
    noise = scanner.noise * np.where(seen.cosine > _SATURATED_COSINE, _SATURATED_NOISE, 1.0)[source, None]
    shown_points += noise * random.normal(size=(len(source), 1)) * sight[source]
    stray = outliers(shown_points, round(scanner.outlier_share * count), random)
    cloud = _cloud(seen, source, shown_points, stray, random)
    truth = Truth(
        rotation,
        translation,
        np.repeat([SURFACE, GHOST, OUTLIER], [count, len(source) - count, len(stray)]),
        np.concatenate([seen.positions[source], np.full((len(stray), 3), np.nan)]),
        np.concatenate([depth[source], np.zeros(len(stray))]),
        np.concatenate([view[source], random.integers(len(scanner.view_directions), size=len(stray))]),
        scanner,
    )
    return _posed(cloud, truth, random.permutation(len(cloud.points)))


def _directions(scanner: InventedScanner) -> FloatArray:
    views = np.asarray(scanner.view_directions, dtype=np.float64)
    return np.asarray(views / np.linalg.norm(views, axis=1, keepdims=True))


def _all_views(
    surface: ScannedSurface, scanner: InventedScanner, random: np.random.Generator
) -> tuple[PointsSeen, IntArray]:
    """The points of all views outside the holes, and their views."""
    each = [
        seen_points(
            surface,
            direction,
            spacing=scanner.spacing,
            grazing_angle_deg=scanner.grazing_angle_deg,
            random=random,
        )
        for direction in _directions(scanner)
    ]
    view = np.repeat(np.arange(len(each)), [len(points.cosine) for points in each])
    if not len(view):
        raise InvalidValue("sees no point of the surface; reduce spacing", subject="invented scanner")
    seen = PointsSeen(*(np.concatenate(values) for values in zip(*each, strict=True)))
    left = np.ones(len(view), dtype=bool)
    for hole in patches(seen.positions, scanner.dropout_share, scanner.dropout_patches, random):
        left[hole] = False
    return seen.subset(np.flatnonzero(left)), view[left]


def _cloud(
    seen: PointsSeen,
    source: IntArray,
    shown: FloatArray,
    stray: FloatArray,
    random: np.random.Generator,
) -> PointCloud:
    """All points in the frame of the part, with normals that are a little wrong and with intensities."""
    normals = seen.normals[source] + _NORMAL_NOISE * random.normal(size=(len(source), 3))
    normals = np.concatenate([normals, random.normal(size=(len(stray), 3))])
    cosine = np.append(seen.cosine[source], random.random(len(stray)))
    saturated = cosine > _SATURATED_COSINE
    saturated[len(seen.cosine) :] = False  # what arrives after a second reflection is weak
    light = np.where(saturated, _BRIGHTEST, 0.8 * _BRIGHTEST * cosine * random.uniform(0.9, 1.1, len(cosine)))
    return PointCloud(
        np.concatenate([shown, stray]),
        normals / np.linalg.norm(normals, axis=1, keepdims=True),
        np.round(light),
        None,
    )


def _posed(cloud: PointCloud, truth: Truth, order: IntArray) -> tuple[PointCloud, Truth]:
    """The scan in its pose and in the given order of points."""
    assert cloud.normals is not None
    assert cloud.intensities is not None
    turned = truth.rotation.T
    moved = PointCloud(
        (cloud.points @ turned + truth.translation)[order],
        (cloud.normals @ turned)[order],
        cloud.intensities[order],
        None,
    )
    ordered = replace(
        truth,
        origin=truth.origin[order],
        positions=truth.positions[order],
        depth=truth.depth[order],
        view=truth.view[order],
    )
    return moved, ordered
