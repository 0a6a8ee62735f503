# SPDX-License-Identifier: MIT
"""Invalid cases and their messages."""

import copy
import re
import tomllib

import pytest

from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import case_from_tables, find_case, library_cases, read_case
from annelid.geometry.errors import InputError

HELIX = {"pitch": "10 mm", "width": "2 mm"}


def put(value, *keys):
    """Return a change of the tables that sets the entry at a path of keys."""

    def change(tables):
        for key in keys[:-1]:
            tables = tables[key]
        tables[keys[-1]] = value

    return change


def drop(*keys):
    def change(tables):
        for key in keys[:-1]:
            tables = tables[key]
        del tables[keys[-1]]

    return change


def both(*changes):
    def change(tables):
        for single in changes:
            single(tables)

    return change


SLEEVE = {
    "kind": "sleeve",
    "core_radius": "4 mm",
    "length": "20 mm",
    "layers": [{"name": "wall", "thickness": "1 mm"}],
}
HALF = {"kind": "sphere", "radius": "10 mm", "half": True}


def put_margin(limits, seek_limit=2):
    def change(tables):
        tables["path"] = {"seek_limit": seek_limit}
        tables["requirements"] = [{"quantity": "stability margin voltage", **limits}]

    return change


def put_branch(tables):
    tables["path"] = {"beyond_instability": "branch"}
    tables["stages"][0] = {"name": "fill", "volume": "2 mL"}


