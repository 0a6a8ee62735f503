# SPDX-License-Identifier: MIT
"""A sleeve given by what is cast, or by what is mounted: the same part, and words for both."""

import copy
import tomllib

import numpy as np
import pytest

from annelid.cases.convert.as_cast import as_cast_lines, cast_layer
from annelid.cases.convert.description import description_of
from annelid.cases.validate.reading import case_from_tables
from annelid.cases.validate.resolved import case_hash, resolved_text
from annelid.geometry.errors import InputError

EPS0 = 8.8541878128e-6  # N/kV², CODATA 2018
MU, PERMITTIVITY = 0.1, 3.0
CAST, HOOP, AXIAL = 0.05, 1.25, 1.6  # mm; the sheets are 25 um thick when they are mounted

TUBE = {
    "title": "A wide free tube",
    "shape": {"kind": "tube", "inner_radius": "50 mm", "length": "2 mm", "layers": [{"name": "wall"}]},
    "mesh": {"along": "2 mm", "through": 1},
    "materials": {
        "rubber": {"law": "neo-hookean", "shear_modulus": f"{MU} MPa", "permittivity": PERMITTIVITY}
    },
    "parts": [{"region": "wall", "material": "rubber"}],
    "supports": [{"region": "end_low", "hold": "axial"}],
    "stages": [{"name": "settle", "steps": 4}],
}
AS_CAST = {"sheets": {"count": 2, "cast_thickness": "50 um"}, "prestretch": {"hoop": HOOP, "axial": AXIAL}}
MOUNTED = {
    "sheets": {"count": 2, "thickness": "25 um"},
    "natural_stretch": {"hoop": 1 / HOOP, "axial": 1 / AXIAL},
}
SLEEVE = {
    "shape": {"kind": "sleeve", "core_radius": "4 mm", "length": "30 mm", "layers": [{"name": "wall"}]},
    "parts": [{"region": "wall", "material": "rubber"}, {"region": "core", "material": "rubber"}],
}


def tables(base=TUBE, **part):
    changed = copy.deepcopy(base)
    changed["parts"][0] |= copy.deepcopy(part)
    return changed


def test_both_notations_are_the_same_case():
    cast = case_from_tables(tables(**AS_CAST))
    mounted = tables(**MOUNTED)
    mounted["shape"]["layers"][0]["thickness"] = "50 um"
    assert cast == case_from_tables(mounted)
    assert case_hash(cast) == case_hash(case_from_tables(mounted))
    assert cast.shape.layers[0].thickness == 0.05
    assert case_from_tables(tomllib.loads(resolved_text(cast))) == cast


def test_numbers_that_do_not_end_are_read_again_as_the_same_case():
    case = case_from_tables(
        tables(sheets={"count": 3, "cast_thickness": "50 um"}, prestretch={"hoop": 1.2, "axial": 0.7})
    )
    assert case_from_tables(tomllib.loads(resolved_text(case))) == case


@pytest.mark.long
@pytest.mark.exact
def test_pull_in_follows_from_the_thickness_as_cast():
    """A free film loses its pre-stretch, and pulls in as cast.

    e² = λ⁻² - λ⁻⁸ is largest at λ = 2^(1/3): V = sqrt(3)/2 2^(-1/3) sqrt(μ/ε) t, Zhao, Suo, Appl. Phys. Lett.
    91, 061921 (2007), from memory; the mean of both faces differs by the square of wall over radius.
    """
    from annelid.cases.convert.body import meshed_part_of
    from annelid.cases.convert.model import model_of
    from annelid.cases.convert.path import stages_of, stepping_of
    from annelid.solver.continuation.path import Path

    limit = np.sqrt(3) / 2 * 2 ** (-1 / 3) * np.sqrt(MU / (EPS0 * PERMITTIVITY)) * CAST
    changed = tables(**AS_CAST)
    changed["electrodes"] = [{"name": "whole", "region": "wall"}]
    changed["path"] = {"harmonics": "none"}  # the film would fold around before
    changed["stages"].append({"name": "pull in", "voltage": f"{1.2 * limit} kV", "steps": 6})
    case = case_from_tables(changed)
    states = []
    path = Path(model_of(case, *meshed_part_of(case)), stages_of(case), stepping=stepping_of(case))
    outcome = path.follow(observe=states.append)
    assert outcome.kind == "limit point", outcome.text
    settled = next(s for s in reversed(states) if s.stage == "settle").quantities
    cast = cast_layer(case, case.parts[0])
    assert settled["mean radial expansion"].value == pytest.approx(cast.inner_radius / 50 - 1, rel=1e-4)
    assert settled["length"].value == pytest.approx(cast.length, rel=1e-4)
    assert settled["minimum wall thickness"].value == pytest.approx(cast.thickness, rel=1e-3)
    assert states[-1].loads["voltage whole"].value == pytest.approx(limit, rel=2e-3)


