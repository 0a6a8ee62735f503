# SPDX-License-Identifier: MIT
"""Building the records of a case, and checking what they must agree on; every error is collected.

Rules on values, and on what records must agree on, belong to the records of the geometry and the solver. Here
are those that concern the case file alone, and plausibility.
"""

from collections import Counter
from collections.abc import Iterator
from typing import Any

from annelid.cases.convert.lattice import region_names
from annelid.cases.convert.model import contact_of, material_of, part_of
from annelid.cases.convert.path import stage_of, stepping_of
from annelid.cases.convert.shape import band_of, edge_range, layer_of, meridian_of, mesh_size_of, shape_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.material import PartTable
from annelid.cases.schema.shape import BalloonTable, LayerTable, SleeveTable, TubeTable
from annelid.cases.schema.stage import ElectrodeTable, StageTable
from annelid.cases.validate.crosscheck_lattice import check_lattice, check_making
from annelid.cases.validate.findings import Findings
from annelid.cases.validate.resolved import resolved
from annelid.cases.validate.valid_tables import ValidTables
from annelid.geometry.checks import one_of, usable_name
from annelid.geometry.errors import Finding, InvalidValue, checking
from annelid.geometry.inventory import Inventory
from annelid.geometry.meshing.layout import lay_out
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.shape import Band, Shape, band_findings
from annelid.solver.model import checks
from annelid.solver.model.boundary import Electrode, Foundation, Section, Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.material import Material
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

__all__ = ["CrossCheck"]

_SHEET_TOLERANCE = 0.01  # rounding of a drawing; a wrong count is off by far more
_OPTIONAL = (
    "lattice",
    "end ring",
)  # a lattice that is only printed; rings made of the material of the struts


class CrossCheck:
    """The records of a case, checked one by one and together.

    Attributes:
        case: The case with its defaults filled in, as far as its tables are valid.
        findings: The errors.

    Args:
        raw: The tables as read from the file.
        tables: What of them is valid by itself.
    """

    def __init__(self, raw: dict[str, Any], tables: ValidTables) -> None:
        self._raw = raw
        self.findings = Findings(raw, tables)
        self.shape = self._build_shape(tables.case)
        self._check_sheets(tables.case)
        self.case = resolved(tables.case, self.shape)
        self.size = self._build_size()
        self.inventory = self._build_inventory()
        materials = self._build_materials()
        parts = self._build_parts(materials)
        self._check_parts(parts)
        self._check_electrodes(parts)
        self._check_boundary_and_stages(parts)
        check_lattice(self.case, self.findings, self.shape)
        check_making(self.case, self.findings)
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
            with catching("shape"):  # other values may be wrong too
                shape_of(_with_sound_layers(case))
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
                low, high = edge_range(self.case, self.shape)
                if size.along > high - low:
                    raise InvalidValue(
                        f"{size.along:g} mm is longer than the part: it must be at most {high - low:g} mm",
                        key="along",
                        value=size.along,
                    )
            return size
        return None

    def _build_inventory(self) -> Inventory | None:
        if self.shape is None or self.size is None:
            return None
        with self.findings.catching("shape"):
            return lay_out(self.shape, self.size, (), ()).inventory(self.size.model)
        return None

    # what the part is made of

    def _check_sheets(self, case: Case) -> None:
        """Sheets as the file gives them: a layer has them, and they add up to its thickness."""
        if self.shape is None:
            return
        thickness = {layer.name: layer.thickness for layer in self.shape.layers}
        regions = region_names(case, self.shape)
        for index, part in enumerate(case.parts):
            if part.sheets is None or part.region not in regions:
                continue
            with self.findings.catching("parts", index, "sheets"):
                _check_stack(part, thickness)

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
            _OPTIONAL if self.size is None or self.size.model == "axisymmetric" else ("end ring",)
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
        covered = [(band.name, (band.region,)) for band in bands]
        electrodes = [Electrode(e.name, e.hot_face) for e in case.electrodes]
        solved = self.findings.complete("electrics") and case.electrics.model == "solved"
        self.findings.check(checks.check_electrodes(electrodes, parts, covered, solved))

    # how it is held and loaded

    def _check_boundary_and_stages(self, parts: list[Part]) -> None:
        case, build = self.case, self.findings.records
        supports = build("supports", case.supports, lambda s: Support(s.region, s.hold))
        foundations = build(
            "foundations", case.foundations, lambda f: Foundation(f.region, f.stiffness, f.direction)
        )
        contacts = build("contacts", case.contacts, contact_of)
        sections = build("sections", case.sections, lambda s: Section(s.name, s.at))
        stages = self._build_stages()
        if self.inventory is not None:
            self._check_against_shape(supports, foundations, contacts, sections, stages)
        if self.findings.complete("parts", "materials"):
            self.findings.check(checks.check_weight(stages, [part.material for part in parts]))

    def _build_stages(self) -> list[Stage]:
        stepping = None
        if self.findings.complete("path"):
            with self.findings.catching("path"):
                stepping = stepping_of(self.case)

        def build(table: StageTable) -> Stage:
            stage = stage_of(self.case, table)
            if stepping is not None:
                with checking(f"stage '{stage.name}'"):
                    stepping.check_control(stage.control)
            return stage

        return self.findings.records("stages", self.case.stages if self.case.mesh is not None else (), build)

    def _check_against_shape(
        self,
        supports: list[Support],
        foundations: list[Foundation],
        contacts: list[Contact],
        sections: list[Section],
        stages: list[Stage],
    ) -> None:
        assert self.inventory is not None
        assert self.shape is not None
        found, inventory = self.findings, self.inventory
        found.check(checks.check_surfaces(supports, foundations, contacts, inventory))
        if found.complete("supports", "foundations"):
            found.check(_drifting(supports, foundations, inventory))
        if self.case.making is None and found.complete("making"):
            low, high = edge_range(self.case, self.shape)
            if not self.shape.bands_by_radius:
                found.check(checks.check_sections(sections, (low, high)))
        names = checks.Names(
            self._named("electrodes"),
            self._named("contacts"),
            self._named("sections"),
            tuple(s.region for s in supports if s.can_be_moved)
            if found.complete("supports")
            else self._named("supports", "region"),
        )
        found.check(checks.check_stages(stages, names, inventory))
        if found.complete("supports"):
            found.check(checks.check_lumen(stages, supports, inventory))
            found.check(checks.check_shared_edges(stages, supports, inventory))

    def _named(self, table: str, key: str = "name") -> tuple[str, ...]:
        """Names in a table of the file, also of entries that are invalid."""
        entries = self._raw.get(table, [])
        if not isinstance(entries, list):
            return ()
        return tuple(str(entry[key]) for entry in entries if isinstance(entry, dict) and key in entry)

    def _check_names(self) -> None:
        """Names by which entries are called must be unique."""
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


