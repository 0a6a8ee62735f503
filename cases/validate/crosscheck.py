# SPDX-License-Identifier: MIT
"""Building the records of a case and checking them against each other; all errors are collected.

The records of the geometry and the solver check their own values and their consistency. This module adds the
checks of the case file itself and of plausibility.
"""

from collections import Counter
from collections.abc import Iterator
from typing import Any

from annelid.cases.convert.comparison import cleaning_of, limits_of
from annelid.cases.convert.fabrication import settings_of
from annelid.cases.convert.flow import flow_of, most_sections
from annelid.cases.convert.lattice import region_names
from annelid.cases.convert.model import contact_of, material_of, part_of
from annelid.cases.convert.path import stage_of, stepping_of
from annelid.cases.convert.shape import (
    band_of,
    edge_range,
    layer_of,
    measured_heights,
    meridian_of,
    mesh_size_of,
    shape_of,
)
from annelid.cases.schema.case import Case
from annelid.cases.schema.comparison import ComparisonTable
from annelid.cases.schema.material import PartTable
from annelid.cases.schema.shape import BalloonTable, LayerTable, SleeveTable, TubeTable
from annelid.cases.schema.stage import ElectrodeTable, StageTable
from annelid.cases.validate.crosscheck_flow import check_flow_tables
from annelid.cases.validate.crosscheck_lattice import check_lattice, check_making
from annelid.cases.validate.findings import Findings
from annelid.cases.validate.mounting import check_stack, mounted
from annelid.cases.validate.resolved import resolved
from annelid.cases.validate.valid_tables import ValidTables
from annelid.geometry.checks import one_of, usable_name
from annelid.geometry.errors import Finding, InvalidValue, checking
from annelid.geometry.inventory import Inventory
from annelid.geometry.meshing.band_placement import placement_findings
from annelid.geometry.meshing.layout import lay_out
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.meshing.uneven_wall import unevenness_findings
from annelid.geometry.shapes.band import Band, band_findings
from annelid.geometry.shapes.shape import Shape
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.solver.model import checks
from annelid.solver.model.boundary import Electrode, Foundation, Section, Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.flow_checks import check_flow_parts, check_flow_stages
from annelid.solver.model.load_checks import check_loaded_surfaces
from annelid.solver.model.material import Material
from annelid.solver.model.parts import Part
from annelid.solver.model.ramp import check_wave_starts
from annelid.solver.model.stages import Stage
from annelid.solver.model.twist_checks import check_twist

__all__ = ["CrossCheck", "check_comparison"]

# A lattice that is only printed needs no part, and end rings may be part of the lattice.
_OPTIONAL_REGIONS = ("lattice", "end ring")


