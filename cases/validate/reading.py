# SPDX-License-Identifier: MIT
"""Reading a case file into a resolved case, or into one error that lists everything that is wrong."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from annelid.cases.convert.outer_face import with_outer_face
from annelid.cases.schema.case import Case
from annelid.cases.schema.units import UnitsRead, units_read
from annelid.cases.validate.crosscheck import CrossCheck
from annelid.cases.validate.file_lookup import find_file
from annelid.cases.validate.messages import messages_of
from annelid.cases.validate.requirements import check_requirements, resolved_requirements
from annelid.cases.validate.toml_files import check_tables, read_toml
from annelid.cases.validate.valid_tables import ValidTables, valid_tables
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.measured_surface import read_radial_surface
from annelid.geometry.meshing.imperfection import MODE_COLUMNS
from annelid.geometry.shapes.spline_meridian import COLUMNS
from annelid.geometry.shapes.thickness_map import read_thickness_map
from annelid.geometry.text_files import read_columns
from annelid.solver.model.loads import LOAD_KINDS

__all__ = ["LIBRARY", "case_from_tables", "find_case", "library_cases", "read_case"]

LIBRARY = Path(__file__).parents[1] / "library"


def library_cases() -> dict[str, Path]:
    """Return the files of the library cases by name."""
    return {path.stem: path for path in sorted(LIBRARY.glob("*.toml"))}


def find_case(name: str) -> Path:
    """Return the file of a case, which is given by its path or by the name of a library case.

    Raises:
        InputError: There is no such file and no such library case.
    """
    return find_file(name, library_cases(), "case")


def read_case(path: Path | str) -> Case:
    """Read, check and resolve a case file.

    Raises:
        InputError: The file cannot be read, or it has errors; the message has one line for each.
    """
    path = Path(path)
    return case_from_tables(read_toml(path), source=str(path), folder=path.parent)


def case_from_tables(tables: Mapping[str, Any], *, source: str = "case", folder: Path = Path()) -> Case:
    """Check and resolve a case given as nested tables.

    Args:
        tables: The tables as a TOML reader returns them.
        source: Name of the file, for messages.
        folder: Folder of the files that the case names.

    Raises:
        InputError: The case has errors; the message has one line for each.
    """
    check_tables(dict(tables), source)
    raw = _with_waves(_with_radii(_with_points(dict(tables), folder), folder), folder)
    raw = _with_mode(_with_thicknesses(raw, folder), folder)
    messages: list[str] = []
    with units_read() as units:
        try:
            valid = ValidTables(with_outer_face(Case.model_validate(raw)), {}, set())
        except ValidationError as error:
            messages, valid = messages_of(error, raw), valid_tables(raw)
        check = CrossCheck(raw, valid)
        check_requirements(check.case, check.findings)
        messages += check.findings.messages
        if messages:
            raise _input_error(source, messages)
        case = resolved_requirements(check.case)
    return _with_units(case, units)


def _with_units(case: Case, units: UnitsRead) -> Case:
    """Set the units of the report: those that the case names, else those that it uses most."""
    chosen = case.output.units or units.chosen()
    return case.model_copy(update={"output": case.output.model_copy(update={"units": chosen})})


def _input_error(source: str, lines: list[str]) -> InputError:
    head = f"{source}: {len(lines)} error{'s' if len(lines) > 1 else ''}"
    return InputError("\n".join([head, *(f"  {line}" for line in lines)]), problems=lines)


def _with_points(tables: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Replace the file of a contour by its points, so that the case needs no other file."""
    meridian = _file_table(tables, "shape", "meridian")
    if meridian is None:
        return tables
    with _companion("shape.meridian.path"):
        radius, height = read_columns(folder / meridian["path"], COLUMNS).T
    points = {"kind": "points", "radius": _in_mm(radius), "height": _in_mm(height)}
    return _with(tables, "shape", "meridian", points)


def companion_files(path: Path) -> list[Path]:
    """Return the files that a case file refers to."""

    def names(value: Any) -> Iterator[str]:
        if isinstance(value, dict):
            if "path" in value and "file" in (value.get("kind"), value.get("form")):
                yield str(value["path"])
            value = list(value.values())
        for inner in value if isinstance(value, list) else ():
            yield from names(inner)

    return [path.parent / name for name in names(read_toml(path))]


