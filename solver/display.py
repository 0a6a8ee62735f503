# SPDX-License-Identifier: MIT
"""Kinds of numbers, their internal units, and the units in which people read them.

Inside, one consistent set is used: mm, N, MPa, mJ, kV, uC, nF, s, mm³. A reader gets the units that the case
file uses for the same kind of number; kinds that it does not mention have a default.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray

_SPACE = "\N{NO-BREAK SPACE}"
_MINUS = "\N{MINUS SIGN}"
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
ROUNDING = 1e-9  # smaller values, in any internal unit, are rounding of the solution


class DisplayUnit(NamedTuple):
    """A unit for readers: values times ``factor`` are shown in ``name`` (empty: dimensionless)."""

    name: str
    factor: float

    def label(self, title: str) -> str:
        """A title with the unit: ``"pressure [kPa]"``."""
        return f"{title} [{self.name}]" if self.name else title

    def behind(self, number: str) -> str:
        """A number with the unit behind it: ``"12 kPa"``, ``"45°"``."""
        return f"{number}{'' if self.name in ('', '°') else _SPACE}{self.name}"


class Kind(NamedTuple):
    """A kind of number.

    Attributes:
        unit: Internal unit, as in the column names of tables; ``"1"`` for ratios.
        defaults: Units that a reader gets by default, each up to a magnitude in the internal unit.
    """

    unit: str
    defaults: tuple[tuple[float, DisplayUnit], ...]

    def default(self, size: float) -> DisplayUnit:
        """The default unit for a magnitude; that of large values for zero."""
        if size > 0:
            for largest, unit in self.defaults:
                if size < largest:
                    return unit
        return self.defaults[-1][1]


def _kind(unit: str, name: str | None = None, *smaller: tuple[float, str, float]) -> Kind:
    below = [(largest, DisplayUnit(small, factor)) for largest, small, factor in smaller]
    return Kind(unit, (*below, (math.inf, DisplayUnit(unit if name is None else name, 1.0))))


KINDS: dict[str, Kind] = {
    "ratio": _kind("1", ""),
    "fraction": Kind("1", ((math.inf, DisplayUnit("%", 100.0)),)),
    "count": _kind("1", ""),
    "length": _kind("mm", None, (0.5, "µm", 1e3)),
    "thickness": _kind("mm", None, (0.5, "µm", 1e3)),
    "area": Kind("mm2", ((math.inf, DisplayUnit("mm²", 1.0)),)),
    "volume": Kind("mm3", ((100.0, DisplayUnit("mm³", 1.0)), (math.inf, DisplayUnit("mL", 1e-3)))),
    "stress": _kind("MPa", None, (0.1, "kPa", 1e3)),
    "pressure": _kind("MPa", None, (0.2, "kPa", 1e3)),
    "foundation stiffness": _kind("MPa/mm", None, (0.1, "kPa/mm", 1e3)),
    "force": _kind("N", None, (0.1, "mN", 1e3)),
    "torque": _kind("N mm", None, (0.1, "mN mm", 1e3)),
    "voltage": _kind("kV", None, (0.1, "V", 1e3)),
    "electric field": _kind("kV/mm", "V/µm"),
    "charge": _kind("uC", "µC", (0.1, "nC", 1e3)),
    "capacitance": _kind("nF", None, (0.1, "pF", 1e3)),
    "energy": _kind("mJ", None, (0.1, "µJ", 1e3)),
    "angle": _kind("deg", "°"),
    "speed": _kind("mm/s"),
    "flow": Kind("mm3/s", ((100.0, DisplayUnit("mm³/s", 1.0)), (math.inf, DisplayUnit("mL/s", 1e-3)))),
    "current": _kind("uA", "µA", (0.1, "nA", 1e3)),
    "time": _kind("s", None, (0.1, "ms", 1e3)),
    "density": Kind("t/mm3", ((math.inf, DisplayUnit("g/cm³", 1e9)),)),
    "acceleration": Kind("mm/s2", ((math.inf, DisplayUnit("m/s²", 1e-3)),)),
    "viscosity": Kind("MPa s", ((math.inf, DisplayUnit("mPa s", 1e9)),)),
    "shear rate": _kind("1/s"),
    "flow resistance": Kind("MPa s/mm3", ((math.inf, DisplayUnit("kPa s/mL", 1e6)),)),
    "inertance": Kind("MPa s2/mm3", ((math.inf, DisplayUnit("kPa s²/mL", 1e6)),)),
    "compliance": Kind("mm3/MPa", ((math.inf, DisplayUnit("mL/kPa", 1e-6)),)),
    "elastance": Kind("MPa/mm3", ((math.inf, DisplayUnit("kPa/mL", 1e6)),)),
    "electrical resistance": Kind("Gohm", ((math.inf, DisplayUnit("MΩ", 1e3)),)),
}
"""By name; the lengths, pressures and so on of case files are of the same kinds."""


@dataclass(frozen=True)
class DisplayUnits:
    """Units in which numbers are shown.

    Attributes:
        chosen: By kind, the unit in which its numbers are shown; of several the one that gives the number of
            the handiest size.
    """

    chosen: Mapping[str, tuple[DisplayUnit, ...]] = field(default_factory=dict)

    def unit(self, kind: str, magnitude: float) -> DisplayUnit:
        """The unit for values of a kind.

        Args:
            kind: Key of ``KINDS``.
            magnitude: Largest value that is to be shown, in the internal unit.
        """
        size = abs(magnitude) if math.isfinite(magnitude) else 1.0
        candidates = self.chosen.get(kind, ())
        if not candidates:
            return KINDS[kind].default(size)
        return min(candidates, key=lambda unit: _awkwardness(size * unit.factor))

    def completed(self, numbers: Iterable[tuple[str, FloatArray]]) -> "DisplayUnits":
        """Return units in which the kinds that have none get the one for their largest number.

        Args:
            numbers: Kinds and numbers in internal units; those that are not finite do not count.
        """
        sizes: dict[str, float] = {}
        for kind, values in numbers:
            largest = float(np.max(np.abs(values[np.isfinite(values)]), initial=0.0))
            sizes[kind] = max(sizes.get(kind, 0.0), largest)
        return DisplayUnits(
            {kind: (KINDS[kind].default(size),) for kind, size in sizes.items()} | dict(self.chosen)
        )

    def kind_of(self, unit: str, key: str) -> str:
        """The kind of a number whose internal unit and key are known.

        Of several kinds with this unit it is the one that the key names, else the first that is chosen.
        """
        kinds = [name for name, kind in KINDS.items() if kind.unit == unit]
        ordered = [*(k for k in kinds if k in key), *(k for k in kinds if k in self.chosen), *kinds, "ratio"]
        return ordered[0]

    def show(self, kind: str, value: float, count: int = 4) -> str:
        """A value with its unit, to ``count`` digits: ``"120 mmHg"``, ``"12.5 %"``."""
        usual = min(unit.factor for _, unit in KINDS[kind].defaults)  # large for kinds with small numbers
        value = 0.0 if abs(value) < ROUNDING / max(1.0, usual) else value
        unit = self.unit(kind, value)
        return unit.behind(digits(value * unit.factor, count))


def capitalised(text: str) -> str:
    """A text with a capital first letter; the others stay."""
    return text[:1].upper() + text[1:]


def counted(count: int, noun: str) -> str:
    """A number of things: ``"1 run"``, ``"2 runs"``."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def digits(value: float, count: int = 4) -> str:
    """A number with ``count`` significant digits, without trailing zeros."""
    if math.isnan(value):
        return "–"
    if math.isinf(value):
        return "unlimited" if value > 0 else f"{_MINUS}unlimited"
    if value != 0.0 and not 1e-4 <= abs(value) < 1e6:
        mantissa, exponent = f"{value:.{count - 1}e}".split("e")
        power = str(int(exponent)).translate(_RAISED)
        return f"{mantissa.rstrip('0').rstrip('.')}·10{power}".replace("-", _MINUS)
    decimals = 0 if value == 0.0 else max(0, count - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text.replace("-", _MINUS) if text != "-0" else "0"


def _awkwardness(size: float) -> float:
    """Decades by which a number lies outside 1 to 1000, where it is read most easily."""
    if size == 0:
        return 0.0
    decade = math.log10(size)
    return max(-decade, decade - 3.0, 0.0)
