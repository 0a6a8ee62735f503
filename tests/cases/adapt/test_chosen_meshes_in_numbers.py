# SPDX-License-Identifier: MIT
"""Estimated errors against true ones, of tubes whose exact solution is known, on meshes of one column.

Sources: thick tubes as in ``exact.tube``; the largest voltage of a free tube whose nominal field is uniform
as in ``exact.dielectric``.
"""

from functools import cache

import numpy as np
import pytest
from exact import dielectric, tube
from scipy.optimize import minimize_scalar

from annelid.cases.adapt.goals import LIMIT_LOAD, Goal
from annelid.cases.adapt.judging import judged_mesh
from annelid.cases.validate.reading import case_from_tables

A, B, LENGTH, MU = 2.0, 3.0, 2.0, 0.1  # mm, MPa
STRETCH = 1.4  # of the inner face
PRESSURE = tube.neo_hookean_pressure(MU, A, B, STRETCH, 1.0)
OUTER = float(tube.radius(B, A, STRETCH, 1.0))
EPS = 2.8 * 8.8541878128e-6  # N/kV²


def errors_of(stage, *names, voltage=False, high="axial", **more):
    """Estimated errors of quantities of a tube with one column of two elements at the end of a stage."""
    tables = {
        "title": "A thick tube",
        "shape": {
            "kind": "tube",
            "inner_radius": f"{A} mm",
            "length": f"{LENGTH} mm",
            "layers": [{"name": "wall", "thickness": f"{B - A} mm"}],
            "thick_wall": True,
        },
        "mesh": {"along": "1 mm", "through": 1},
        "materials": {"rubber": {"law": "neo-hookean", "shear_modulus": f"{MU} MPa", "permittivity": 2.8}},
        "parts": [{"region": "wall", "material": "rubber"}],
        "supports": [{"region": "end_low", "hold": "axial"}, {"region": "end_high", "hold": high}],
        "stages": [{"name": "load", "steps": 4} | stage],
        **more,
    }
    if voltage:
        tables["parts"][0]["sheets"] = {"count": 1, "thickness": f"{B - A} mm"}
        tables["electrodes"] = [{"name": "whole", "region": "wall"}]
    judged = judged_mesh(case_from_tables(tables), [Goal(name, "load") for name in names])
    return {error.quantity: error for error in judged.errors}


@cache
def pressed():
    return errors_of(
        {"pressure": f"{PRESSURE} MPa"},
        "mean radial expansion",
        "lumen volume",
        "minimum wall thickness",
        "strain energy",
    )


def close(error, exact):
    """Whether the error is estimated within a factor of two, and the bar contains the true one."""
    true = exact - error.value
    assert abs(true) > 1e-6 * abs(exact)  # there is an error
    assert 0.5 < error.error / true < 2
    assert abs(true) < error.bar < 4 * abs(true)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("name", "exact"),
    [
        ("mean radial expansion", STRETCH - 1),
        ("lumen volume", np.pi * (A * STRETCH) ** 2 * LENGTH),
        ("minimum wall thickness", OUTER - STRETCH * A),
    ],
)
def test_a_tube_under_pressure(name, exact):
    close(pressed()[name], exact)


@pytest.mark.exact
def test_rows_add_nothing_to_the_error_of_a_tube_that_does_not_vary_along_its_axis():
    for error in pressed().values():
        assert error.through.shape == (1,)
        assert error.along.shape == (2,)
        assert np.abs(error.along).max() < 1e-3 * abs(error.change) < abs(error.through[0])


@pytest.mark.exact
def test_the_pressure_at_a_given_volume():
    volume = np.pi * (A * STRETCH) ** 2 * LENGTH
    found = errors_of({"volume": f"{volume} mm3"}, "lumen pressure")
    close(found["lumen pressure"], PRESSURE)


@pytest.mark.exact
def test_the_pressure_at_which_a_stage_ends():
    until = [{"quantity": "mean radial expansion", "at_least": STRETCH - 1}]
    stage = {"pressure": f"{2 * PRESSURE} MPa", "until": until, "until_tolerance": 1e-6}
    close(errors_of(stage, "lumen pressure")["lumen pressure"], PRESSURE)


@pytest.mark.exact
def test_the_largest_voltage_of_a_free_tube():
    def lower(la):
        return -dielectric.tube_uniform_voltage(
            B / A, dielectric.axial_stretch_without_force(B / A, la, radial=False), la
        )

    largest = -minimize_scalar(lower, bounds=(1.1, 1.6), method="bounded", options={"xatol": 1e-8}).fun
    unit = (B - A) * np.sqrt(MU / EPS)
    stage = {"voltage": f"{unit} kV", "steps": 8}
    found = errors_of(stage, "mean radial expansion", voltage=True, high="plate")
    close(found[LIMIT_LOAD], largest)