def _with_radii(tables: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Replace the file of a measured surface by its radii, so that the case needs no other file."""
    measured = _file_table(tables, "lattice", "measured")
    if measured is None:
        return tables
    with _companion("lattice.measured.path"):
        surface = read_radial_surface(folder / measured["path"])
    grid = {
        "kind": "grid",
        "heights": _in_mm(surface.heights),
        "radii": [_in_mm(row) for row in surface.radii],
    }
    return _with(tables, "lattice", "measured", grid)


def _with_thicknesses(tables: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Replace the files of thicknesses of layers by their values, so that the case needs no other file."""
    shape = tables.get("shape")
    layers = shape.get("layers") if isinstance(shape, dict) else None
    if not isinstance(shape, dict) or not isinstance(layers, list):
        return tables
    read: list[Any] = []
    for layer in layers:
        wanted = _file_table({"layer": layer}, "layer", "thickness_map")
        if wanted is not None:
            key = f"shape.layers[{layer.get('name', f'#{len(read) + 1}')}].thickness_map.path"
            with _companion(key):
                column, found = read_thickness_map(folder / wanted["path"])
                right = "radius_mm" if shape.get("kind") == "dome" else "height_mm"
                if column != right:
                    text = f"has the column {column}, but the thickness of this shape is given over {right}"
                    raise InputError(f"{wanted['path']}: {text}", key=key)
            rows = [[f"{1e3 * value:.12g} um" for value in row] for row in found.values]
            grid = {"kind": "grid", "places": _in_mm(found.places), "thicknesses": rows}
            layer = _with({"layer": layer}, "layer", "thickness_map", grid)["layer"]
        read.append(layer)
    return tables | {"shape": shape | {"layers": read}}


def _with_mode(tables: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Replace the file of an imperfection by its values, so that the case needs no other file."""
    imperfection = _file_table({"case": tables}, "case", "imperfection")
    if imperfection is None:
        return tables
    with _companion("imperfection.path"):
        radius, height, *mode = read_columns(folder / imperfection["path"], MODE_COLUMNS).T
    points = {"kind": "points", "radius": _in_mm(radius), "height": _in_mm(height)}
    points |= {key: values.tolist() for key, values in zip(MODE_COLUMNS[2:], mode, strict=True)}
    return _with({"case": tables}, "case", "imperfection", points)["case"]


def _with_waves(tables: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Replace the files of waves by their points, so that the case needs no other file."""
    stages = tables.get("stages")
    if not isinstance(stages, list):
        return tables
    return tables | {"stages": [_with_wave_points(n, stage, folder) for n, stage in enumerate(stages)]}


def _with_wave_points(number: int, stage: Any, folder: Path) -> Any:
    waves = stage.get("waves") if isinstance(stage, dict) else None
    if not isinstance(waves, list):
        return stage
    read = []
    for wave in waves:
        if isinstance(wave, dict) and wave.get("form") == "file" and isinstance(wave.get("path"), str):
            kind = next(
                (kind for kind in LOAD_KINDS if kind.key == wave.get("load", "voltage")), LOAD_KINDS[0]
            )
            columns = ("time [s]", f"{kind.key} [{kind.unit}]")
            with _companion(f"stages[{number}].waves.path"):
                points = read_columns(folder / wave["path"], columns)
            kept = {key: value for key, value in wave.items() if key not in ("form", "path")}
            times, values = points.T.tolist()
            wave = {
                "form": "table",
                "times": [f"{t!r} s" for t in times],
                "values": [f"{value!r} {kind.unit}" for value in values],
            } | kept
        read.append(wave)
    return stage | {"waves": read}


def _file_table(tables: dict[str, Any], outer: str, inner: str) -> dict[str, Any] | None:
    """Return the table ``inner`` of ``outer`` if it names a file; the schema reports invalid tables."""
    outer_table = tables.get(outer)
    table = outer_table.get(inner) if isinstance(outer_table, dict) else None
    if not isinstance(table, dict) or table.get("kind") != "file" or not isinstance(table.get("path"), str):
        return None
    return table


def _with(tables: dict[str, Any], outer: str, inner: str, content: dict[str, Any]) -> dict[str, Any]:
    """Return the tables with the content of a file instead of its path; other keys of the table stay."""
    kept = {key: value for key, value in tables[outer][inner].items() if key not in ("kind", "path")}
    return tables | {outer: tables[outer] | {inner: content | kept}}


@contextmanager
def _companion(key: str) -> Iterator[None]:
    """Add the key that names a file to the errors of reading it."""
    try:
        yield
    except InputError as error:
        text = f"{key}: {error.message}; paths are relative to the case file"
        raise InputError(text, key=key, **{k: v for k, v in error.data.items() if k != "key"}) from None


def _in_mm(lengths: FloatArray) -> list[str]:
    return [f"{length} mm" for length in lengths]
