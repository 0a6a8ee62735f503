# SPDX-License-Identifier: MIT
"""Whether a part is bistable, of potentials in closed form. Own derivation.

P = dU/dV is a polynomial with known roots: unloaded states are its roots, stable where it rises.
"""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from numpy.polynomial import Polynomial
from synthetic_paths import DESCRIPTION, OUTCOME, states
from synthetic_runs import create

from annelid.cases.cli.running import print_outcome
from annelid.results.figures import load_curves, svg_style
from annelid.results.figures.label_placement import Label, place_labels
from annelid.results.figures.load_curves import load_curve, load_paths
from annelid.results.figures.stage_spans import stage_spans
from annelid.results.folder.bistability import bistability_of, path_measures
from annelid.results.folder.run_record import open_run
from annelid.results.folder.tables import PathRecord
from annelid.results.report import pictures
from annelid.results.report.answer import outcome_of
from annelid.results.report.report import write_report
from annelid.results.report.snap_text import rest_states
from annelid.solver.records import Measure

BISTABLE = Polynomial.fromroots([0, 1, 2])
SNAPS_BACK = Polynomial([0, 2.6, -3, 1])  # no root but 0; its maximum and minimum are positive
THREE = Polynomial.fromroots([0, 1, 2, 3, 4])
STEP = 5e-3  # of states 0.02 apart


def turns(P):
    return sorted(np.real(P.deriv().roots()))


def table_of(
    P, volumes, *, jumps=(), load="pressure", conjugate="displaced volume", kind="limit point", **more
):
    """The path through given volumes, with its critical points; ``jumps`` are rows reached by one."""
    slope, V = P.deriv(), np.asarray(volumes, dtype=float)
    critical = np.min(np.abs(V[:, None] - np.array(turns(P))), axis=1) < 1e-9
    ahead = np.append(np.diff(V), 1.0)
    behind = np.insert(np.diff(V), 0, 1.0)
    modes = slope(V - 1e-6 * np.sign(np.where(critical, behind, ahead))) < 0
    modes[critical & np.isin(np.arange(len(V)) + 1, jumps)] = False
    columns = {
        "state": np.arange(len(V), dtype=float),
        "parameter": np.linspace(0, 1, len(V)),
        load: P(V),
        conjugate: V,
        "strain energy": P.integ()(V),
        "unstable modes": modes.astype(float),
        **{name: np.full(len(V), value) for name, value in more.items()},
    }
    units = {"pressure": "MPa", "axial force end_high": "N", "axial force end_low": "N"}
    return PathRecord(
        stages=("go",) * len(V),
        columns=columns,
        units={name: units.get(name, "1") for name in columns},
        loads=(load, *more),
        quantities=(conjugate, "strain energy", "unstable modes"),
        critical=tuple(kind if c else "" for c in critical),
        reached_by=tuple("jump" if i in jumps else "" for i in range(len(V))),
    )


def along(P, start, end):
    """Increasing volumes, 0.02 apart, with the critical ones."""
    inside = [t for t in turns(P) if start <= t <= end + 1e-9]
    return list(np.unique(np.concatenate([np.linspace(start, end, int((end - start) / 0.02) + 1), inside])))


def there_and_back(P, *ends):
    """Volumes along several legs; a leg with a smaller end goes back."""
    volumes = []
    for a, b in itertools.pairwise(ends):
        leg = along(P, *sorted((a, b)))
        volumes += (leg if a < b else leg[::-1])[1 if volumes else 0 :]
    return volumes


@pytest.mark.exact
def test_a_double_well_is_bistable():
    table = table_of(BISTABLE, there_and_back(BISTABLE, 0, -0.5, 2.6))
    found = bistability_of(table)
    values = found.quantities()
    assert (found.kind, values["stable states at zero load"]) == ("bistable", 2)
    low, high = turns(BISTABLE)
    assert values["opening pressure"] == pytest.approx(BISTABLE(low), rel=1e-12)
    assert values["closing pressure"] == pytest.approx(BISTABLE(high), rel=1e-12)
    U = BISTABLE.integ()
    for name in ("opening barrier", "closing barrier"):
        assert values[name] == pytest.approx(U(1) - U(0), abs=STEP * U(1))
    # From an extreme of a cubic to the other branch: the extreme is a double root, and the roots sum to 3.
    for name, turn in (("opening snap energy", low), ("closing snap energy", high)):
        end = 3 - 2 * turn
        released = BISTABLE(turn) * (end - turn) - (U(end) - U(turn))
        assert values[name] == pytest.approx(released, rel=1e-2)
    assert found.sentence(table).startswith(
        "Bistable: two stable states without load were found on this path;"
    )


@pytest.mark.exact
def test_a_part_that_only_snaps_back_is_not_bistable():
    table = table_of(SNAPS_BACK, along(SNAPS_BACK, 0, 2.6))
    found = bistability_of(table)
    assert found.kind == "not bistable"
    values = found.quantities()
    low, high = turns(SNAPS_BACK)
    assert values["stable states at zero load"] == 1
    assert (values["opening pressure"], values["closing pressure"]) == pytest.approx(
        (SNAPS_BACK(low), SNAPS_BACK(high)), rel=1e-12
    )
    assert found.sentence(table).startswith("Not bistable: the part snaps at 0.697")
    assert "returns by itself at 0.502" in found.sentence(table)