WRONG = {
    "unknown key": (
        put("20 mm", "shape", "lenght"),
        r"shape\.lenght: unknown key \(did you mean 'length'\?\); allowed here: cap_thickness, ends,",
    ),
    "unknown table": (
        put({}, "meshes"),
        r"meshes: unknown key \(did you mean 'mesh'\?\); allowed here: circuit, comparison, contacts,",
    ),
    "unknown key in a list": (
        put("1", "stages", 0, "presure"),
        r"stages\[fill\]\.presure: unknown key \(did you mean 'pressure'\?\); allowed here: arc,",
    ),
    "missing key": (
        drop("shape", "length"),
        r'shape\.length: missing: expected length along the axis, for example "30 mm"',
    ),
    "missing table": (drop("shape"), "shape: missing: expected the shape as drawn"),
    "accuracy and size": (put("1 %", "mesh", "accuracy"), r"mesh\.accuracy: contradicts along"),
    "accuracy in 3-D": (
        put({"accuracy": "1 %", "model": "solid"}, "mesh"),
        r"mesh\.accuracy: is for axisymmetric models, not for 'solid': give mesh\.along",
    ),
    "accuracy of 0": (
        put({"accuracy": "0 %"}, "mesh"),
        r"mesh\.accuracy: must be at least 0\.0001 and at most 0\.2",
    ),
    "accuracy below 0": (put({"accuracy": "-1 %"}, "mesh"), r"mesh\.accuracy: must be at least 0\.0001"),
    "accuracy too small": (put({"accuracy": 1e-12}, "mesh"), r"mesh\.accuracy: must be at least 0\.0001"),
    "accuracy of everything": (
        put({"accuracy": "100 %"}, "mesh"),
        r"mesh\.accuracy: must be at least 0\.0001",
    ),
    "accuracy as a bare number": (put({"accuracy": 5}, "mesh"), r"mesh\.accuracy: must be at least 0\.0001"),
    "accuracy as a length": (put({"accuracy": "1 mm"}, "mesh"), r"mesh\.accuracy: "),
    "accuracy and pieces": (
        put({"accuracy": "1 %", "divide": 2}, "mesh"),
        r"mesh\.accuracy: contradicts divide",
    ),
    "a size through the wall only": (put({"through": 2}, "mesh"), r"mesh\.along: missing: expected a length"),
    "no sizes in 3-D": (put({"model": "solid"}, "mesh"), r"mesh\.along: missing: expected a length"),
    "edges that miss the end": (
        put({"along": "1 mm", "edges_along": ["0 mm", "7 mm"]}, "mesh"),
        r"edges_along: needs edges at the ends of the part",
    ),
    "bare number": (
        put(4, "shape", "inner_radius"),
        r'shape\.inner_radius: 4 has no unit; write a length, for example "4 mm"',
    ),
    "wrong unit": (
        put("4 N", "shape", "inner_radius"),
        r"shape\.inner_radius: '4 N' is in newton, which cannot be converted to mm; write a",
    ),
    "unknown unit": (
        put("1 kVV", "stages", 1, "voltage", "all"),
        r"stages\[energise\]\.voltage\.all: '1 kVV' has the unknown unit 'kVV'; write a voltage, for",
    ),
    "negative thickness": (
        put("-45 um", "shape", "layers", 0, "thickness"),
        r"shape\.layers\[wall\]\.thickness: must be above 0 mm, got -0\.045 mm \(written as '-45 um'\)",
    ),
    "zero sheets": (
        put(0, "parts", 0, "sheets", "count"),
        r"parts\[wall\]\.sheets\.count: must be a whole number of at least 1, got 0",
    ),
    "half a sheet": (
        put(1.5, "parts", 0, "sheets", "count"),
        r"parts\[wall\]\.sheets\.count: must be a whole number, got 1\.5",
    ),
    "few around": (
        put(3, "mesh", "around"),
        r"mesh\.around: must be a whole number of at least 8, got 3",
    ),
    "unknown kind": (
        put("tub", "shape", "kind"),
        r"shape\.kind: 'tub' is not allowed \(did you mean 'tube'\?\); allowed: tube, tapered tube,",
    ),
    "no kind": (
        drop("shape", "kind"),
        r"shape\.kind: missing; allowed: tube, tapered tube, sleeve, balloon, dome",
    ),
    "unknown law": (
        put("gant", "materials", "rubber", "law"),
        r"materials\.rubber\.law: 'gant' is not allowed \(did you mean 'gent'\?\); allowed:",
    ),
    "unknown word": (
        put("solidd", "mesh", "model"),
        r"mesh\.model: 'solidd' is not allowed \(did you mean 'solid'\?\); allowed: axisymmetric,",
    ),
    "no layers": (put([], "shape", "layers"), r"shape\.layers: needs at least 1 entry, got 0"),
    "a word for a table": (
        put("fine", "mesh"),
        r"mesh: 'fine' is not a table: write \[key\] or \{ key = value \}",
    ),
    "a word for a list": (
        put("end_low", "supports"),
        r"supports: 'end_low' is not a list: write \[\[supports\]\] tables or \[a, b\]",
    ),
    "missing list": (drop("stages"), "stages: missing: expected changes of the loads, in order"),
    "a table for a list": (
        put({"name": "fill"}, "stages"),
        r"stages: \{'name': 'fill'\} is not a list: write",
    ),
    "a number for a list": (put(3, "parts"), r"parts: 3 is not a list: write \[\[parts\]\] tables"),
    "a list for a table": (put([], "materials"), r"materials: \[\] is not a table: write \[key\]"),
    "an empty title": (put("", "title"), "title: must not be empty"),
    "a word for a choice of true or false": (
        put("perhaps", "stages", 0, "backward"),
        r"stages\[fill\]\.backward: must be true or false, got 'perhaps'",
    ),
    "a stage name with a leading blank": (
        put(" fill", "stages", 0, "name"),
        r"stages\[ fill\]\.name: must not be empty, or start or end with a blank, got ' fill'",
    ),
    "a name with a blank": (
        put("a b", "electrodes", 0, "name"),
        r"electrodes\[a b\]\.name: 'a b' is not a name: use letters, digits, _ and -, starting with",
    ),
    "natural stretch": (
        put({"hoop": 0.0}, "parts", 0, "natural_stretch"),
        r"parts\[wall\]\.natural_stretch\.hoop: must be at least 0\.05 and at most 20, got 0",
    ),
    "wall thicker than radius": (
        put("5 mm", "shape", "layers", 0, "thickness"),
        r"shape\.layers: the wall of 5 mm is thicker than inner_radius = 4 mm",
    ),
    "lumen wider than core": (
        put(SLEEVE | {"core_inner_radius": "4 mm"}, "shape"),
        r"shape\.core_inner_radius: must be at least 0 and below 4 mm \(core_radius\), got 4 mm",
    ),
    "caps of an open tube": (
        put("1 mm", "shape", "cap_thickness"),
        r"shape\.cap_thickness: an open tube has no caps",
    ),
    "reserved layer": (
        put("core", "shape", "layers", 0, "name"),
        r"shape\.layers\[core\]\.name: 'core' is a reserved name: choose another",
    ),
    "coarse mesh": (
        put("30 mm", "mesh", "along"),
        r"mesh\.along: 30 mm is longer than the part: it must be at most 20 mm",
    ),
    "flat tetrahedra": (
        put("tetrahedra", "mesh", "cells"),
        r"mesh\.cells: 'tetrahedra' needs the solid or the sector model; an axisymmetric model is",
    ),
    "strength without thickness": (
        put(-0.2, "materials", "rubber", "breakdown_thickness_exponent"),
        r"materials\.rubber\.breakdown_reference_thickness: missing: breakdown_thickness_exponent",
    ),
    "kind of strength": (
        put("8 MPa", "materials", "rubber", "tensile_strength"),
        r"materials\.rubber\.tensile_strength_is: missing: tensile_strength needs it: write 'true' or",
    ),
    "tearing without a stretch": (
        put(1, "materials", "rubber", "tearing_stretch"),
        r"materials\.rubber\.tearing_stretch: must be above 1, got 1",
    ),
    "margin without a limit": (
        put("least tearing margin", "requirements", 0, "quantity"),
        r"requirements\[.*\]\.quantity: 'least tearing margin' is not reported: material 'rubber' gives "
        "neither tearing_stretch nor tensile_strength",
    ),
    "unequal numbers of terms": (
        put(
            {"law": "ogden", "moduli": ["1 MPa"], "exponents": [2, -2], "permittivity": 3},
            "materials",
            "rubber",
        ),
        r"materials\.rubber\.exponents: has 2 entries, moduli has 1",
    ),
    "negative modulus": (
        put(
            {"law": "yeoh", "c1": "-1 kPa", "c2": "1 kPa", "c3": "0 MPa", "permittivity": 3},
            "materials",
            "rubber",
        ),
        r"materials\.rubber: the shear modulus at rest is -0\.002 MPa; it must be above 0 MPa",
    ),
    "unknown region": (
        put("wal", "parts", 0, "region"),
        r"parts\[wal\]\.region: 'wal' is not a region of this shape \(did you mean 'wall'\?\); allowed:",
    ),
    "region without a part": (put(SLEEVE, "shape"), "parts: missing: the part of region 'core'"),
    "unknown material": (
        put("ruber", "parts", 0, "material"),
        r"parts\[wall\]\.material: 'ruber' is not a material \(did you mean 'rubber'\?\); allowed:",
    ),
    "sheets do not fill the layer": (
        put({"count": 3, "thickness": "50 um"}, "parts", 0, "sheets"),
        r"parts\[wall\]\.sheets\.thickness: 3 sheets of 0\.05 mm add up to 0\.15 mm, but the layer is",
    ),
    "sheets of a core": (
        both(
            put(SLEEVE, "shape"),
            lambda t: t["parts"].append({"region": "core", "material": "rubber", "sheets": {"count": 2}}),
        ),
        r"parts\[core\]\.sheets: 'core' is not a layer and cannot have sheets: remove sheets",
    ),
    "overlapping electrodes": (
        put("7 mm", "electrodes", 1, "from"),
        r"electrodes\[high\]\.from: 7 mm overlaps electrode 'low', which covers 2 to 8 mm of the",
    ),
    "electrode beyond the end": (
        put("21 mm", "electrodes", 1, "to"),
        r"electrodes\[high\]\.to: must be at least 0 and at most 20 mm \(where the layers are\), got",
    ),
    "electrode upside down": (
        put("1 mm", "electrodes", 0, "to"),
        r"electrodes\[low\]\.to: must be above 2 mm \(from\), got 1 mm",
    ),
    "angles in an axisymmetric model": (
        put(["-30 deg", "30 deg"], "electrodes", 0, "angles"),
        r"electrodes\[low\]\.angles: an axisymmetric model is the same .* 'solid', or leave out angles",
    ),
    "helix in an axisymmetric model": (
        put(HELIX, "electrodes", 0, "helix"),
        r"electrodes\[low\]\.helix: an axisymmetric model is the same .* 'solid', or leave out helix",
    ),
    "helix in a sector": (
        both(put("sector", "mesh", "model"), put(HELIX, "electrodes", 0, "helix")),
        r"electrodes\[low\]\.helix: the symmetry planes of a sector would mirror the helix: choose",
    ),
    "solved helix": (
        both(
            put("solid", "mesh", "model"),
            put(1, "parts", 0, "sheets", "count"),
            put({"model": "solved"}, "electrics"),
            put(HELIX, "electrodes", 0, "helix"),
        ),
        r"electrodes\[low\]\.helix: a helix has stepped edges, at which no fringe field can be solved",
    ),
    "angles against the planes of a sector": (
        both(
            put("sector", "mesh", "model"),
            put("180 deg", "mesh", "sector"),
            put(["0 deg", "30 deg"], "electrodes", 0, "angles"),
        ),
        r"electrodes\[low\]\.angles: 0 to 30 degrees contradicts the symmetry planes of a sector of",
    ),
    "angles that a plane of a sector repeats": (
        both(
            put("sector", "mesh", "model"),
            put("90 deg", "mesh", "sector"),
            put(["-30 deg", "30 deg"], "electrodes", 0, "angles"),
        ),
        r"electrodes\[low\]\.angles: -30 to 30 degrees contradicts the symmetry planes of a sector of 90",
    ),
    "angles that descend": (
        put(["30 deg", "-30 deg"], "electrodes", 0, "angles"),
        r"electrodes\[low\]\.angles: must ascend and cover less than a full turn, got 30 to -30 degrees",
    ),
    "angles and a helix": (
        both(
            put(["-30 deg", "30 deg"], "electrodes", 0, "angles"),
            put(HELIX, "electrodes", 0, "helix"),
        ),
        r"electrodes\[low\]\.angles: cannot be combined with a helix: leave one of them out",
    ),
    "helix wider than its pitch": (
        put({"pitch": "2 mm", "width": "2 mm"}, "electrodes", 0, "helix"),
        r"electrodes\[low\]\.helix\.width: must be above 0 and below 2 mm",
    ),
    "electrode in no layer": (
        put("core", "electrodes", 0, "region"),
        r"electrodes\[low\]\.region: 'core' is not a layer of this shape; allowed: wall",
    ),
    "electrode called all": (
        put("all", "electrodes", 0, "name"),
        r"electrodes\[all\]\.name: 'all' is a reserved name: choose another",
    ),
    "no permittivity": (
        drop("materials", "rubber", "permittivity"),
        r"materials\.rubber\.permittivity: missing: electrode 'low' is in this material",
    ),
    "solved with a stack": (
        put({"model": "solved"}, "electrics"),
        r"parts\[wall\]\.sheets\.count: must be 1, got 4: with electrics\.model = 'solved' each sheet",
    ),
    "unknown surface": (
        put("end_left", "supports", 0, "region"),
        r"supports\[end_left\]\.region: 'end_left' is not a surface of this shape \(did you mean",
    ),
    "unknown surface of a foundation": (
        put([{"region": "outside", "stiffness": "1 kPa/mm"}], "foundations"),
        r"foundations\[outside\]\.region: 'outside' is not a surface of this shape \(did you mean",
    ),
    "drifting part": (
        both(put("radial", "supports", 0, "hold"), put("radial", "supports", 1, "hold")),
        "supports: nothing prevents a rigid motion of the part along its axis: support one end",
    ),
    "plate against a supported edge": (
        both(
            put(SLEEVE, "shape"),
            lambda t: t["parts"].append({"region": "core", "material": "rubber"}),
            lambda t: t["supports"].append({"region": "core_end_high", "hold": "plate"}),
        ),
        r"supports\[core_end_high\]\.hold: the plate shares an edge with 'end_high', which is held",
    ),
    "open lumen": (
        drop("supports", 1),
        r"stages\[fill\]\.pressure: the lumen is open at 'end_high', free along the axis, so the",
    ),
    "section outside": (
        put("25 mm", "sections", 0, "at"),
        r"sections\[middle\]\.at: must be at least 0 and at most 20 mm \(where the inner surface is\),",
    ),
    "unknown electrode": (
        put({"ring": "1 kV"}, "stages", 1, "voltage"),
        r"stages\[energise\]\.voltage\.ring: 'ring' is not an electrode; allowed: low, high",
    ),
    "no electrodes": (
        put([], "electrodes"),
        r"stages\[energise\]\.voltage\.all: 'all' is not an electrode; allowed: there are none",
    ),
    "pressure and volume": (
        put("2 mL", "stages", 0, "volume"),
        r"stages\[fill\]\.pressure: under volume control the pressure is found: leave it out",
    ),
    "control without volume": (
        put("volume", "stages", 0, "control"),
        r"stages\[fill\]\.control: 'volume' needs its target: volume",
    ),
    "two targets": (
        lambda t: t["stages"][0].update(volume="40 mL", arc="2 mm"),
        r"stages\[fill\]\.arc: volume and arc both drive the stage: give one of them",
    ),
    "arc without loads": (
        lambda t: t["stages"].append({"name": "bare", "arc": "2 mm"}),
        r"stages\[bare\]\.control: 'arc' scales the loads of the stage: name at least one \(pressure,",
    ),
    "backward without arc": (
        put(True, "stages", 0, "backward"),
        r"stages\[fill\]\.backward: only an arc can start backward: leave it out",
    ),
    "end at an unknown quantity": (
        put([{"quantity": "breakdown margn", "at_most": 1.5}], "stages", 1, "until"),
        r"stages\[energise\]\.until\[breakdown margn\]\.quantity: 'breakdown margn' is not a quantity that",
    ),
    "end at a limit in a wrong unit": (
        put([{"quantity": "peak stress", "at_least": "2 kV"}], "stages", 0, "until"),
        r"stages\[fill\]\.until\[peak stress\]\.at_least: .* write a limit such as '0\.5 MPa'",
    ),
    "end without a limit": (
        put([{"quantity": "peak stress"}], "stages", 0, "until"),
        r"stages\[fill\]\.until\[peak stress\]: has no limit: give at_least or at_most",
    ),
    "end at a limit of another stage": (
        put([{"quantity": "peak stress", "at_least": "2 MPa", "stage": "fill"}], "stages", 0, "until"),
        r"stages\[fill\]\.until\[peak stress\]\.stage: unknown key; allowed here: at_least, at_most,",
    ),
    "end at a stability margin": (
        put([{"quantity": "stability margin voltage", "at_most": 1.5}], "stages", 1, "until"),
        r"stages\[energise\]\.until\[stability margin voltage\]\.quantity: .* is searched at the end of",
    ),
    "end at a count": (
        put([{"quantity": "unstable modes", "at_least": 1}], "stages", 1, "until"),
        r"until\[unstable modes\]\.quantity: 'unstable modes' is a count, .* path\.beyond_instability",
    ),
    "tolerance of an end": (
        both(
            put([{"quantity": "peak stress", "at_least": "2 MPa"}], "stages", 0, "until"),
            put(0.5, "stages", 0, "until_tolerance"),
        ),
        r"stages\[fill\]\.until_tolerance: must be at least 1e-08 and at most 0\.1, got 0\.5",
    ),
    "tolerance without an end": (
        put(0.01, "stages", 0, "until_tolerance"),
        r"stages\[fill\]\.until_tolerance: needs until, the limits",
    ),
    "opening of no section": (
        lambda t: t["stages"].append({"name": "open", "pressure": "1 kPa", "opening": {"nowhere": "5 mm"}}),
        r"stages\[open\]\.opening\.nowhere",
    ),
    "charge on no electrode": (
        lambda t: t["stages"].append({"name": "load", "charge": {"nothing": "1 uC"}}),
        r"stages\[load\]\.charge\.nothing",
    ),
    "obstacle that is no contact": (
        put({"wall": "3 mm"}, "stages", 0, "obstacle"),
        r"stages\[fill\]\.obstacle\.wall",
    ),
    "contact on no surface": (
        put([{"name": "rod", "surface": "inside", "kind": "cylinder", "radius": "3 mm"}], "contacts"),
        r"contacts\[rod\]\.surface",
    ),
    "point of three coordinates in a plane": (
        lambda t: t["stages"].append(
            {
                "name": "pull",
                "pressure": "1 kPa",
                "point": {"at": ["4 mm", "0 mm", "1 mm"], "motion": "1 mm"},
            }
        ),
        r"stages\[pull\]\.point\.at: must have 2 coordinates",
    ),
    "pressure without lumen": (
        both(put(SLEEVE, "shape"), lambda t: t["parts"].append({"region": "core", "material": "rubber"})),
        r"stages\[fill\]\.pressure: this shape has no lumen to fill",
    ),
    "force on no surface": (
        put({"rim": "1 N"}, "stages", 0, "force"),
        r"stages\[fill\]\.force\.rim: 'rim' is not a surface of this shape; allowed: lumen, outer, end_low",
    ),
    "move of a free end": (
        put({"outer": "1 mm"}, "stages", 0, "move"),
        r"stages\[fill\]\.move\.outer: 'outer' is not a support that holds the axial motion; allowed:",
    ),
    "same name twice": (
        put("fill", "stages", 1, "name"),
        "stages: 'fill' appears 2 times; names must be unique",
    ),
    "unknown quantity": (
        put("braekdown margin", "requirements", 0, "quantity"),
        r"requirements\[braekdown margin\]\.quantity: 'braekdown margin' is not a quantity that this",
    ),
    "no limit": (
        drop("requirements", 0, "at_least"),
        r"requirements\[radial expansion middle\]: has no limit",
    ),
    "limit in a wrong unit": (
        put("2 MPa", "requirements", 0, "at_least"),
        r"requirements\[radial expansion middle\]\.at_least: '2 MPa' is in megapascal, which cannot",
    ),
    "limit without a unit": (
        put([{"quantity": "peak stress", "at_most": 2}], "requirements"),
        r"requirements\[peak stress\]\.at_most: 2 has no unit; write a limit such as '0\.5 MPa'",
    ),
    "limit that is no quantity": (
        put(True, "requirements", 0, "at_most"),
        r"at_most: True must be a text with a unit",
    ),
    "unknown stage": (
        put("filling", "requirements", 0, "stage"),
        r"requirements\[radial expansion middle\]\.stage: 'filling' is not a stage \(did you mean",
    ),
    "branch under a prescribed volume": (
        put_branch,
        r"stages\[fill\]\.control: under volume control the loads are found, but",
    ),
    "margin that is not searched": (
        put([{"quantity": "stability margin voltage", "at_least": 1.3}], "requirements"),
        r"requirements\[stability margin voltage\]\.quantity: needs path\.seek_limit above 1, the multiple",
    ),
    "margin without a search": (
        put_margin({"at_least": 1.3}, seek_limit=1),
        r"requirements\[stability margin voltage\]\.quantity: needs path\.seek_limit above 1, the multiple",
    ),
    "margin beyond the limit of the search": (
        put_margin({"at_least": 3}),
        r"requirements\[stability margin voltage\]\.at_least: is above path\.seek_limit = 2: increase",
    ),
    "margin at an earlier stage": (
        put_margin({"at_least": 1.3, "stage": "fill"}),
        r"requirements\[stability margin voltage\]\.stage: margins are searched from the last state",
    ),
    "no such contour": (
        put({"kind": "balloon", "meridian": {"kind": "file", "path": "no.csv"}, "layers": []}, "shape"),
        r"shape\.meridian\.path: no\.csv: cannot be read \(No such file or directory\)",
    ),
}