def _with_sound_layers(case: Case) -> Case:
    layers = (LayerTable.model_construct(name="layer", thickness=1e-3),)
    return case.model_copy(update={"shape": case.shape.model_copy(update={"layers": layers})})


def _thick_wall(case: Case, shape: Shape) -> Iterator[Finding]:
    """A wall thicker than its inner radius is more likely a slip of the unit than meant."""
    if isinstance(case.shape, TubeTable | SleeveTable):
        key = "inner_radius" if isinstance(case.shape, TubeTable) else "core_radius"
        radius = getattr(case.shape, key)
        if shape.thickness > radius:
            text = f"the wall of {shape.thickness:g} mm is thicker than the {key} of {radius:g} mm"
            yield Finding(("shape",), InvalidValue(text, key="layers"))


def _check_stack(part: PartTable, thickness: dict[str, float]) -> None:
    assert part.sheets is not None
    if part.region not in thickness:
        raise InvalidValue(f"'{part.region}' is not a layer and cannot be made of sheets: leave it out")
    given, count, whole = part.sheets.thickness, part.sheets.count, thickness[part.region]
    if given is None or count < 1:
        return
    total = count * given
    if abs(total - whole) > _SHEET_TOLERANCE * whole:
        raise InvalidValue(
            f"{count} sheets of {given:g} mm add up to {total:g} mm, but the layer is {whole:g} mm thick: "
            f"give {whole / count:g} mm, or leave it out",
            key="thickness",
        )


def _drifting(
    supports: list[Support], foundations: list[Foundation], inventory: Inventory
) -> Iterator[Finding]:
    """A part that nothing holds along its axis."""
    held = any(s.fixes_rigid_motion for s in supports) or any(f.direction == "all" for f in foundations)
    if held:
        return
    ends = any(name.removeprefix("core_").startswith("end_") for name in inventory.surfaces)
    text = "nothing prevents a rigid motion of the part along its axis: "
    text += "hold one end (hold = 'axial'), or " if ends else ""
    text += "fix its rigid motions, which takes no force (region = 'outer', hold = 'rigid motion')"
    yield Finding((), InvalidValue(text, key="supports"))
