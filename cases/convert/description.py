# SPDX-License-Identifier: MIT
"""Description of a resolved case in sentences, which its run writes for reports."""

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from annelid.cases.convert.as_cast import as_cast_words, is_uneven, thickness_words
from annelid.cases.convert.display import display_units_of
from annelid.cases.convert.features import features_of
from annelid.cases.convert.limits import not_judged
from annelid.cases.convert.model import contact_of
from annelid.cases.convert.plausibility import remarks_on
from annelid.cases.convert.shape import layer_of
from annelid.cases.convert.support_words import support_sentences
from annelid.cases.convert.table_words import TableWords, sentence, spaced
from annelid.cases.convert.waves import cycles_of
from annelid.cases.schema.base import Table
from annelid.cases.schema.case import Case
from annelid.cases.schema.contact import ContactTable
from annelid.cases.schema.flow import CircuitTable, ElementTable, FeedTable, FluidEndTable, FluidTable
from annelid.cases.schema.imperfection import ImperfectionTable
from annelid.cases.schema.lattice import LatticeTable
from annelid.cases.schema.making import MakingTable
from annelid.cases.schema.material import PartTable
from annelid.cases.schema.mesh import MeshTable
from annelid.cases.schema.shape import BalloonTable, ShapeTable, SleeveTable
from annelid.cases.schema.stage import ElectrodeTable, RequirementTable, StageTable
from annelid.cases.schema.wave import WaveTable
from annelid.results.folder.run_records import NOT_JUDGED, CaseDescription, Statement
from annelid.solver.model.harmonic_words import harmonic_words
from annelid.solver.model.loads import LOAD_KINDS

__all__ = ["description_of"]

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
        features=features_of(case),
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


