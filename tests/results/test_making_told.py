# SPDX-License-Identifier: MIT
"""What a report says of the making of a lattice part, from invented rows."""

from types import SimpleNamespace

import numpy as np
import pytest

from annelid.results.folder.records import CaseDescription
from annelid.results.folder.tables import PathTable
from annelid.results.report.making import making

STAGES = ("release", "release", "energise", "discharge", "again")
COLUMNS = {
    "pressure": [3e-3, 0, 0, 0, 0],
    "voltage whole": [0, 0, 1.4, 0, 1.4],
    "length": [40.0, 30.0, 33.0, 30.0, 33.0],
    "largest diameter": [20.0, 16.0, 15.2, 16.0, 15.2],
    "mean hoop stress skin": [0.15, 0.06, 0.05, 0.06, 0.05],
    "mean axial stress skin": [0.10, 0.03, 0.02, 0.03, 0.02],
    "strain energy": [20.0, 10.0, 11.0, 10.0, 11.0],
    "strain energy skin": [20.0, 7.0, 8.0, 7.0, 8.0],
    "strain energy lattice": [0.0, 3.0, 3.0, 3.0, 3.0],
    "axial stroke": [0, -0.1, 0.1, 0, 0.1],
    "radial stroke": [0, -0.1, -0.05, 0, -0.05],
    "axial amplification": [np.nan, np.nan, 2.5, np.nan, 2.5],
    "radial amplification": [np.nan, np.nan, 1.25, np.nan, 1.25],
    "unstable modes": [0, 0, 0, 0, 0],
}


def run(**changes):
    columns = {name: np.array(values, dtype=float) for name, values in (COLUMNS | changes).items()}
    units = dict.fromkeys(columns, "1") | {"pressure": "MPa", "voltage whole": "kV"}
    units |= dict.fromkeys(("length", "largest diameter"), "mm")
    units |= {name: "mJ" for name in columns if name.startswith("strain energy")}
    units |= {name: "MPa" for name in columns if "stress" in name}
    loads = ("pressure", "voltage whole")
    quantities = tuple(name for name in columns if name not in loads)
    return SimpleNamespace(
        table=PathTable(STAGES, columns, units, loads, quantities),
        description=CaseDescription(skin=("skin",)),
    )


def told(**changes):
    return " ".join(making(run(**changes))["paragraphs"]).replace("\N{NO-BREAK SPACE}", " ")


def test_release_strokes_and_cycles_are_told():
    words = told()
    assert "25 % shorter and 20 % narrower than as printed" in words
    assert "tension left in skin is 60 kPa of 0.15 MPa around and 30 kPa of 0.1 MPa along" in words
    assert "Of the 20 mJ stored as printed it keeps 7 mJ in skin, 3 mJ in lattice." in words
    assert "Under 1.4 kV it becomes 10 % longer and 5 % narrower: 2.5 times and 1.25 times" in words
    assert "repeats in 2 cycles to solver tolerance" in words
    assert "No strut buckles" in words
    assert "within 9.1 %" in told(**{"axial stroke": [0, 0, 0.1, 0, 0.11]})


def test_the_table_has_a_column_for_each_stage_and_no_strokes_without_voltage():
    found = making(run())
    assert found["columns"] == ["as printed", "release", "energise", "discharge", "again"]
    rows = dict(found["rows"])
    assert [text.strip("\N{NO-BREAK SPACE}%") for text in rows["axial stroke"]] == ["", "", "10", "", "10"]
    assert rows["length"][1] == "30\N{NO-BREAK SPACE}mm"
    record = run()
    record.description = CaseDescription()
    assert making(record) == {"columns": [], "rows": [], "paragraphs": []}


@pytest.mark.parametrize(
    ("most", "words"), [(1, "1 unstable mode is counted"), (6, "up to 6 unstable modes")]
)
def test_buckling_is_told(most, words):
    assert words in told(**{"unstable modes": [0, most, 0, 0, 0]})
    assert "first in stage release" in told(**{"unstable modes": [0, most, 0, 0, 0]})


def test_a_bare_skin_that_fails_is_told():
    assert "does not withstand that voltage" in told(**{"axial amplification": [np.nan] * 5})