def test_loads_of_the_other_sign_give_the_same_answer():
    """P and V change their signs: a dome that is pressed from outside."""
    for P, kind, ends in ((BISTABLE, "bistable", (0, 2.6)), (SNAPS_BACK, "not bistable", (0, 2.6))):
        volumes = along(P, *ends)
        plain = bistability_of(table_of(P, volumes))
        table = table_of(P, volumes)
        for name in ("pressure", "displaced volume"):
            table.columns[name][:] *= -1
        mirrored = bistability_of(table)
        assert plain.kind == mirrored.kind == kind
        for name, value in plain.quantities().items():
            sign = -1 if "pressure" in name else 1
            assert mirrored.quantities()[name] == pytest.approx(sign * value, nan_ok=True)


@pytest.mark.exact
def test_a_part_with_three_stable_states():
    table = table_of(THREE, along(THREE, 0, 4.1))
    found = bistability_of(table)
    assert found.kind == "bistable"
    assert [round(rest.conjugate, 2) for rest in found.rests] == [0, 2, 4]
    assert found.sentence(table).startswith("Multistable: three stable states")
    opening, closing, *_ = turns(THREE)
    assert found.opening.load == pytest.approx(THREE(opening))
    assert found.closing.load == pytest.approx(THREE(closing))
    U = THREE.integ()
    values = found.quantities()
    assert values["opening barrier"] == pytest.approx(U(1) - U(0), rel=1e-2)
    assert values["closing barrier"] == pytest.approx(U(1) - U(2), rel=1e-2)


def test_a_load_that_passes_zero_again_adds_no_state():
    """With a step so long that its interpolated unloaded state is far from the first one."""
    table = table_of(BISTABLE, [0, 0.3, -0.4, *along(BISTABLE, -0.3, 2.6)])
    assert [round(rest.conjugate, 3) for rest in bistability_of(table).rests] == [0, 2]


UNKNOWN = [
    (BISTABLE, (0, 0.7), "the path ends before the part has another stable state"),
    (BISTABLE, (0, 1.7), "the path did not return to zero load after the snap"),
    (BISTABLE, (0, 0.7, 0), "the path ends before the part has another stable state"),
    (SNAPS_BACK, (0.2, 2.6), "the path contains no stable state without load"),
]


@pytest.mark.parametrize(("P", "ends", "reason"), UNKNOWN)
def test_what_the_path_does_not_show_is_not_known(P, ends, reason):
    table = table_of(P, there_and_back(P, *ends))
    found = bistability_of(table)
    assert (found.kind, found.reason) == ("not known", reason)
    assert np.isnan(path_measures(table)["stable states at zero load"].value)
    assert found.sentence(table) == f"Whether the part is bistable is not known, because {reason}."


def test_a_path_that_ends_at_its_limit_point_is_not_known():
    top = turns(SNAPS_BACK)[0]
    assert bistability_of(table_of(SNAPS_BACK, along(SNAPS_BACK, 0, top))).kind == "not known"


def test_a_buckled_part_is_not_judged_by_its_unbuckled_path():
    table = table_of(SNAPS_BACK, along(SNAPS_BACK, 0, 2.6), kind="bifurcation")
    assert "bifurcation" in bistability_of(table).reason


def test_a_part_that_does_not_snap_has_one_state_and_no_answer():
    table = table_of(BISTABLE, along(BISTABLE, 0, 0.3))
    assert bistability_of(table) is None
    assert path_measures(table) == {"stable states at zero load": Measure(1.0, "1")}


def test_no_answer_if_several_loads_act():
    table = table_of(BISTABLE, along(BISTABLE, 0, 2.6), **{"voltage a": 1.0})
    assert bistability_of(table) is None
    assert path_measures(table) == {}


def test_a_force_works_over_the_length():
    names = {"load": "axial force end_high", "conjugate": "length"}
    values = bistability_of(table_of(BISTABLE, along(BISTABLE, 0, 2.6), **names)).quantities()
    assert values["opening force"] == pytest.approx(BISTABLE(turns(BISTABLE)[0]))
    assert values["opening barrier"] > 0
    low = table_of(BISTABLE, along(BISTABLE, 0, 2.6), **names | {"load": "axial force end_low"})
    low.columns["length"][:] *= -1  # a force on the lower end works as the part becomes shorter
    assert bistability_of(low).quantities() == values


def jumping(P, *, back):
    """Load up to the limit point, jump, unload; at the minimum of the load jump back if there is none."""
    top, bottom = turns(P)
    total = -P.coef[-2] / P.coef[-1]
    up, down = along(P, 0, top), along(P, bottom if back else total - 1.0, total - 2 * top)[::-1]
    rest = along(P, 0, total - 2 * bottom)[::-1] if back else []
    return table_of(P, [*up, *down, *rest], jumps=(len(up), len(up) + len(down)) if back else (len(up),))