@pytest.mark.parametrize("what", WRONG)
def test_message_names_key_value_and_range(tables, what):
    change, message = WRONG[what]
    change(tables)
    with pytest.raises(InputError, match=message):
        case_from_tables(tables)


def test_the_unchanged_case_is_valid(tables):
    assert case_from_tables(tables).title == "A plain tube"


def test_all_errors_are_reported_at_once(tables):
    tables["shape"]["length"] = 20
    tables["mesh"]["along"] = "2 N"
    with pytest.raises(
        InputError,
        match=r"mesh\.along: '2 N' is in newton, which cannot be converted to mm; write a length, for",
    ) as caught:
        case_from_tables(tables, source="mine.toml")
    assert [line.split(":")[0] for line in caught.value.data["problems"]] == ["shape.length", "mesh.along"]


def test_list_with_an_invalid_entry_is_not_called_empty(tables):
    tables["stages"] = [{"name": "fill", "presure": "3 mmHg"}]
    with pytest.raises(
        InputError,
        match=r"stages\[fill\]\.presure: unknown key \(did you mean 'pressure'\?\); allowed here: arc,",
    ) as caught:
        case_from_tables(tables)
    assert [line.split(":")[0] for line in caught.value.data["problems"]] == ["stages[fill].presure"]
    tables["stages"] = []
    with pytest.raises(InputError, match=r"stages: needs at least 1 entry, got 0"):
        case_from_tables(tables)


