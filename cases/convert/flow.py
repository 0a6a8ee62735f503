# SPDX-License-Identifier: MIT
"""Conversion of the circuit, the fluid and the feeds of a case into flow systems of the solver."""

import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from annelid.cases.convert.shape import edge_range
from annelid.cases.schema.case import Case
from annelid.cases.schema.flow import ElementTable, FluidEndTable, OverTime
from annelid.cases.schema.units import UnitError, parse
from annelid.geometry.errors import InvalidValue, checking
from annelid.geometry.shapes.shape import Shape
from annelid.solver.fluid.charging import Charging, Feed
from annelid.solver.fluid.circuit import Circuit
from annelid.solver.fluid.conductors import Inertance, Resistance, Valve
from annelid.solver.fluid.elements import Element
from annelid.solver.fluid.flow import Flow
from annelid.solver.fluid.fluid import Fluid
from annelid.solver.fluid.lubrication import Closed, End, Lubrication, OpenTo, Reservoir
from annelid.solver.fluid.signals import Repeating, Source
from annelid.solver.fluid.sources import FlowSource, PressureSource
from annelid.solver.fluid.stores import Chamber, Compliance, LumenStore
from annelid.solver.fluid.windkessels import windkessel
from annelid.solver.model.material import EPS0

__all__ = ["SECTIONS", "WRITTEN", "elements_of", "feeds_of", "flow_of", "most_sections"]

SECTIONS = 40
"""Sections of the lumen, where a case does not give their number and the mesh resolves them."""


WRITTEN = {"start": "from", "end": "to"}
"""Keys of elements as they are written in a case file."""

_SPARE = 1e-9
_BETWEEN, _AT = ("name", "start", "end"), ("name", "node")
_OVER_TIME = ("times", "values")
# Keys of each kind of element: those that it needs, and those that it may have.
_KEYS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "lumen": (_AT, ()),
    "resistance": ((*_BETWEEN, "resistance"), ()),
    "valve": ((*_BETWEEN, "resistance"), ("opening", "smoothing", "leak")),
    "inertance": ((*_BETWEEN, "inertance"), ()),
    "compliance": ((*_AT, "compliance"), ("external",)),
    "chamber": (_AT, ("elastance", *_OVER_TIME, "unstressed_volume", "external")),
    "windkessel": ((*_AT, "resistance", "compliance"), ("characteristic", "inertance", "arrangement")),
    "pressure source": (_AT, ("pressure", *_OVER_TIME)),
    "flow source": (_BETWEEN, ("flow", *_OVER_TIME)),
}
# Units of values over time, and examples of them.
_VALUES = {
    "pressure": ("MPa", "10 mmHg"),
    "flow": ("mm3/s", "5 mL/s"),
    "elastance": ("MPa/mm3", "2 mmHg/mL"),
}
_MAKE: dict[str, Callable[..., Element]] = {
    "lumen": LumenStore,
    "resistance": Resistance,
    "valve": Valve,
    "inertance": Inertance,
    "compliance": Compliance,
}


def flow_of(case: Case) -> Flow | None:
    """Return what answers to the lumen and the electrodes of a resolved case; ``None`` if nothing does.

    Raises:
        InvalidValue: A value is not allowed.
    """
    feeds = feeds_of(case)
    circuit = None if case.circuit is None else elements_of(case.circuit.elements)
    lumen: Circuit | Lubrication | None = None
    if case.fluid is not None:
        lumen = _channel(case, circuit)
    elif circuit is not None:
        with _inside("circuit"):
            lumen = Circuit(circuit)
    if lumen is None and not feeds:
        return None
    initial = {} if case.circuit is None else case.circuit.initial
    return Flow(
        lumen,
        Charging(feeds) if feeds else None,
        {f"pressure of {node}": pressure for node, pressure in initial.items()},
    )


def most_sections(case: Case, shape: Shape) -> int:
    """Return how many sections of the lumen the mesh resolves: as many as there are elements along it."""
    low, high = edge_range(case, shape)
    return max(1, math.ceil((high - low) / case.mesh.size - _SPARE))


@contextmanager
def _inside(table: str) -> Iterator[None]:
    """Put the name of a table before the keys of errors."""
    try:
        yield
    except InvalidValue as error:
        raise error.within(table) from None


def elements_of(tables: tuple[ElementTable, ...]) -> tuple[Element, ...]:
    """Return the elements of a circuit; a windkessel has several."""
    return tuple(element for table in tables for element in _element(table))


