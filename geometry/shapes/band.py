# SPDX-License-Identifier: MIT
"""Electrode bands: rings, bands between two angles, and helices, and the checks of several bands."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import one_of, unique, usable_name, within
from annelid.geometry.errors import Finding, InvalidValue, checking, raise_first

__all__ = ["HANDS", "Band", "Helix", "band_findings", "check_bands", "check_edges"]

HANDS = ("right", "left")
"""A right-handed helix turns from x to y while it rises, as an ordinary screw thread does."""

_SAME = 1e-9  # fraction of a length within which two edges are one


@dataclass(frozen=True)
class Helix:
    """How a band winds up around the axis.

    Attributes:
        pitch: Rise in one turn, mm.
        width: Width of the band along the axis, mm.
        start_angle: Angle of its centre line at the lower edge of the band, degrees.
        hand: ``"right"`` or ``"left"``.

    Raises:
        InvalidValue: A value is not allowed, or the turns touch each other.
    """

    pitch: float
    width: float
    start_angle: float = 0.0
    hand: str = "right"

    def __post_init__(self) -> None:
        within("helix.pitch", self.pitch, above=0.0, unit="mm")
        within("helix.width", self.width, above=0.0, below=self.pitch, unit="mm", why="less than the pitch")
        within("helix.start_angle", self.start_angle, least=-360.0, most=360.0, unit="degrees")
        one_of("helix.hand", self.hand, HANDS)

    @property
    def fraction(self) -> float:
        """Part of the circumference that the band covers at any height."""
        return self.width / self.pitch

    def phase(self, angle: FloatArray, rise: FloatArray) -> FloatArray:
        """Distance along the axis from the nearest centre line, mm, negative below it.

        Args:
            angle: Angles about the axis, degrees.
            rise: Heights above the lower edge of the band, mm.
        """
        turn = (angle - self.start_angle) / 360.0 * (1.0 if self.hand == "right" else -1.0)
        return (rise - self.pitch * turn + self.pitch / 2) % self.pitch - self.pitch / 2


@dataclass(frozen=True)
class Band:
    """An electrode: one layer between two heights, or on a dome between two radii.

    It is a ring unless it has angles or a helix.

    Attributes:
        name: Band name; its faces become the surfaces ``<name>.inner`` and ``<name>.outer``.
        region: The layer it covers, through its whole thickness.
        low: Lower edge, height Z on the inner face of the wall, mm. On a dome, which may hardly rise, the
            edge nearer to the axis: its radius R on the inner face; 0 covers the pole.
        high: Upper edge, on a dome the edge farther from the axis, mm.
        angles: First and last angle about the axis from x to y, degrees; ``None`` goes all around.
        helix: How the band winds up; ``None`` does not wind.

    Raises:
        InvalidValue: The name cannot be used, ``low`` is not below ``high``, the angles do not ascend or
            cover a full turn, or there are both angles and a helix.
    """

    name: str
    region: str
    low: float
    high: float
    angles: tuple[float, float] | None = None
    helix: Helix | None = None

    def __post_init__(self) -> None:
        with checking(f"electrode '{self.name}'"):
            usable_name("name", self.name)
            within("to", self.high, above=self.low, unit="mm", why="from")
            if self.angles is not None:
                self._check_angles(*self.angles)

    def _check_angles(self, first: float, last: float) -> None:
        if self.helix is not None:
            raise InvalidValue("cannot be combined with a helix: leave one of them out", key="angles")
        for angle in (first, last):
            within("angles", angle, least=-360.0, most=360.0, unit="degrees")
        if not 0.0 < last - first < 360.0:
            raise InvalidValue(
                f"must ascend and cover less than a full turn, got {first:g} to {last:g} degrees: an "
                "electrode all around has no angles",
                key="angles",
                value=(first, last),
            )

    @property
    def all_around(self) -> bool:
        """Whether the band is a ring."""
        return self.angles is None and self.helix is None

    @property
    def key(self) -> str:
        """The key that limits the band around the axis, or ``"from"``."""
        return "angles" if self.angles is not None else "helix" if self.helix is not None else "from"

    @property
    def fraction(self) -> float:
        """Part of the area between ``low`` and ``high`` that the band covers."""
        if self.angles is not None:
            return (self.angles[1] - self.angles[0]) / 360.0
        return 1.0 if self.helix is None else self.helix.fraction

    def covers(self, angle: FloatArray, height: FloatArray) -> NDArray[np.bool_]:
        """Whether points between the heights of the band belong to it.

        Args:
            angle: Angles about the axis, degrees, shape (n,).
            height: Heights Z on the inner face, mm, shape (n,).
        """
        if self.angles is not None:
            return np.asarray((angle - self.angles[0]) % 360.0 < self.angles[1] - self.angles[0])
        if self.helix is not None:
            return np.abs(self.helix.phase(angle, height - self.low)) < self.helix.width / 2
        return np.ones(len(angle), dtype=bool)

    def overlaps(self, other: "Band") -> bool:
        """Whether two bands of one layer share an area; a helix and an electrode that it may cross do."""
        apart = _SAME * max(abs(self.high), abs(other.high))
        if self.low >= other.high - apart or other.low >= self.high - apart:
            return False
        if self.angles is not None and other.angles is not None:
            ahead = (other.angles[0] - self.angles[0]) % 360.0
            own, others = (band.angles[1] - band.angles[0] for band in (self, other) if band.angles)
            tiny = 360.0 * _SAME
            return ahead < own - tiny or 360.0 - ahead < others - tiny
        if self.helix is None or other.helix is None:
            return True
        same = math.isclose(self.helix.pitch, other.helix.pitch) and self.helix.hand == other.helix.hand
        start, rise = np.array([other.helix.start_angle]), np.array([other.low - self.low])
        between = float(np.abs(self.helix.phase(start, rise))[0])
        return not same or between < (self.helix.width + other.helix.width) / 2 - apart


def check_edges(start: float, end: float, edges: tuple[float, float]) -> None:
    """Raise InvalidValue unless ``start`` ("from") is below ``end`` ("to"), both within ``edges``, mm."""
    low, high = edges
    for key, edge in (("from", start), ("to", end)):
        if not math.isclose(edge, low if edge < low else high, abs_tol=_SAME * (high - low)):
            within(key, edge, least=low, most=high, unit="mm", why="where the layers are")
    within("to", end, above=start, unit="mm", why="from")


def check_bands(bands: Sequence[Band], layers: Sequence[str], edges: tuple[float, float]) -> None:
    """Raise InvalidValue unless bands are on layers, inside their range, and do not overlap."""
    unique("electrodes", [band.name for band in bands])
    raise_first(band_findings(bands, layers, edges))


def band_findings(
    bands: Sequence[Band], layers: Sequence[str], edges: tuple[float, float]
) -> Iterator[Finding]:
    """Errors of bands that are not on layers, outside their range, or overlap.

    Args:
        bands: The bands.
        layers: Names of the layers.
        edges: Least and largest edge that a band may have, mm.
    """
    for index, band in enumerate(bands):
        try:
            with checking(f"electrode '{band.name}'"):
                one_of("region", band.region, layers, what="a layer of this shape")
                check_edges(band.low, band.high, edges)
        except InvalidValue as error:
            yield Finding(("electrodes", index), error)
    for layer in layers:
        ordered = sorted((i for i, b in enumerate(bands) if b.region == layer), key=lambda i: bands[i].low)
        for position, index in enumerate(ordered):
            second = bands[index]
            below = [bands[i] for i in ordered[:position] if bands[i].overlaps(second)]
            if below:
                yield Finding(("electrodes", index), _overlap(below[-1], second))


def _overlap(first: Band, second: Band) -> InvalidValue:
    covers = f"electrode '{first.name}', which covers {first.low:g} to {first.high:g} mm of the same layer"
    if first.all_around and second.all_around:
        text = f"{second.low:g} mm overlaps {covers}"
    elif first.angles is not None and second.angles is not None:
        own, others = (f"{b.angles[0]:g} to {b.angles[1]:g} degrees" for b in (second, first) if b.angles)
        text = f"{own} overlaps {covers} between {others}"
    else:
        text = f"the electrode overlaps or crosses {covers}: change its heights or its place around the axis"
    return InvalidValue(
        text, key=second.key, subject=f"electrode '{second.name}'", electrodes=(first.name, second.name)
    )
