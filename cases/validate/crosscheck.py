# SPDX-License-Identifier: MIT
"""Building the records of a case and checking them against each other; all errors are collected.

The records of the geometry and the solver check their own values and their consistency. This module adds the
checks of the case file itself and of plausibility.
"""

from collections import Counter
from collections.abc import Iterator
from typing import Any

from annelid.cases.convert.fabrication import settings_of
from annelid.cases.convert.flow import flow_of
from annelid.cases.convert.lattice import region_names
from annelid.cases.convert.model import material_of, part_of
from annelid.cases.convert.path import stage_of, stepping_of
from annelid.cases.convert.shape import band_of, edge_range
from annelid.cases.schema.case import Case
from annelid.cases.schema.material import PartTable
from annelid.cases.schema.stage import ElectrodeTable, StageTable
from annelid.cases.validate.crosscheck_boundary import Boundary, build_boundary, check_boundary, check_stages
from annelid.cases.validate.crosscheck_comparison import check_comparison
from annelid.cases.validate.crosscheck_flow import check_flow_tables, check_fluid
from annelid.cases.validate.crosscheck_lattice import check_lattice, check_making
from annelid.cases.validate.crosscheck_shape import build_shape, build_size, check_imperfection
from annelid.cases.validate.findings import Findings
from annelid.cases.validate.mounting import check_stack, mounted
from annelid.cases.validate.resolved import resolved
from annelid.cases.validate.valid_tables import ValidTables
from annelid.geometry.checks import one_of, usable_name
from annelid.geometry.errors import Finding, InvalidValue, checking
from annelid.geometry.inventory import Inventory
from annelid.geometry.meshing.band_placement import placement_findings
from annelid.geometry.meshing.layout import lay_out
from annelid.geometry.shapes.band import Band, band_findings
from annelid.geometry.shapes.shape import Shape
from annelid.solver.model import checks
from annelid.solver.model.boundary import Electrode
from annelid.solver.model.flow_checks import check_flow_parts, check_flow_stages
from annelid.solver.model.fold_checks import check_folds
from annelid.solver.model.material import Material
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

__all__ = ["CrossCheck"]

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
        self.shape = build_shape(case, self.findings)
        self._check_sheets(case)
        self.case = resolved(case, self.shape)
        self.size = build_size(self.case, self.shape, self.findings)
        self.inventory = self._build_inventory()
        materials = self._build_materials()
        parts = self._build_parts(materials)
        self._check_parts(parts)
        self._check_electrodes(parts)
        self._check_boundary_and_stages(parts)
        if self.shape is not None and self.size is not None:
            check_imperfection(self.case, self.shape, self.size, self.findings)
        check_lattice(self.case, self.findings, self.shape)
        check_making(self.case, self.findings)
        if self.findings.complete("fabrication"):
            with self.findings.catching("fabrication"):
                settings_of(self.case)
        if self.case.comparison is not None and self.findings.complete("comparison"):
            check_comparison(self.case.comparison, self.findings)
        self._check_names()

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
        case, findings = self.case, self.findings
        boundary = build_boundary(case, findings)
        stages = self._build_stages()
        self._check_flow(boundary, stages)
        if self.inventory is not None:
            assert self.shape is not None
            check_boundary(boundary, self.inventory, findings)
            if case.making is None and findings.complete("making") and not self.shape.bands_by_radius:
                findings.check(checks.check_sections(boundary.sections, edge_range(case, self.shape)))
            check_stages(stages, boundary, parts, case, self.inventory, findings)
            if findings.complete("stages"):
                findings.check(self._check_folds(parts, self.shape, self.inventory))
        if findings.complete("parts", "materials"):
            findings.check(checks.check_weight(stages, [part.material for part in parts]))

    def _check_folds(self, parts: list[Part], shape: Shape, inventory: Inventory) -> Iterator[Finding]:
        """Check that walls that carry no compression are thin, and that the model can fold them."""
        radius = shape.slenderness * shape.thinnest
        return check_folds(
            parts,
            inventory,
            charged=self._charged(),
            slenderness={layer.name: radius / layer.thinnest for layer in shape.layers},
            lattice=self.case.lattice is not None,
        )

    def _charged(self) -> bool:
        """Whether charges are prescribed or fed in a layered model."""
        case = self.case
        return case.electrics.model == "layered" and bool(case.feeds or any(s.charge for s in case.stages))

    def _check_flow(self, boundary: Boundary, stages: list[Stage]) -> None:
        """Check the circuit, the fluid and the feeds, with the part and the stages."""
        case, findings = self.case, self.findings
        findings.check(check_flow_tables(case))
        if not findings.complete("circuit", "fluid", "feeds", "electrodes", "materials", "parts"):
            return
        with findings.catching():
            flow = flow_of(case)
            if self.inventory is not None and findings.complete("supports", "contacts"):
                names, supports = findings.named("electrodes"), boundary.supports
                findings.check(check_flow_parts(flow, names, supports, boundary.contacts, self.inventory))
            if findings.complete("stages", "mesh"):
                findings.check(check_flow_stages(stages, flow))
        if self.shape is not None and self.size is not None:
            findings.check(check_fluid(case, self.shape))

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
            for name, count in Counter(self.findings.named(table, key)).items():
                if count > 1:
                    error = InvalidValue(f"'{name}' appears {count} times; names must be unique")
                    self.findings.add((table,), error)


def _stepped_edges(bands: list[Band]) -> Iterator[Finding]:
    """Refuse a helix whose fringe field is solved: the edges of its whole elements are longer than drawn."""
    for index, band in enumerate(bands):
        if band.helix is not None:
            text = "a helix has stepped edges, at which no fringe field can be solved: choose electrics.model"
            error = InvalidValue(f"{text} = 'layered'", key="helix", subject=f"electrode '{band.name}'")
            yield Finding(("electrodes", index), error)