def feeds_of(case: Case) -> tuple[Feed, ...]:
    """Return the feed of each electrode that has one."""
    return tuple(
        Feed(name, None, table.resistance, table.leak_resistance, _relaxation(case, name))
        for table in case.feeds
        for name in table.on
    )


def _relaxation(case: Case, electrode: str) -> float | None:
    """Return ε/σ of the material under an electrode, s; ``None`` without a conductivity."""
    region = next((e.region for e in case.electrodes if e.name == electrode), None)
    material = next((case.materials.get(p.material) for p in case.parts if p.region == region), None)
    if material is None or material.conductivity is None or not material.permittivity:
        return None
    return material.permittivity * EPS0 / material.conductivity


def _element(table: ElementTable) -> tuple[Element, ...]:
    with checking(f"element '{table.name}'"):
        _check_keys(table)
        given = {key: getattr(table, key) for key in (*_KEYS[table.kind][0], *_KEYS[table.kind][1])}
        values = {
            key: value for key, value in given.items() if value not in (None, ()) and key not in _OVER_TIME
        }
        if table.kind in _MAKE:
            return (_MAKE[table.kind](**values),)
        if table.kind == "windkessel":
            return windkessel(**values)
        if table.kind == "chamber":
            elastance = _source(table, "elastance", table.elastance)
            return (Chamber(**values | {"elastance": elastance}),)
        if table.kind == "pressure source":
            return (PressureSource(table.name, table.node or "", _source(table, "pressure", table.pressure)),)
        rate = _source(table, "flow", table.flow)
        return (FlowSource(table.name, table.start or "", table.end or "", rate),)


def _check_keys(table: ElementTable) -> None:
    needed, optional = _KEYS[table.kind]
    for key, field in type(table).model_fields.items():
        written, given = field.alias or key, getattr(table, key) not in (None, ())
        if key in needed and not given:
            raise InvalidValue(f"is missing: kind = '{table.kind}' needs it", key=written)
        if given and key not in (*needed, *optional, "kind"):
            raise InvalidValue(f"does not belong to kind = '{table.kind}': leave it out", key=written)


def _source(table: OverTime, key: str, constant: float | None) -> Source:
    """Return a value that is constant or given over time."""
    if (constant is None) == (not table.times and not table.values):
        both = (
            "cannot be given together with times and values"
            if constant is not None
            else "is missing, and so are times and values"
        )
        raise InvalidValue(f"{both}: give one of them", key=key)
    if constant is not None:
        return constant
    return Repeating(table.times, tuple(_level(key, value) for value in table.values))


def _level(key: str, value: float | str) -> float:
    """Return a value over time in the unit of its kind."""
    unit, example = _VALUES[key]
    try:
        level = parse(value, unit)
    except UnitError as error:
        raise InvalidValue(f"{error}; write values such as '{example}'", key="values") from None
    if key == "elastance" and level <= 0:
        raise InvalidValue(f"must be above 0 {unit}, got '{value}'", key="values", value=value)
    return level


def _channel(case: Case, circuit: tuple[Element, ...] | None) -> Lubrication:
    assert case.fluid is not None
    table = case.fluid
    openings = tuple(end.node for end in (table.lower, table.upper) if end.kind == "circuit" and end.node)
    with _inside("circuit"):
        connected = None if circuit is None else Circuit(circuit, 0, openings)
    with _inside("fluid"):
        return Lubrication(
            SECTIONS if table.sections is None else table.sections,
            Fluid(table.viscosity, table.index, table.slowest_shear, table.density),
            _end("lower", table.lower),
            _end("upper", table.upper),
            table.gap,
            connected,
        )


def _end(key: str, table: FluidEndTable) -> End:
    given: Mapping[str, Any] = {
        "pressure": table.pressure,
        "times": table.times,
        "values": table.values,
        "node": table.node,
    }
    allowed = {"reservoir": ("pressure", *_OVER_TIME), "closed": (), "circuit": ("node",)}[table.kind]
    for name, value in given.items():
        if value not in (None, ()) and name not in allowed:
            raise InvalidValue(f"does not belong to kind = '{table.kind}': leave it out", key=f"{key}.{name}")
    if table.kind == "closed":
        return Closed()
    if table.kind == "circuit":
        if table.node is None:
            raise InvalidValue("is missing: name a node of the circuit", key=f"{key}.node")
        return OpenTo(table.node)
    if table.pressure is None and not (table.times or table.values):
        return Reservoir()
    try:
        return Reservoir(_source(table, "pressure", table.pressure))
    except InvalidValue as error:
        raise error.within(key) from None
