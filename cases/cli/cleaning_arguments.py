# SPDX-License-Identifier: MIT
"""Arguments about the cleaning of a scan, and the cleaning that they and the settings ask for."""

import argparse
import contextlib
import math
from typing import TYPE_CHECKING

from annelid.cases.cli.argument_types import quantity
from annelid.geometry.errors import InputError, InvalidValue

if TYPE_CHECKING:
    from annelid.cases.schema.comparison import CleaningTable
    from annelid.compare.scans.cleaning_settings import Cleaning

__all__ = ["add_cleaning", "cleaning_from"]


def add_cleaning(command: argparse.ArgumentParser) -> None:
    """Add the options about the cleaning of a scan."""
    group = command.add_argument_group("cleaning", "These take precedence over the settings.")
    text = "keep every point of the scan"
    group.add_argument("--no-cleaning", action="store_true", help=text)
    text = 'keep one point in each cube of this edge, for example "0.3 mm"'
    group.add_argument(
        "--voxel", type=quantity("mm", "a length", "0.3 mm", above=0.0), metavar="LENGTH", help=text
    )
    text = (
        "robust standard deviations by which outliers are too far from neighbours; 0 keeps all (default: 3)"
    )
    group.add_argument("--outlier-strength", type=_number, metavar="S", help=text)
    text = "remove points with a smaller intensity"
    group.add_argument("--least-intensity", type=_number, metavar="I", help=text)
    text = "remove points seen at a larger angle to the normal; needs --view-direction or --scanner-position"
    group.add_argument("--grazing-angle", type=_number, metavar="DEG", help=text)
    text = 'direction from the scanner to the part in the frame of the scan, for example "0,0,-1"'
    group.add_argument("--view-direction", type=_vector, metavar="X,Y,Z", help=text)
    text = "position of the scanner in the frame of the scan, in UNIT"
    group.add_argument("--scanner-position", type=_vector, metavar="X,Y,Z", help=text)


def cleaning_from(options: argparse.Namespace, table: "CleaningTable") -> "Cleaning":
    """How scans are cleaned: options over settings.

    Raises:
        InputError: Options contradict each other, or a value is out of range.
    """
    from annelid.cases.convert.comparison import cleaning_of
    from annelid.compare.scans.cleaning_settings import Cleaning
    from annelid.compare.scans.units import unit_scale

    names = ("voxel", "outlier_strength", "least_intensity", "grazing_angle", "view_direction")
    given = {name: getattr(options, name) for name in names if getattr(options, name) is not None}
    if options.scanner_position is not None:
        scale = unit_scale(options.unit)
        given["scanner_position"] = tuple(scale * x for x in options.scanner_position)
    if options.no_cleaning:
        if given:
            named = ", ".join("--" + name.replace("_", "-") for name in given)
            text = f"removes nothing, but {named} is given, too; leave out one"
            raise InputError(f"--no-cleaning: {text}", key="--no-cleaning")
        return Cleaning.none()
    try:
        return cleaning_of(table.model_copy(update=given))
    except InvalidValue as error:
        option = "--" + error.key.replace("_", "-") if error.key in given else f"cleaning: {error.key}"
        raise InputError(f"{option}: {error.problem}", key=option) from None


def _number(text: str) -> float:
    with contextlib.suppress(ValueError):
        if math.isfinite(float(text)):
            return float(text)
    raise argparse.ArgumentTypeError(f'"{text}" is not a number')


def _vector(text: str) -> tuple[float, ...]:
    parts = text.split(",")
    if len(parts) != 3:
        raise argparse.ArgumentTypeError(f'"{text}" is not three numbers such as "0,0,-1"')
    return tuple(_number(part) for part in parts)
