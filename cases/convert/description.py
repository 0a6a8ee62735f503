# SPDX-License-Identifier: MIT
"""Description of a resolved case in sentences, which its run writes for reports."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, get_args

from annelid.cases.convert.as_cast import as_cast_words, is_uneven, thickness_words
from annelid.cases.convert.display import display_units_of
from annelid.cases.convert.limits import not_judged
from annelid.cases.convert.model import contact_of
from annelid.cases.convert.plausibility import remarks_on
from annelid.cases.convert.shape import layer_of
from annelid.cases.convert.twist import has_twist
from annelid.cases.convert.waves import cycles_of
from annelid.cases.schema.base import Table
from annelid.cases.schema.case import Case
from annelid.cases.schema.contact import ContactTable
from annelid.cases.schema.flow import CircuitTable, ElementTable, FeedTable, FluidEndTable, FluidTable
from annelid.cases.schema.lattice import LatticeTable
from annelid.cases.schema.making import MakingTable
from annelid.cases.schema.material import PartTable
from annelid.cases.schema.shape import BalloonTable, MeshTable, ShapeTable, SleeveTable
from annelid.cases.schema.stage import ElectrodeTable, LimitTable, RequirementTable, StageTable, SupportTable
from annelid.cases.schema.units import Unit, parse
from annelid.cases.schema.wave import WaveTable
from annelid.results.folder.run_records import NOT_JUDGED, CaseDescription, Statement
from annelid.solver.display import DisplayUnits, capitalised, digits
from annelid.solver.model.loads import LOAD_KINDS
from annelid.solver.model.quantities import quantity_of

__all__ = ["description_of"]

_HOLDS = {
    "all": "clamped",
    "axial": "fixed along the axis, free to change its radius",
    "axial twist": "fixed along the axis and against rotation, free to change its radius",
    "radial": "keeps its radius, free along the axis",
    "symmetric": "a plane of symmetry",
    "plate": "on a stiff plate that can move along the axis",
    "plate all": "on a stiff plate that can move along the axis, with its radius fixed",
    "rigid motion": "fixed against rigid motions only, without a force",
    "free": "free; the pressure acts on the wall alone",
}
_ROTATION = {  # of supports in parts that twist, where their words do not state it yet
    "axial": " and to turn",
    "radial": ", fixed against rotation",
    "plate": " and turn",
    "plate all": ", and fixed against rotation",
    "free": "; it can turn",
}
_LAWS = {
    "gent": "Gent",
    "ogden": "Ogden",
    "yeoh": "Yeoh",
    "fung": "Fung",
    "neo-hookean": "neo-Hookean",
    "mooney-rivlin": "Mooney-Rivlin",
    "arruda-boyce": "Arruda-Boyce",
}
_MODELS = {
    "axisymmetric": "a cut through the wall (axisymmetric)",
    "solid": "the whole part in 3-D",
    "sector": "a sector in 3-D between planes of symmetry",
}
_MANY = 6  # longer lists are described by their number of values


def description_of(case: Case) -> CaseDescription:
    """Describe a resolved case."""
    units = display_units_of(case)
    return CaseDescription(
        title=case.title,
        notes=case.notes,
        units=units,
        statements=tuple(s for s in _Describer(units).statements(case) if s.sentences),
        targets={stage.name: _targets(stage) for stage in case.stages},
        controls={stage.name: stage.control for stage in case.stages},
        obstacles=tuple(contact_of(contact) for contact in case.contacts),
        symmetry_plane=_symmetry_plane(case),
        cycles=tuple(cycles_of(case)),
        skin=tuple(layer.name for layer in case.shape.layers) if case.making is not None else (),
    )


def _symmetry_plane(case: Case) -> str:
    """Return the end on a plane of symmetry; of a part between two of them, which repeats, none."""
    ends = [s.region for s in case.supports if s.hold == "symmetric" and s.region in ("end_low", "end_high")]
    return ends[0] if len(ends) == 1 else ""


def _targets(stage: StageTable) -> dict[str, float]:
    """Return the loads that a stage requests, by their names in tables."""
    targets: dict[str, float] = {}
    for kind in LOAD_KINDS:
        value = getattr(stage, kind.key)
        entries = value if kind.acts_on else {"": value} if value is not None else {}
        targets |= {f"{kind.label} {name}".strip(): value for name, value in entries.items()}
    return targets


class _Describer:
    """Describes the tables of a case.

    Args:
        units: Units in which numbers are shown.
    """

    def __init__(self, units: DisplayUnits) -> None:
        self._units = units

    def statements(self, case: Case) -> Iterator[Statement]:
        """Yield the statements in the order of the file; some have no sentences."""

        def entries(heading: str, tables: Iterable[Any], sentence: Callable[[Any], str]) -> Statement:
            return Statement(heading, tuple(map(sentence, tables)))

        yield Statement("Shape", self._shape(case.shape))
        yield Statement("Lattice", self._lattice(case.lattice))
        yield Statement("Making", self._making(case.making, case.lattice))
        yield Statement("Model", self._mesh(case.mesh, has_lattice=case.lattice is not None))
        yield entries("Parts", case.parts, lambda part: self._part(case, part))
        yield Statement(NOT_JUDGED, tuple(map(_sentence, not_judged(case))))
        yield entries("Electrodes", case.electrodes, self._electrode)
        yield entries("Supports", case.supports, lambda support: self._support(case, support))
        yield entries("Foundations", case.foundations, lambda f: f"{f.region}: {self._pairs(f, 'region')}.")
        yield Statement("Surroundings", self._surroundings(case.surroundings))
        yield entries("Obstacles", case.contacts, self._contact)
        yield Statement("Circuit", self._circuit(case.circuit))
        yield Statement("Fluid", self._fluid(case.fluid))
        yield entries("Feeds", case.feeds, self._feed)
        yield entries("Stages", case.stages, self._stage)
        yield entries("Requirements", case.requirements, self._requirement)
        yield Statement("Remarks", tuple(f"{remark}." for remark in remarks_on(case)))

    def _shape(self, shape: ShapeTable) -> tuple[str, ...]:
        kind, sizes = str(shape.kind), self._pairs(shape, "kind", "layers", "meridian")
        if isinstance(shape, BalloonTable):
            kind, sizes = f"{kind}, {shape.meridian.kind}", self._pairs(shape.meridian, "kind")
        if isinstance(shape, SleeveTable):
            kind = f"{kind}, bonded around its core"
        layers = ", ".join(
            f"{layer.name} {thickness_words(layer_of(layer), self._units)}" for layer in shape.layers
        )
        noun = "layers from the inside" if len(shape.layers) > 1 else "layer"
        return _sentence(f"{kind}: {sizes}"), _sentence(f"{noun}: {layers}")

    def _lattice(self, lattice: LatticeTable | None) -> tuple[str, ...]:
        if lattice is None:
            return ()
        left_out = ["cell", "printing", "measured"] + ["depth"] * (lattice.side != "embedded")
        place = self._pairs(lattice, *left_out)
        place += ", on a measured surface" if lattice.measured is not None else ""
        cell = f"{lattice.cell.kind}, {self._pairs(lattice.cell, 'kind')}"
        return _sentence(f"cells: {cell}"), _sentence(f"placed: {place}")

    def _making(self, making: MakingTable | None, lattice: LatticeTable | None) -> tuple[str, ...]:
        if making is None:
            return ()
        load = self._pairs(making, "steps", "along", "compare", "cover")
        load = load or "to the volume that its measured face encloses"
        cast = f" and {', '.join(making.cover)} cast over it" if making.cover else ""
        return (
            f"The stress-free skin is inflated ({load}) and the lattice is printed on it{cast}; the stages "
            "start from there.",
        )

    def _mesh(self, mesh: MeshTable, *, has_lattice: bool) -> tuple[str, ...]:
        left_out = ["model", "cells", *(["around"] if has_lattice else ["on_struts", "through_struts"])]
        left_out += {"axisymmetric": ["around", "sector"], "solid": ["sector"]}.get(mesh.model, [])
        return (_sentence(f"{_MODELS[mesh.model]}; elements: {self._pairs(mesh, *left_out)}"),)

    def _part(self, case: Case, part: PartTable) -> str:
        material = case.materials[part.material]
        constants = self._pairs(material, "law", neutral=(0, 1))
        words = [f"{part.material} ({', '.join(filter(None, (_LAWS[material.law], constants)))})"]
        if part.sheets is not None and part.sheets.thickness is not None:
            count, thickness = part.sheets.count, self._units.show("thickness", part.sheets.thickness)
            mean = " on average" if is_uneven(case, part.region) else ""
            words.append(f"{count} sheet{'s' if count != 1 else ''} of {thickness}{mean}")
        for key in ("natural_stretch", "electrode_film", "fibres"):
            table = getattr(part, key)
            values = self._pairs(table, neutral=(0, 1)) if table is not None else ""
            words += [f"{_words(key)}: {values}"] if values else []
            words += as_cast_words(case, part, self._units) if key == "natural_stretch" else ()
        return f"{part.region}: {'; '.join(words)}."

    def _electrode(self, electrode: ElectrodeTable) -> str:
        edges = (electrode.start, electrode.end)
        span = " to ".join(self._units.show("length", edge) for edge in edges if edge is not None)
        words = [f"{electrode.region}, {span} along the axis"]
        if electrode.angles is not None:
            first, last = (self._units.show("angle", angle) for angle in electrode.angles)
            words.append(f"from {first} to {last} about the axis")
        if electrode.helix is not None:
            words.append(f"winding up: {self._pairs(electrode.helix)}")
        return f"{electrode.name}: {', '.join(words)}."

    def _support(self, case: Case, support: SupportTable) -> str:
        rotation = _ROTATION.get(support.hold, "") if has_twist(case) else ""
        return f"{support.region}: {_HOLDS[support.hold]}{rotation}."

    def _surroundings(self, surroundings: Table) -> tuple[str, ...]:
        words = self._pairs(surroundings)
        return (_sentence(words),) if words else ()

    def _contact(self, contact: ContactTable) -> str:
        sizes = self._pairs(contact, "name", "kind", "surface")
        return f"{contact.name}: {contact.kind} against {contact.surface}, {sizes}."

    def _circuit(self, circuit: CircuitTable | None) -> tuple[str, ...]:
        if circuit is None:
            return ()
        elements = tuple(map(self._element, circuit.elements))
        begins = ", ".join(f"{node} {self._units.show('pressure', p)}" for node, p in circuit.initial.items())
        return (*elements, *([f"Pressures at the start: {begins}."] if begins else []))

    def _element(self, element: ElementTable) -> str:
        place = f"at {element.node}" if element.node else f"from {element.start} to {element.end}"
        own = self._pairs(element, "name", "kind", "start", "end", "node")
        return f"{element.name}: {', '.join(filter(None, (f'{element.kind} {place}', own)))}."

    def _fluid(self, fluid: FluidTable | None) -> tuple[str, ...]:
        if fluid is None:
            return ()
        newtonian = ("index", "slowest_shear") if fluid.index == 1 else ()
        ends = (f"{key} end: {self._fluid_end(getattr(fluid, key))}" for key in ("lower", "upper"))
        own = self._pairs(fluid, "lower", "upper", *newtonian)
        return (_sentence(f"flow along the lumen: {own}"), *map(_sentence, ends))

    def _fluid_end(self, end: FluidEndTable) -> str:
        if end.kind == "circuit":
            return f"at {end.node} of the circuit"
        return f"{end.kind}, {self._pairs(end, 'kind') or 'pressure 0'}" if end.kind != "closed" else end.kind

    def _feed(self, feed: FeedTable) -> str:
        return f"{', '.join(feed.on)}: {self._pairs(feed, 'on')}."

    def _stage(self, stage: StageTable) -> str:
        left_out = ("name", "steps", "steps_per_period", "control", "until", "until_tolerance", "waves")
        changes = [self._pairs(stage, *left_out), *(self._wave(wave) for wave in stage.waves)]
        targets = "; ".join(filter(None, changes)) or "no change of loads"
        ends = " or ".join(f"{end.quantity} {self._limits(end, ' or ')}" for end in stage.until)
        flows = "the flow answers; " * (stage.control == "flow")
        return f"{stage.name}: {flows}{targets}{', until ' * bool(ends)}{ends}."

    def _wave(self, wave: WaveTable) -> str:
        on = f" of {', '.join(wave.on)}" if wave.on else ""
        row = "" if len(wave.on) < 2 else f", travelling {wave.direction}"
        sizes = self._pairs(wave, "load", "on", "form", "direction")
        return f"{_words(wave.load)}{on} as a {wave.form}{row}, {sizes}"

    def _requirement(self, requirement: RequirementTable) -> str:
        when = f" at the end of {requirement.stage}" if requirement.stage is not None else ""
        return f"{requirement.quantity}: {self._limits(requirement, ', ')}{when}."

    def _limits(self, table: LimitTable, between: str) -> str:
        quantity = quantity_of(table.quantity)
        return between.join(
            f"{_words(key)} {self._units.show(quantity.kind, parse(limit, quantity.unit))}"
            for key, limit in (("at_least", table.at_least), ("at_most", table.at_most))
            if limit is not None
        )

    def _pairs(self, table: Table, *left_out: str, neutral: tuple[float, ...] = ()) -> str:
        """Return the names and values of the entries of a table that are set."""
        pairs = []
        for key, field in type(table).model_fields.items():
            value = getattr(table, key)
            if (
                key in left_out
                or value is None
                or value is False
                or value in ("", (), {})
                or value in neutral
            ):
                continue
            name, unit = _words(field.alias or key), _unit_in((field.annotation, *field.metadata))
            if isinstance(value, Mapping):
                pairs += [f"{name} {entry} {self._value(unit, target)}" for entry, target in value.items()]
            elif isinstance(value, Table):
                pairs.append(f"{name} ({self._pairs(value)})")
            else:
                pairs.append(name if value is True else f"{name} {self._value(unit, value)}")
        return ", ".join(pairs)

    def _value(self, unit: Unit | None, value: object) -> str:
        if isinstance(value, tuple):
            if len(value) > _MANY:
                return f"given at {len(value)} points"
            return ", ".join(self._value(unit, member) for member in value)
        if isinstance(value, float):
            if unit is None:
                return digits(value, 6)
            return self._units.show(unit.kind, value) if unit.kind else unit.shown(value)
        return str(value)


def _unit_in(annotation: Any) -> Unit | None:
    """Return the unit among the annotations of a field."""
    if isinstance(annotation, Unit):
        return annotation
    members = annotation if isinstance(annotation, tuple) else get_args(annotation)
    return next((unit for unit in map(_unit_in, members) if unit is not None), None)


def _words(key: str) -> str:
    return key.replace("_", " ")


def _sentence(text: str) -> str:
    return capitalised(text) + "."
