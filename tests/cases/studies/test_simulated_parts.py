# SPDX-License-Identifier: MIT
"""Parts of a tolerance study that are compared with scanned parts."""

import numpy as np
import pytest

from annelid.cases.studies.simulated_parts import simulated_parts
from annelid.geometry.errors import InputError

QUANTITY = "mean radial expansion"
RADIUS = {"key": "shape.inner_radius", "from": "4.5 mm", "to": "5 mm"}
TOLERANCE = {"tolerance": True, "quantities": [QUANTITY]}


@pytest.mark.long
@pytest.mark.parametrize(
    ("sampling", "method", "error"),
    [
        ({"method": "random", "samples": 12}, "linear fit", 0.02),
        ({"method": "sensitivity", "samples": 16}, "total Sobol index", 0.15),  # an estimate from 16 samples
    ],
)
def test_parts_and_what_explains_their_scatter(study, drive, sampling, method, error):
    # The synthetic runs answer with the radius, so it explains all, and the length nothing.
    length = {"key": "shape.length", "from": "19 mm", "to": "21 mm"}
    plan, store = study(vary=[RADIUS, length], sampling=sampling, **TOLERANCE)
    drive(plan, store, workers=1)
    found = simulated_parts(store.path)
    assert len(found.runs) == len(plan.runs)
    assert all(path.is_dir() for path in found.runs)
    shares, how = found.explain(found.quantities[QUANTITY])
    assert how == method
    assert shares["inner_radius"] == pytest.approx(1.0, abs=error)
    assert shares["length"] == pytest.approx(0.0, abs=0.02)
    nothing, _ = found.explain(np.full(len(found.runs), np.nan))
    assert not nothing or all(np.isnan(x) or x == 0 for x in nothing.values())


def test_other_studies_are_refused(study, drive, tmp_path):
    with pytest.raises(InputError, match="is not a study folder with a plan"):
        simulated_parts(tmp_path)
    plan, store = study(vary=[{"key": "shape.inner_radius", "values": ["4 mm", "5 mm"]}])
    drive(plan, store, workers=1)
    with pytest.raises(InputError, match="is not a tolerance study"):
        simulated_parts(store.path)


def test_a_study_of_several_designs_is_refused(study, drive):
    lengths = {"key": "shape.length", "values": ["19 mm", "21 mm"]}
    plan, store = study(vary=[RADIUS, lengths], sampling={"method": "random", "samples": 4}, **TOLERANCE)
    drive(plan, store, workers=1)
    with pytest.raises(InputError, match="has parts of several designs"):
        simulated_parts(store.path)


def test_a_study_that_has_not_been_done_is_refused(study, drive):
    sampling = {"method": "random", "samples": 4}
    plan, store = study(vary=[RADIUS | {"key": "shape.inner_radius"}], sampling=sampling, **TOLERANCE)
    drive(plan, store, workers=1)
    for folder in (store.path / "runs").iterdir():
        (folder / "summary.json").unlink()
    with pytest.raises(InputError, match="has 0 finished parts at full load"):
        simulated_parts(store.path)
