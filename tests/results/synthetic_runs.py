# SPDX-License-Identifier: MIT
"""Run folders of the invented parts."""

import numpy as np
from synthetic_parts import inflated

from annelid.results.folder.run_folder import RunFolder
from annelid.results.folder.run_records import CaseDescription, Statement, Verdict
from annelid.solver.display import DisplayUnit, DisplayUnits
from annelid.solver.records import Outcome

CASE = """
title = "Cuff <b>1</b> & co"
[shape]
kind = "tube"
inner_radius = "4 mm"
length = "12 mm"
layers = [{ name = "liner", thickness = "0.045 mm" }, { name = "skin", thickness = "1 mm" }]
[mesh]
model = "axisymmetric"
along = "1 mm"
through = 1
[materials.silicone]
law = "gent"
shear_modulus = "0.3 MPa"
stretch_limit = 60.0
[[parts]]
region = "skin"
material = "silicone"
sheets = { count = 4, thickness = "0.045 mm" }
natural_stretch = { hoop = 0.8, axial = 1.0 }
[[supports]]
region = "end_low"
hold = "all"
[[stages]]
name = "settle"
[[stages]]
name = "inflate"
pressure = "0.016 MPa"
[[requirements]]
quantity = "mean radial expansion"
at_least = 0.12
"""
CASE_HASH = "c0ffee"
MMHG = DisplayUnits({"pressure": (DisplayUnit("mmHg", 7500.61683),)})
DESCRIPTION = CaseDescription(
    title="Cuff <b>1</b> & co",
    units=MMHG,
    statements=(
        Statement("Shape", ("Tube: inner radius 4 mm, length 12 mm.",)),
        Statement("Parts", ("skin: silicone; natural stretch: hoop 0.8.",)),
        Statement("Stages", ("settle: no change of loads.", "inflate: pressure 16 kPa.")),
    ),
    targets={"settle": {}, "inflate": {"pressure": 0.016}},
    controls={"settle": "load", "inflate": "load"},
)
VERDICTS = (
    Verdict("mean radial expansion", "at least", 0.12, 0.2, "1", True, "last state"),
    Verdict("peak stress", "at most", 0.1, 0.2, "MPa", False, "last state"),
)
OUTCOME = Outcome("reached", "All loads were reached.", "inflate", 1.0, ("A remark.",))


def states(body, **options):
    """A settled state and three of an inflation."""
    yield inflated(body, 1.0, index=0, stage="settle", parameter=1.0, **options)
    for i, fraction in enumerate((0.25, 0.5, 1.0), start=1):
        yield inflated(body, 1.0 + 0.2 * fraction, index=i, stage="inflate", parameter=fraction, **options)


def create(path, body, **options):
    given = {
        "case_toml": CASE,
        "case_hash": CASE_HASH,
        "description": DESCRIPTION,
        "provenance": {"host": "here", "ranks": np.int64(1)},
    }
    return RunFolder.create(path, body=body, **(given | options))


def finished(path, body, **options):
    with create(path, body, **options) as run:
        run.log("The run has started.")
        for state in states(body):
            run.append(state)
        run.finish(
            OUTCOME,
            verdicts=VERDICTS,
            facts={"mesh": {"cells": len(body.cells)}, "quality": [{"region": "skin", "worst": 0.97}]},
        )
    return path
