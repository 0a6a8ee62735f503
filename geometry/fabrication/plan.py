# SPDX-License-Identifier: MIT
"""The parts that a maker casts and cuts: sheets, masks and moulds."""

from dataclasses import dataclass

from annelid.geometry.fabrication.mask import Mask
from annelid.geometry.fabrication.mould import Mould
from annelid.geometry.fabrication.settings import FabricationSettings

__all__ = ["CastSheet", "FabricationPlan"]


@dataclass(frozen=True)
class CastSheet:
    """One sheet of a layer, lengths in mm; sizes are ``None`` if they cannot be given.

    Attributes:
        layer: The layer of the wall.
        material: Its material.
        number: Number in the layer, from 1 at its inside.
        count: Number of sheets of the layer.
        mounted_thickness: Thickness in the mounted part.
        thickness: Thickness as cast.
        hoop: Natural stretch around (size as cast over mounted size).
        axial: Natural stretch along the meridian.
        diameter: Largest inner diameter as cast.
        around: Largest circumference of the middle of the sheet as cast.
        along: Length along the meridian as cast.
        volume: Volume, mm³.
        is_cover: Whether it is cast over the printed lattice.
    """

    layer: str
    material: str
    number: int
    count: int
    mounted_thickness: float
    thickness: float
    hoop: float
    axial: float
    diameter: float | None = None
    around: float | None = None
    along: float | None = None
    volume: float | None = None
    is_cover: bool = False


@dataclass(frozen=True)
class FabricationPlan:
    """Everything that is cast and cut.

    Attributes:
        settings: Settings of the workshop.
        sheets: From the inside to the outside.
        masks: Films of electrodes, and sheets without electrodes, from the inside to the outside.
        moulds: One for each group of layers with the same pre-stretch.
        missing: What the case does not give, in sentences.
        remarks: What to watch, in sentences.
    """

    settings: FabricationSettings
    sheets: tuple[CastSheet, ...]
    masks: tuple[Mask, ...]
    moulds: tuple[Mould, ...]
    missing: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