def test_sizes_as_cast_are_told_with_the_mounted_ones():
    changed = tables(TUBE | SLEEVE, sheets={"count": 4, "cast_thickness": "50 um"}, prestretch={"hoop": 1.2})
    changed["mesh"] = {"along": "10 mm", "through": 1}
    changed["supports"].append({"region": "core_end_low", "hold": "axial"})
    case = case_from_tables(changed)
    (line,) = as_cast_lines(case)
    # The middle surface: (4 mm + 83.33 um) / 1.2, less half of 200 um.
    for words in (
        "wall: pre-stretch: hoop 1.2, axial 1",
        "each sheet as cast 50 µm, mounted 41.67 µm",
        "inner radius as cast 3.303 mm, mounted 4 mm",
        "length as cast 30 mm, mounted 30 mm",
    ):
        assert words in line.replace("\N{NARROW NO-BREAK SPACE}", " ").replace("\N{NO-BREAK SPACE}", " ")
    assert "pressed in" not in line
    assert resolved_text(case).startswith(f"# {line}\n")
    (parts,) = (s for s in description_of(case).statements if s.heading == "Parts")
    assert line.removeprefix("wall: ") in parts.sentences[0]
    assert "pre-stretch" not in parts.sentences[1]


def test_volume_as_cast_is_the_mounted_one():
    """Of the stated sizes: π ((r + t)² - r²) l."""
    case = case_from_tables(tables(**AS_CAST))
    layer = cast_layer(case, case.parts[0])
    t, r, long = layer.thickness, layer.inner_radius, layer.length
    assert ((r + t) ** 2 - r**2) * long == pytest.approx((50.05**2 - 50**2) * 2, rel=1e-9)
    assert (r + t / 2, long) == (pytest.approx(50.025 / HOOP), pytest.approx(2 / AXIAL))


def test_a_part_that_is_pressed_in_is_said_to_be():
    changed = tables(natural_stretch={"hoop": 1.1})
    changed["shape"]["layers"][0]["thickness"] = "100 um"
    (line,) = as_cast_lines(case_from_tables(changed))
    assert "pressed in around: as cast it is 1.1 times as wide as mounted" in line


def test_nothing_is_said_of_parts_without_a_natural_stretch():
    changed = tables(sheets={"count": 2, "cast_thickness": "50 um"})
    case = case_from_tables(changed)
    assert case.shape.layers[0].thickness == 0.1
    assert as_cast_lines(case) == []


REFUSED = {
    "both stretches": (
        {"prestretch": {"hoop": 1.2}, "natural_stretch": {"hoop": 0.9}},
        r"parts\[wall\]\.prestretch: contradicts natural_stretch, its inverse: give prestretch",
    ),
    "both thicknesses": (
        {"sheets": {"count": 2, "cast_thickness": "50 um", "thickness": "40 um"}},
        r"parts\[wall\]\.sheets\.cast_thickness: contradicts thickness, which is that of the mounted sheet",
    ),
    "a stretch out of range": (
        {"prestretch": {"axial": 21}},
        r"parts\[wall\]\.prestretch\.axial: must be at least 0\.05 and at most 20, got 21",
    ),
    "no thickness": (
        {"sheets": {"count": 0, "cast_thickness": "0 um"}},
        "cast_thickness: must be above 0 mm",
    ),
    "an invalid natural stretch": (
        {"sheets": {"count": 2, "cast_thickness": "50 um"}, "natural_stretch": {"hoop": 0.0}},
        r"parts\[wall\]\.natural_stretch\.hoop: must be at least 0\.05 and at most 20, got 0",
    ),
}


@pytest.mark.parametrize("what", REFUSED)
def test_contradictions_are_refused(what):
    part, message = REFUSED[what]
    with pytest.raises(InputError, match=message) as caught:
        case_from_tables(tables(**part) if "sheets" in part else with_layer(part))
    assert len(caught.value.data["problems"]) == 1


def with_layer(part):
    changed = tables(**part)
    changed["shape"]["layers"][0]["thickness"] = "100 um"
    return changed


def test_a_layer_needs_a_thickness():
    with pytest.raises(
        InputError, match=r"shape\.layers\[wall\]\.thickness: missing: expected the mounted thickness"
    ):
        case_from_tables(tables())


def test_sheets_as_cast_that_do_not_fill_the_layer():
    part = AS_CAST | {"sheets": {"count": 2, "cast_thickness": "60 um"}}
    changed = with_layer(part)
    message = (
        r"parts\[wall\]\.sheets\.cast_thickness: 2 sheets of 0\.03 mm \(0\.06 mm as cast\) add up to "
        r"0\.06 mm, but the layer is 0\.1 mm thick: give 0\.1 mm, or remove thickness of the layer"
    )
    with pytest.raises(InputError, match=message):
        case_from_tables(changed)
    changed["parts"][0]["sheets"]["cast_thickness"] = "0.1 mm"
    assert case_from_tables(changed).shape.layers[0].thickness == 0.1
