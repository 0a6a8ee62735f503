# SPDX-License-Identifier: MIT
"""The sentences of a report on the lumen."""

from dataclasses import replace

import numpy as np
import pytest

from annelid.results.folder.tables import PathRecord
from annelid.results.report.lumen_text import lumen_text
from annelid.solver.records import Outcome

GAP = "\N{NO-BREAK SPACE}"
REACHED = Outcome("reached", "reached: all stages", "suck", 1.0)
TOUCHING = Outcome("self-contact", "walls of the lumen touch each other at R 0 mm, Z 3 mm", "suck", 0.5)


def path(diameters, areas, closed, pressures=(0.0, -2e-3, -4e-3)):
    columns = {
        "pressure": pressures,
        "smallest lumen diameter": diameters,
        "smallest open area": areas,
        "closed length": closed,
    }
    columns = {name: np.array(values) for name, values in columns.items()}
    return PathRecord(("suck",) * 3, columns, {}, ("pressure",), tuple(columns)[1:])


OPEN = path([6.0, 4.0, 5.0], [28.0, 12.0, 20.0], [0.0, 0.0, 0.0])


def text(table, outcome=REACHED):
    return lumen_text(table, outcome).replace(GAP, " ").replace("\N{MINUS SIGN}", "-")


def test_an_open_lumen():
    assert text(OPEN) == (
        "The lumen does not shut in any computed state. It is narrowest at pressure -2 kPa (stage “suck”): "
        "its smallest diameter is 4 mm and its smallest open area 12 mm²."
    )
    assert text(replace(OPEN, columns={}, loads=())) == ""


@pytest.mark.parametrize(("last", "again"), [(2.5, ""), (0.0, " It is open again in the last state.")])
def test_a_lumen_that_shuts(last, again):
    table = path([6.0, 0.1, 0.2], [28.0, 0.01, 0.04], [0.0, 3.0, last])
    assert text(table).startswith(
        "The lumen shuts: from pressure -2 kPa (stage “suck”) on, its mean radius is below 5 % of the drawn "
        f"one, over a length of at most 3 mm.{again} It is narrowest"
    )


def leaking(gaps, pressures, stages):
    columns = dict(OPEN.columns) | {
        "pressure": pressures,
        "obstacle rod": (1.0, 1.0, 1.0),
        "lumen pressure": pressures,
        "leak gap": gaps,
        "leak pressure": pressures,
    }
    columns = {name: np.array(values) for name, values in columns.items()}
    return PathRecord(stages, columns, {}, ("pressure", "obstacle rod"), tuple(columns)[2:])


SHUT = "The lumen is shut by its obstacles from no load (stage “settle”) on. "


def test_lumen_that_leaks_at_a_pressure():
    table = leaking([-1e-4, -1e-5, 1e-9], [0.0, 4e-3, 5e-3], ("settle", "leak", "leak"))
    leak = "It leaks at pressure 5 kPa (stage “leak”): its leak pressure is 5 kPa"
    assert text(table).startswith(f"{SHUT}{leak}. It is narrowest")
    coarse = leaking([-1e-4, -1e-5, 0.2], [0.0, 4e-3, 5e-3], ("settle", "leak", "leak"))
    assert text(coarse).startswith(
        f"{SHUT}{leak} or less, as it is still shut at 4 kPa; a stage that ends until the leak gap is at "
        "least 0 mm finds the value between them. It is narrowest"
    )


def test_lumen_that_does_not_leak_or_was_never_shut():
    table = leaking([-1e-4, -1e-5, -1e-6], [0.0, 4e-3, 5e-3], ("settle", "leak", "leak"))
    assert text(table).startswith(f"{SHUT}It is still shut at pressure 5 kPa (stage “leak”). It is")
    never = leaking([0.0, 0.1, 0.2], [0.0, 4e-3, 5e-3], ("settle", "leak", "leak"))
    assert text(never).startswith("No obstacle shuts the lumen in any computed state, so it has no leak")


def test_a_wave_that_shuts_a_lumen_often_is_told_in_short():
    n = 9
    columns = {name: np.resize(values, n) for name, values in OPEN.columns.items()}
    columns |= {name: np.arange(n) * 1e-3 for name in ("pressure", "lumen pressure", "leak pressure")}
    columns |= {"obstacle rod": np.ones(n), "leak gap": np.resize([-1e-4, 1e-9], n)}
    stages = ("settle", *["wave"] * (n - 1))
    table = PathRecord(stages, columns, {}, ("pressure", "obstacle rod"), tuple(columns)[2:])
    assert text(table).startswith(
        f"{SHUT}It leaks at pressure 1 kPa (stage “wave”): its leak pressure is 1 kPa. It shuts and leaks 3 "
        "more times, at leak pressures from 3 kPa to 7 kPa. It is still shut at pressure 8 kPa (stage "
        "“wave”)."
    )


def test_a_path_that_ends_where_walls_of_the_lumen_touch():
    assert "touch" not in text(OPEN)
    assert text(OPEN, TOUCHING).endswith(
        "Walls of the lumen touch each other just beyond pressure -4 kPa (stage “suck”), where the path ends."
    )
    outside = replace(TOUCHING, text="walls of the part touch each other at R 9 mm, Z 3 mm")
    assert "touch" not in text(OPEN, outside)
    pinched = path([6.0, 4.0, 0.01], [28.0, 20.0, 8.0], [0.0, 0.0, 0.0])
    assert text(pinched, TOUCHING) == (
        "The lumen begins to close just beyond pressure -4 kPa (stage “suck”): its opposite walls touch each "
        "other there, and the path ends. Beside the contact 8 mm² is still open."
    )


def test_loads_of_a_state_in_words():
    table = leaking([0.0, 0.1, 0.2], [0.0, 4e-3, 5e-10], ("settle", "leak", "leak"))
    words = [table.loads_text(row).replace(GAP, " ") for row in range(3)]
    assert words == ["no load", "pressure 4 kPa", "no load"]  # the rod rests, and 5e-10 MPa is rounding
    moving = replace(table, columns={**table.columns, "obstacle rod": np.array([1.0, 0.5, 0.5])})
    assert moving.loads_text(1).replace(GAP, " ") == "pressure 4 kPa, obstacle rod 0.5 mm"