def test_jumps_show_the_snaps_as_well():
    two = jumping(BISTABLE, back=False)
    found = bistability_of(two)
    assert (found.kind, len(found.rests), found.closing) == ("bistable", 2, None)
    assert "this path does not close it" in found.sentence(two)
    one = bistability_of(jumping(SNAPS_BACK, back=True))
    assert one.kind == "not bistable"
    followed = bistability_of(table_of(SNAPS_BACK, along(SNAPS_BACK, -0.2, 3.0))).quantities()
    for name, value in one.quantities().items():
        assert value == pytest.approx(followed[name], rel=1e-2, nan_ok=True), name
    assert np.isfinite(one.quantities()["closing snap energy"])


def run_of(folder, tube, P, volumes, *, finished):
    table = table_of(P, volumes)
    rows = [
        ("fill", i / len(table), 1 + 0.001 * i, 0.0, int(modes), 0, critical)
        for i, (modes, critical) in enumerate(zip(table["unstable modes"], table.critical, strict=True))
    ]
    with create(folder, tube, description=DESCRIPTION) as run:
        for i, state in enumerate(states(tube, rows)):
            loads = {"pressure": Measure(float(table["pressure"][i]), "MPa")}
            more = {
                "displaced volume": Measure(float(table["displaced volume"][i]), "mm3"),
                "strain energy": Measure(float(table["strain energy"][i]), "mJ"),
            }
            run.append(replace(state, loads=loads, quantities={**state.quantities, **more}))
        if finished:
            run.finish(OUTCOME)
    return open_run(folder)


def test_the_answer_and_the_rest_shapes_are_in_report_and_summary(tmp_path, tube, monkeypatch, capsys):
    run = run_of(tmp_path / "run", tube, BISTABLE, along(BISTABLE, 0, 2.3)[::3], finished=True)
    shown = [state for state, _ in rest_states(run)]
    assert np.abs(run.table["displaced volume"][shown] - [0, 2]).max() < 0.06
    monkeypatch.setattr(pictures, "picture", lambda run, *, field, state: b"a picture")
    page = write_report(run.path).read_text()
    answer = run.summary["bistability"]["text"]
    assert answer.startswith("Bistable: two stable states")
    assert page.count(answer) == 1
    assert page.index(answer) < page.index("</header>")
    assert page.index("<h2>Critical points</h2>") < page.index("Rest shape 1 of 2: state 0, without load.")
    assert f"Rest shape 2 of 2: state {shown[1]}, the nearest computed state, at pressure" in page
    assert run.summary["path_quantities"]["stable states at zero load [1]"] == 2
    print_outcome(run.path)
    assert answer in capsys.readouterr().out


def test_an_interrupted_run_says_what_it_has_found_so_far(tmp_path, tube):
    run = run_of(tmp_path / "run", tube, BISTABLE, along(BISTABLE, 0, 1.7)[::4], finished=False)
    assert run.outcome is None
    assert "not known, because the path did not return" in outcome_of(run, run.table)["bistability"]
    page = write_report(run.path, with_pictures=False).read_text()
    assert "Whether the part is bistable is not known" in page


def test_labels_cover_neither_each_other_nor_leave_the_axes():
    with svg_style.new_figure(5.2, 3.5) as (_, axes):
        x = np.linspace(0, 1, 50)
        axes.plot(x, x * (1 - x))
        labels = [Label(f"{i}  limit point, 1.2345 kPa", (0.5 + 0.01 * i, 0.25)) for i in range(5)]
        written = place_labels(axes, labels, [np.column_stack([x, x * (1 - x)])])
        boxes = [text.get_window_extent() for text in written]
        frame = axes.get_window_extent()
    assert not [(a, b) for i, a in enumerate(boxes) for b in boxes[:i] if a.overlaps(b)]
    assert all(frame.x0 <= box.x0 and box.x1 <= frame.x1 for box in boxes)


def arrows_of(table):
    """Start and end of the arrows of a load curve."""
    (path,) = load_paths(table, stage_spans(table))
    with pytest.MonkeyPatch.context() as patch:
        drawn = []
        patch.setattr(load_curves, "draw_jump", lambda axes, *ends: drawn.append(ends))
        load_curve(table, path, name="a")
    return path, drawn


def test_snap_curve_has_both_snaps_over_the_displaced_volume():
    path, drawn = arrows_of(table_of(BISTABLE, along(BISTABLE, -0.5, 2.6)))
    assert path.response == "displaced volume"
    for (start, end), turn in zip(drawn, turns(BISTABLE), strict=True):
        assert start[1] == end[1] == pytest.approx(BISTABLE(turn))
        assert (start[0], end[0]) == pytest.approx((turn, 3 - 2 * turn), abs=STEP)
    assert arrows_of(table_of(BISTABLE, along(BISTABLE, 0, 1.5)))[1] == []