def test_unnamed_entries_are_reported_by_their_number(tables):
    del tables["stages"][1]["name"]
    tables["stages"][1]["steps"] = 0
    with pytest.raises(InputError, match=r"stages\[#2\]\.steps"):
        case_from_tables(tables)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (
            b"title = 'a'\n[shape\n",
            r"case\.toml: is not valid TOML: .*line 2",
        ),
        (
            b"title = '\xff'",
            r"case\.toml: is not a UTF-8 text file",
        ),
    ],
)
def test_unreadable_files_are_reported(tmp_path, content, message):
    (tmp_path / "case.toml").write_bytes(content)
    with pytest.raises(InputError, match=message):
        read_case(tmp_path / "case.toml")


def test_a_missing_file_is_reported():
    with pytest.raises(
        InputError, match=r"no_such\.toml: does not exist, and there is no library case of that name;"
    ):
        find_case("no_such.toml")
    with pytest.raises(
        InputError, match=r"no library case of that name \(did you mean 'cuff'\?\); library cases:"
    ):
        find_case("cuf")
    with pytest.raises(InputError, match="cannot be read"):
        read_case("no_such.toml")


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("radius_mm\n3\n", "missing: height_mm; expected the columns radius_mm, height_mm"),
        ("", "missing: radius_mm, height_mm"),
    ],
)
def test_a_contour_without_columns_is_refused(tables, tmp_path, content, message):
    (tmp_path / "contour.csv").write_text(content)
    meridian = {"kind": "file", "path": "contour.csv"}
    tables["shape"] = {"kind": "balloon", "meridian": meridian, "layers": tables["shape"]["layers"]}
    with pytest.raises(InputError, match=message):
        case_from_tables(tables, folder=tmp_path)


