# SPDX-License-Identifier: MIT
"""Elements that store fluid."""

from dataclasses import dataclass

from annelid.geometry.checks import within
from annelid.geometry.errors import checking
from annelid.solver.fluid.elements import AtNode
from annelid.solver.fluid.flow_system import Array, Terms
from annelid.solver.fluid.signals import Source, at_time, finite


@dataclass(frozen=True)
class Compliance(AtNode):
    """Stored volume C (p - p_external).

    Attributes:
        compliance: C in mm³/MPa.
        external: Pressure around it in MPa, constant or over time.
    """

    compliance: float
    external: Source = 0.0
    kind = "compliance"

    def _check(self) -> None:
        within("compliance", self.compliance, above=0, unit="mm3/MPa")
        finite("external", self.external)

    def add_stored(self, into: Terms, y: Array, t: float, at: tuple[int, ...], volumes: Array) -> None:
        """C (p - p_external)."""
        into.value[at[0]] += self.compliance * (y[at[0]] - at_time(self.external, t))
        into.by_unknowns[at[0], at[0]] += self.compliance


@dataclass(frozen=True)
class Chamber(AtNode):
    """A ventricle or bladder: p - p_external = E(t) (V - V0).

    Attributes:
        elastance: E in MPa/mm³, constant or over time.
        unstressed_volume: V0 in mm³.
        external: Pressure around it in MPa, constant or over time.
    """

    elastance: Source
    unstressed_volume: float = 0.0
    external: Source = 0.0
    kind = "chamber"

    def _check(self) -> None:
        if isinstance(self.elastance, int | float):
            within("elastance", self.elastance, above=0, unit="MPa/mm3")
        within("unstressed_volume", self.unstressed_volume, least=0, unit="mm3")
        finite("external", self.external)

    def add_stored(self, into: Terms, y: Array, t: float, at: tuple[int, ...], volumes: Array) -> None:
        """V0 + (p - p_external)/E."""
        elastance = at_time(self.elastance, t)
        with checking(self.subject):
            within("elastance", elastance, above=0, unit="MPa/mm3", why=f"at {t:g} s")
        transmural = y[at[0]] - at_time(self.external, t)
        into.value[at[0]] += self.unstressed_volume + transmural / elastance
        into.by_unknowns[at[0], at[0]] += 1 / elastance


@dataclass(frozen=True)
class LumenStore(AtNode):
    """The lumen of the part, with one pressure everywhere."""

    kind = "lumen"

    def add_stored(self, into: Terms, y: Array, t: float, at: tuple[int, ...], volumes: Array) -> None:
        """The volume of all sections."""
        into.value[at[0]] += volumes.sum()
        into.by_lumen[at[0]] += 1