class CrossCheck:
    """Builds the records of a case, and checks each of them and all together.

    Attributes:
        case: The case with its defaults filled in where its tables are valid.
        findings: The errors.

    Args:
        raw: The tables as read from the file.
        tables: The tables and entries that are valid by themselves.
    """

    def __init__(self, raw: dict[str, Any], tables: ValidTables) -> None:
        self._raw = raw
        self.findings = Findings(raw, tables)
        case = mounted(tables.case, self.findings)
        self.shape = self._build_shape(case)
        self._check_sheets(case)
        self.case = resolved(case, self.shape)
        self.size = self._build_size()
        self.inventory = self._build_inventory()
        materials = self._build_materials()
        parts = self._build_parts(materials)
        self._check_parts(parts)
        self._check_electrodes(parts)
        self._check_boundary_and_stages(parts)
        check_lattice(self.case, self.findings, self.shape)
        check_making(self.case, self.findings)
        if self.findings.complete("fabrication"):
            with self.findings.catching("fabrication"):
                settings_of(self.case)
        if self.case.comparison is not None and self.findings.complete("comparison"):
            check_comparison(self.case.comparison, self.findings)
        self._check_names()

    # shape and mesh

    def _build_shape(self, case: Case) -> Shape | None:
        if not self.findings.complete("shape"):
            return None
        catching = self.findings.catching
        for index, layer in enumerate(case.shape.layers):
            with catching("shape", "layers", index):
                layer_of(layer)
        if isinstance(case.shape, BalloonTable):
            with catching("shape", "meridian"):
                meridian_of(case.shape.meridian)
        if not self.findings.complete("shape"):
            with catching("shape"):  # other values of the table may also be wrong
                shape_of(_with_placeholder_layer(case))
            return None
        with catching("shape"):
            shape = shape_of(case)
            self.findings.check(_thick_wall(case, shape))
            return shape
        return None

    def _build_size(self) -> MeshSize | None:
        if not self.findings.complete("mesh"):
            return None
        with self.findings.catching("mesh"):
            size = mesh_size_of(self.case)
            if self.shape is not None:
                if size.across_core is not None and not isinstance(self.shape, Sleeve):
                    raise InvalidValue("this shape has no core: leave it out", key="across_core")
                low, high = edge_range(self.case, self.shape)
                if size.along > high - low:
                    raise InvalidValue(
                        f"{size.along:g} mm is longer than the part: it must be at most {high - low:g} mm",
                        key="along",
                        value=size.along,
                    )
                self._check_unevenness(size)
            return size
        return None

    def _check_unevenness(self, size: MeshSize) -> None:
        """Check that uneven layers cover the wall and fit the model."""
        assert self.shape is not None
        if self.shape.uneven and not self.findings.complete("lattice"):
            return
        measured = measured_heights(self.case) if self.case.making is None else None
        self.findings.check(unevenness_findings(self.shape, size, measured=measured))

    def _build_inventory(self) -> Inventory | None:
        if self.shape is None or self.size is None:
            return None
        with self.findings.catching("shape"):
            return lay_out(self.shape, self.size, (), ()).inventory(self.size.model)
        return None

    # materials, parts and electrodes

    def _check_sheets(self, case: Case) -> None:
        """Check that only layers have sheets, and that these add up to the layer thickness."""
        if self.shape is None:
            return
        layers = {layer.name: layer for layer in self.shape.layers}
        regions = region_names(case, self.shape)
        for index, part in enumerate(case.parts):
            if part.sheets is None or part.region not in regions:
                continue
            with self.findings.catching("parts", index, "sheets"):
                check_stack(part, layers)

    def _build_materials(self) -> dict[str, Material]:
        materials = {}
        for name in self.case.materials:
            with self.findings.catching("materials", name):
                materials[name] = material_of(self.case, name)
        return materials

    def _build_parts(self, materials: dict[str, Material]) -> list[Part]:
        named = self._raw.get("materials")
        named = named if isinstance(named, dict) else {}

        def build(table: PartTable) -> Part | None:
            one_of("material", table.material, tuple(named), what="a material")
            return part_of(self.case, table) if table.material in materials else None

        return self.findings.records("parts", self.case.parts, build)

    def _check_parts(self, parts: list[Part]) -> None:
        if self.shape is None or not self.findings.complete("lattice"):
            return
        regions = region_names(self.case, self.shape)
        optional: tuple[str, ...] = (
            _OPTIONAL_REGIONS if self.size is None or self.size.model == "axisymmetric" else ("end ring",)
        )
        if not self.findings.complete("parts", "materials"):
            optional = regions
        self.findings.check(checks.check_parts(parts, regions, optional))

    def _check_electrodes(self, parts: list[Part]) -> None:
        if self.shape is None:
            return
        case, regions = self.case, region_names(self.case, self.shape)

        def build(table: ElectrodeTable) -> Band:
            usable_name("name", table.name, reserved=("all", *regions))
            return band_of(table)

        bands = self.findings.records("electrodes", case.electrodes, build)
        layers = [layer.name for layer in self.shape.layers]
        self.findings.check(band_findings(bands, layers, edge_range(case, self.shape)))
        if case.lattice is None and self.size is not None:
            self.findings.check(placement_findings(bands, self.shape, self.size))
        covered = [(band.name, (band.region,)) for band in bands]
        electrodes = [Electrode(e.name, e.hot_face) for e in case.electrodes]
        solved = self.findings.complete("electrics") and case.electrics.model == "solved"
        self.findings.check(checks.check_electrodes(electrodes, parts, covered, solved))
        self.findings.check(_stepped_edges(bands if solved else []))

    # supports, obstacles and loads

    def _check_boundary_and_stages(self, parts: list[Part]) -> None:
        case, build = self.case, self.findings.records
        supports = build("supports", case.supports, lambda s: Support(s.region, s.hold))
        foundations = build(
            "foundations", case.foundations, lambda f: Foundation(f.region, f.stiffness, f.direction)
        )
        contacts = build("contacts", case.contacts, contact_of)
        sections = build("sections", case.sections, lambda s: Section(s.name, s.at))
        stages = self._build_stages()
        self._check_flow(supports, contacts, stages)
        if self.inventory is not None:
            self._check_against_shape(parts, supports, foundations, contacts, sections, stages)
        if self.findings.complete("parts", "materials"):
            self.findings.check(checks.check_weight(stages, [part.material for part in parts]))

    def _check_flow(self, supports: list[Support], contacts: list[Contact], stages: list[Stage]) -> None:
        """Check the circuit, the fluid and the feeds, with the part and the stages."""
        case, findings = self.case, self.findings
        findings.check(check_flow_tables(case))
        if not findings.complete("circuit", "fluid", "feeds", "electrodes", "materials", "parts"):
            return
        with findings.catching():
            flow = flow_of(case)
            if self.inventory is not None and findings.complete("supports", "contacts"):
                names = self._named("electrodes")
                findings.check(check_flow_parts(flow, names, supports, contacts, self.inventory))
            if findings.complete("stages", "mesh"):
                findings.check(check_flow_stages(stages, flow))
        if self.shape is not None and self.size is not None:
            findings.check(_fluid_in_shape(case, self.shape))

    def _build_stages(self) -> list[Stage]:
        stepping = None
        if self.findings.complete("path"):
            with self.findings.catching("path"):
                stepping = stepping_of(self.case)

        def build(table: StageTable) -> Stage:
            # The quantities of until are known only with the whole case: ``check_requirements``.
            stage = stage_of(self.case, table.model_copy(update={"until": ()}))
            if stepping is not None:
                with checking(f"stage '{stage.name}'"):
                    stepping.check_control(stage.control)
            return stage

        return self.findings.records("stages", self.case.stages if self.case.mesh is not None else (), build)

    def _check_against_shape(
        self,
        parts: list[Part],
        supports: list[Support],
        foundations: list[Foundation],
        contacts: list[Contact],
        sections: list[Section],
        stages: list[Stage],
    ) -> None:
        assert self.inventory is not None
        assert self.shape is not None
        findings, inventory = self.findings, self.inventory
        findings.check(checks.check_surfaces(supports, foundations, contacts, inventory))
        if findings.complete("supports", "foundations"):
            findings.check(_free_axial_motion(supports, foundations, inventory))
        if self.case.making is None and findings.complete("making"):
            low, high = edge_range(self.case, self.shape)
            if not self.shape.bands_by_radius:
                findings.check(checks.check_sections(sections, (low, high)))
        names = checks.Names(
            self._named("electrodes"),
            self._named("contacts"),
            self._named("sections"),
            tuple(s.region for s in supports if s.can_be_moved)
            if findings.complete("supports")
            else self._named("supports", "region"),
            tuple(s.region for s in supports if s.fixes_rotation)
            if findings.complete("supports")
            else self._named("supports", "region"),
        )
        findings.check(checks.check_stages(stages, names, inventory))
        findings.check(checks.check_obstacles(stages, contacts))
        if findings.complete("stages", "contacts"):
            early = {index for index, table in enumerate(self.case.stages) if table.until}
            findings.check(check_wave_starts(stages, contacts, early))
        if findings.complete("supports"):
            findings.check(checks.check_lumen(stages, supports, inventory))
            findings.check(check_loaded_surfaces(stages, supports, inventory))
            findings.check(checks.check_shared_edges(stages, supports, inventory))
            findings.check(check_twist(stages, supports, parts, inventory))

    def _named(self, table: str, key: str = "name") -> tuple[str, ...]:
        """Return the names in a table of the file, including those of invalid entries."""
        entries = self._raw.get(table, [])
        if not isinstance(entries, list):
            return ()
        return tuple(str(entry[key]) for entry in entries if isinstance(entry, dict) and key in entry)

    def _check_names(self) -> None:
        """Check that the names of entries are unique."""
        tables = {
            "electrodes": "name",
            "supports": "region",
            "foundations": "region",
            "contacts": "name",
            "sections": "name",
            "stages": "name",
        }
        for table, key in tables.items():
            for name, count in Counter(self._named(table, key)).items():
                if count > 1:
                    error = InvalidValue(f"'{name}' appears {count} times; names must be unique")
                    self.findings.add((table,), error)