def test_invalid_contour_number_is_reported_with_its_row(tables, tmp_path):
    (tmp_path / "contour.csv").write_text("radius_mm,height_mm\n3,0\n3,x\n3,4\n3,6\n")
    meridian = {"kind": "file", "path": "contour.csv"}
    tables["shape"] = {"kind": "balloon", "meridian": meridian, "layers": tables["shape"]["layers"]}
    with pytest.raises(
        InputError,
        match=r"shape\.meridian\.path: .*contour\.csv, line 3: height_mm: 'x' is not a number",
    ):
        case_from_tables(tables, folder=tmp_path)


def test_stages_that_do_not_fit_the_shape_are_refused(tables):
    tables["supports"].append({"region": "outer", "hold": "all"})
    tables["stages"] = [{"name": "pull", "move": {"end_high": "1 mm"}}]
    with pytest.raises(InputError, match="supports 'end_high' and 'outer' share an edge"):
        case_from_tables(tables)


def test_case_unfit_for_its_mesh_writes_nothing(tables, tmp_path):
    tables["supports"] = [{"region": "outer", "hold": "symmetric"}]
    tables["mesh"] |= {"model": "sector", "sector": "90 deg", "around": 8}
    tables["stages"] = [{"name": "rest"}]
    tables["requirements"] = []
    case = case_from_tables(tables)
    with pytest.raises(InputError, match="'symmetric' needs a plane surface"):
        run_case(case, tmp_path / "run")
    assert not (tmp_path / "run").exists()


UNUSUAL = (-1, 0, 2.5, True, "x", "-5 mm", "1e300 mm", "5 kV", [], {"a": 1}, [["a"]], None)


def entries(tables, keys=()):
    """Yield the path of every entry of nested tables."""
    if keys:
        yield keys
    items = (
        tables.items() if isinstance(tables, dict) else enumerate(tables) if isinstance(tables, list) else ()
    )
    for key, value in items:
        yield from entries(value, (*keys, key))


@pytest.mark.parametrize("name", ["cuff", pytest.param("lattice_balloon", marks=pytest.mark.long)])
def test_unusual_values_give_a_message(name):
    path = library_cases()[name]
    tables = tomllib.loads(path.read_text())
    messages = []
    for keys in entries(tables):
        for value in UNUSUAL:
            changed = copy.deepcopy(tables)
            (drop(*keys) if value is None else put(value, *keys))(changed)
            try:
                case_from_tables(changed, folder=path.parent)
            except InputError as error:
                messages.append(error.message)
    assert len(messages) > 200
    assert not [text for text in messages if re.search("Traceback|object at 0x|None", text)]