class _Describer(TableWords):
    """Describes a case."""

    def statements(self, case: Case) -> Iterator[Statement]:
        """Yield the statements in the order of the file; some have no sentences."""

        def entries(heading: str, tables: Iterable[Any], words: Callable[[Any], str]) -> Statement:
            return Statement(heading, tuple(map(words, tables)))

        yield Statement("Shape", self._shape(case.shape))
        yield Statement("Lattice", self._lattice(case.lattice))
        yield Statement("Making", self._making(case.making, case.lattice))
        yield Statement("Imperfection", self._imperfection(case.imperfection))
        yield Statement("Model", self._mesh(case.mesh, has_lattice=case.lattice is not None))
        yield entries("Parts", case.parts, lambda part: self._part(case, part))
        yield Statement(NOT_JUDGED, tuple(map(sentence, not_judged(case))))
        yield entries("Electrodes", case.electrodes, self._electrode)
        yield Statement("Supports", support_sentences(case))
        yield entries("Foundations", case.foundations, lambda f: f"{f.region}: {self.pairs(f, 'region')}.")
        yield Statement("Surroundings", self._surroundings(case.surroundings))
        yield entries("Obstacles", case.contacts, self._contact)
        yield Statement("Circuit", self._circuit(case.circuit))
        yield Statement("Fluid", self._fluid(case.fluid))
        yield entries("Feeds", case.feeds, self._feed)
        yield entries("Stages", case.stages, self._stage)
        yield entries("Requirements", case.requirements, self._requirement)
        yield Statement("Remarks", tuple(f"{remark}." for remark in remarks_on(case)))

    def _shape(self, shape: ShapeTable) -> tuple[str, ...]:
        kind, sizes = str(shape.kind), self.pairs(shape, "kind", "layers", "meridian")
        if isinstance(shape, BalloonTable):
            kind, sizes = f"{kind}, {shape.meridian.kind}", self.pairs(shape.meridian, "kind")
        if isinstance(shape, SleeveTable):
            kind = f"{kind}, bonded around its core"
        layers = ", ".join(
            f"{layer.name} {thickness_words(layer_of(layer), self.units)}" for layer in shape.layers
        )
        noun = "layers from the inside" if len(shape.layers) > 1 else "layer"
        return sentence(f"{kind}: {sizes}"), sentence(f"{noun}: {layers}")

    def _lattice(self, lattice: LatticeTable | None) -> tuple[str, ...]:
        if lattice is None:
            return ()
        left_out = ["cell", "printing", "measured"] + ["depth"] * (lattice.side != "embedded")
        place = self.pairs(lattice, *left_out)
        place += ", on a measured surface" if lattice.measured is not None else ""
        cell = f"{lattice.cell.kind}, {self.pairs(lattice.cell, 'kind')}"
        return sentence(f"cells: {cell}"), sentence(f"placed: {place}")

    def _making(self, making: MakingTable | None, lattice: LatticeTable | None) -> tuple[str, ...]:
        if making is None:
            return ()
        load = self.pairs(making, "steps", "along", "compare", "cover")
        load = load or "to the volume that its measured face encloses"
        cast = f" and {', '.join(making.cover)} cast over it" if making.cover else ""
        return (
            f"The stress-free skin is inflated ({load}) and the lattice is printed on it{cast}; the stages "
            "start from there.",
        )

    def _imperfection(self, imperfection: ImperfectionTable | None) -> tuple[str, ...]:
        if imperfection is None:
            return ()
        size = self.units.show("thickness", imperfection.size)
        motion = harmonic_words(imperfection.waves)
        return (f"Drawn with a deviation of at most {size} along the mode of a part that {motion}.",)

    def _mesh(self, mesh: MeshTable, *, has_lattice: bool) -> tuple[str, ...]:
        left_out = ["model", "cells", *(["around"] if has_lattice else ["on_struts", "through_struts"])]
        left_out += {"axisymmetric": ["around", "sector"], "solid": ["sector"]}.get(mesh.model, [])
        if mesh.edges_along or mesh.edges_through:
            left_out += ["along", "through", "across_core", "edges_along", "edges_through"]
            counts = {"along": mesh.edges_along, "through": mesh.edges_through}
            given = ", ".join(f"{len(e) - 1} {name} the wall" for name, e in counts.items() if e)
            return (sentence(f"{_MODELS[mesh.model]}; elements with given edges: {given}"),)
        return (sentence(f"{_MODELS[mesh.model]}; elements: {self.pairs(mesh, *left_out)}"),)

    def _part(self, case: Case, part: PartTable) -> str:
        material = case.materials[part.material]
        constants = self.pairs(material, "law", neutral=(0, 1))
        words = [f"{part.material} ({', '.join(filter(None, (_LAWS[material.law], constants)))})"]
        if part.sheets is not None and part.sheets.thickness is not None:
            count, thickness = part.sheets.count, self.units.show("thickness", part.sheets.thickness)
            mean = " on average" if is_uneven(case, part.region) else ""
            words.append(f"{count} sheet{'s' if count != 1 else ''} of {thickness}{mean}")
        for key in ("natural_stretch", "electrode_film", "fibres"):
            table = getattr(part, key)
            values = self.pairs(table, neutral=(0, 1)) if table is not None else ""
            words += [f"{spaced(key)}: {values}"] if values else []
            words += as_cast_words(case, part, self.units) if key == "natural_stretch" else ()
        words += ["carries no compression in its plane"] * (part.compression == "none")
        return f"{part.region}: {'; '.join(words)}."

    def _electrode(self, electrode: ElectrodeTable) -> str:
        edges = (electrode.start, electrode.end)
        span = " to ".join(self.units.show("length", edge) for edge in edges if edge is not None)
        words = [f"{electrode.region}, {span} along the axis"]
        if electrode.angles is not None:
            first, last = (self.units.show("angle", angle) for angle in electrode.angles)
            words.append(f"from {first} to {last} about the axis")
        if electrode.helix is not None:
            words.append(f"winding up: {self.pairs(electrode.helix)}")
        return f"{electrode.name}: {', '.join(words)}."

    def _surroundings(self, surroundings: Table) -> tuple[str, ...]:
        words = self.pairs(surroundings)
        return (sentence(words),) if words else ()

    def _contact(self, contact: ContactTable) -> str:
        sizes = self.pairs(contact, "name", "kind", "surface")
        return f"{contact.name}: {contact.kind} against {contact.surface}, {sizes}."

    def _circuit(self, circuit: CircuitTable | None) -> tuple[str, ...]:
        if circuit is None:
            return ()
        elements = tuple(map(self._element, circuit.elements))
        begins = ", ".join(f"{node} {self.units.show('pressure', p)}" for node, p in circuit.initial.items())
        return (*elements, *([f"Pressures at the start: {begins}."] if begins else []))

    def _element(self, element: ElementTable) -> str:
        place = f"at {element.node}" if element.node else f"from {element.start} to {element.end}"
        own = self.pairs(element, "name", "kind", "start", "end", "node")
        return f"{element.name}: {', '.join(filter(None, (f'{element.kind} {place}', own)))}."

    def _fluid(self, fluid: FluidTable | None) -> tuple[str, ...]:
        if fluid is None:
            return ()
        newtonian = ("index", "slowest_shear") if fluid.index == 1 else ()
        ends = (f"{key} end: {self._fluid_end(getattr(fluid, key))}" for key in ("lower", "upper"))
        own = self.pairs(fluid, "lower", "upper", *newtonian)
        return (sentence(f"flow along the lumen: {own}"), *map(sentence, ends))

    def _fluid_end(self, end: FluidEndTable) -> str:
        if end.kind == "circuit":
            return f"at {end.node} of the circuit"
        return f"{end.kind}, {self.pairs(end, 'kind') or 'pressure 0'}" if end.kind != "closed" else end.kind

    def _feed(self, feed: FeedTable) -> str:
        return f"{', '.join(feed.on)}: {self.pairs(feed, 'on')}."

    def _stage(self, stage: StageTable) -> str:
        left_out = ("name", "steps", "steps_per_period", "control", "until", "until_tolerance", "waves")
        changes = [self.pairs(stage, *left_out), *(self._wave(wave) for wave in stage.waves)]
        targets = "; ".join(filter(None, changes)) or "no change of loads"
        ends = " or ".join(f"{end.quantity} {self.limits(end, ' or ')}" for end in stage.until)
        flows = "the flow answers; " * (stage.control == "flow")
        return f"{stage.name}: {flows}{targets}{', until ' * bool(ends)}{ends}."

    def _wave(self, wave: WaveTable) -> str:
        on = f" of {', '.join(wave.on)}" if wave.on else ""
        row = "" if len(wave.on) < 2 else f", travelling {wave.direction}"
        sizes = self.pairs(wave, "load", "on", "form", "direction")
        return f"{spaced(wave.load)}{on} as a {wave.form}{row}, {sizes}"

    def _requirement(self, requirement: RequirementTable) -> str:
        when = f" at the end of {requirement.stage}" if requirement.stage is not None else ""
        return f"{requirement.quantity}: {self.limits(requirement, ', ')}{when}."
