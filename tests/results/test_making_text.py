# SPDX-License-Identifier: MIT
"""Text of a report on the making of a lattice part, from invented rows."""

from types import SimpleNamespace

import numpy as np
import pytest

from annelid.results.folder.run_records import CaseDescription
from annelid.results.folder.tables import PathRecord
from annelid.results.report.making_text import making

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
        table=PathRecord(STAGES, columns, units, loads, quantities),
        inflation=None,
        description=CaseDescription(skin=("skin",)),
    )


def text_of(**changes):
    return " ".join(making(run(**changes))["paragraphs"]).replace("\N{NO-BREAK SPACE}", " ")


def test_the_text_describes_release_strokes_and_cycles():
    text = text_of()
    assert "25 % shorter and 20 % narrower than as printed" in text
    assert "changes from 0.15 MPa to 60 kPa in the hoop direction and from 0.1 MPa to 30 kPa" in text
    assert "is 20 mJ as printed; after the release it is 7 mJ in skin and 3 mJ in lattice." in text
    assert (
        "At 1.4 kV the part becomes 10 % longer and 5 % narrower. These are 2.5 times and 1.25 times" in text
    )
    assert "strokes of the 2 cycles agree within the tolerance of the solver" in text
    assert "No strut buckles" in text
    assert "within 9.1 %" in text_of(**{"axial stroke": [0, 0, 0.1, 0, 0.11]})


def test_table_has_a_column_for_each_stage():
    content = making(run())
    assert content["columns"] == [
        *["as printed", "released (release)", "energised (energise)"],
        *["released (discharge)", "energised (again)"],
    ]
    rows = {name: cells for name, *cells in content["rows"]}
    assert [text.strip("\N{NO-BREAK SPACE}%") for text in rows["axial stroke"]] == ["", "", "10", "", "10"]
    assert rows["length"][1] == "30\N{NO-BREAK SPACE}mm"
    record = run()
    record.description = CaseDescription()
    assert making(record) == {"columns": [], "rows": [], "paragraphs": []}


@pytest.mark.parametrize(
    ("most", "expected"), [(1, "there is up to 1 unstable mode"), (6, "there are up to 6 unstable modes")]
)
def test_the_text_describes_buckling(most, expected):
    assert expected in text_of(**{"unstable modes": [0, most, 0, 0, 0]})
    assert "first in stage “release”" in text_of(**{"unstable modes": [0, most, 0, 0, 0]})


def test_the_text_mentions_a_bare_skin_that_fails():
    assert "does not withstand this voltage" in text_of(**{"axial amplification": [np.nan] * 5})