def _with_placeholder_layer(case: Case) -> Case:
    layers = (LayerTable.model_construct(name="layer", thickness=1e-3),)
    return case.model_copy(update={"shape": case.shape.model_copy(update={"layers": layers})})


def _stepped_edges(bands: list[Band]) -> Iterator[Finding]:
    """Refuse a helix whose fringe field is solved: the edges of its whole elements are longer than drawn."""
    for index, band in enumerate(bands):
        if band.helix is not None:
            text = "a helix has stepped edges, at which no fringe field can be solved: choose electrics.model"
            error = InvalidValue(f"{text} = 'layered'", key="helix", subject=f"electrode '{band.name}'")
            yield Finding(("electrodes", index), error)


def _fluid_in_shape(case: Case, shape: Shape) -> Iterator[Finding]:
    """Refuse more sections of the lumen than elements along it, and a gap as wide as the lumen."""
    if case.fluid is None:
        return
    sections, most = case.fluid.sections, most_sections(case, shape)
    if sections is not None and sections > most:
        text = (
            f"{sections} are more than the {most} elements along the lumen: take fewer, or make them smaller"
        )
        yield Finding(("fluid",), InvalidValue(text, key="sections", value=sections))
    radius = shape.slenderness * shape.thinnest  # the largest one
    if case.fluid.gap >= radius:
        text = f"must be below the radius of the lumen, {radius:g} mm, got {case.fluid.gap:g} mm"
        yield Finding(("fluid",), InvalidValue(text, key="gap", value=case.fluid.gap))


