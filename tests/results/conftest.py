# SPDX-License-Identifier: MIT
import pytest
from synthetic_parts import meridian_tube, solid_tube
from synthetic_runs import finished


@pytest.fixture(scope="session")
def tube():
    return meridian_tube(2, 6)


@pytest.fixture(scope="session")
def solid():
    return solid_tube(2, 6, 3)


@pytest.fixture(scope="session")
def tube_run(tmp_path_factory, tube):
    return finished(tmp_path_factory.mktemp("runs") / "tube", tube)


@pytest.fixture(scope="session")
def solid_run(tmp_path_factory, solid):
    return finished(tmp_path_factory.mktemp("runs") / "solid", solid)
