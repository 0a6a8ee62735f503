# SPDX-License-Identifier: MIT
"""A study on a real cluster whose jobs run in the image that containers/check.sh builds."""

import json
import os

import pytest
from small_study import pressures

CONTAINER = os.environ.get("ANNELID_CONTAINER")


@pytest.mark.mpi
@pytest.mark.skipif(CONTAINER is None, reason="containers/check.sh enables it")
def test_a_study_runs_in_the_image(cluster_user):
    user = cluster_user()
    place = str(user.folder)
    options = ["--volume", f"{place}:{place}", "--env", f"ANNELID_CACHE={place}/cache"]
    image = {"image": CONTAINER, "command": ["buildah", "run"], "options": options}
    ranks = {"name": "ranks", "values": [1, 1, 2], "pair": "x"}
    too_much = {"key": "mesh.along", "name": "along", "values": ["2 mm", "1e-5 mm", "2 mm"], "pair": "x"}
    user.write(pressures(4, 5, 6) | {"pair": "x"}, ranks, too_much, site={"container": image})
    user.submit(wait=300, collect=True)
    assert user.states() == ["finished", "failed", "finished"], user.run_statuses()
    assert "make mesh.along larger" in user.run_statuses()[1].detail
    made = [json.loads(path.read_text()) for path in user.out.glob("runs/*/provenance.json")]
    assert sorted(record["ranks"] for record in made) == [1, 2]
    assert (user.out / "study.html").exists()