def _thick_wall(case: Case, shape: Shape) -> Iterator[Finding]:
    """Refuse a wall thicker than its inner radius unless the case allows it: probably a wrong unit."""
    if isinstance(case.shape, TubeTable | SleeveTable):
        key = "inner_radius" if isinstance(case.shape, TubeTable) else "core_radius"
        radius = getattr(case.shape, key)
        if shape.thickest > radius and not case.shape.thick_wall:
            text = (
                f"the wall of {shape.thickest:g} mm is thicker than {key} = {radius:g} mm, which is "
                "probably a wrong unit: make the layers thinner or the radius larger, or set thick_wall = "
                "true"
            )
            yield Finding(("shape",), InvalidValue(text, key="layers"))


def _free_axial_motion(
    supports: list[Support], foundations: list[Foundation], inventory: Inventory
) -> Iterator[Finding]:
    """Find out whether nothing fixes the part along its axis."""
    fixed = any(s.fixes_rigid_motion for s in supports) or any(f.direction == "all" for f in foundations)
    if fixed:
        return
    ends = any(name.removeprefix("core_").startswith("end_") for name in inventory.surfaces)
    text = "nothing prevents a rigid motion of the part along its axis: "
    text += "support one end with hold = 'axial', or " if ends else ""
    text += "add a support with region = 'outer' and hold = 'rigid motion', which exerts no force"
    yield Finding((), InvalidValue(text, key="supports"))


def check_comparison(table: ComparisonTable, findings: Findings) -> None:
    """Check how scans are cleaned and what is required of measured parts."""
    with findings.catching("comparison", "cleaning"):
        cleaning_of(table.cleaning)
    for index, requirement in enumerate(table.requirements):
        with findings.catching("comparison", "requirements", index):
            list(limits_of(requirement))
    if table.scanner_uncertainty is not None and table.scanner_uncertainty < 0.0:
        problem = f"{table.scanner_uncertainty:g} mm must be 0 mm or more"
        findings.add(("comparison",), InvalidValue(problem, key="scanner_uncertainty"))
