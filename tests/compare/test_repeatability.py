# SPDX-License-Identifier: MIT
"""Repeated scans of parts with prescribed deviations: spread, sources, modes, outliers, a study beside."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow.parquet
import pytest
import pyvista
from comparison_parts import deviating_scan, write_points
from repeated_scans import NOISE, placed_scan
from synthetic_parts import LENGTH, OUTER, meridian_tube
from synthetic_runs import finished

from annelid.compare.alignment.poses import Pose
from annelid.compare.comparison.simulated_part import ComparisonSettings, simulated_part
from annelid.compare.page.spread_figures import ratio_figure
from annelid.compare.page.spread_page import repeatability_page
from annelid.compare.page.spread_rows import deviation_rows, study_rows
from annelid.compare.page.spread_words import doubts, headline, study_sentences
from annelid.compare.page.write import write_comparisons
from annelid.compare.page.write_spread import write_spread
from annelid.compare.repeatability.components import OPERATOR, PART
from annelid.compare.repeatability.files import FILES, write_repeatability
from annelid.compare.repeatability.hand_measures import read_hand_measures
from annelid.compare.repeatability.listing import ScanDesign, read_list
from annelid.compare.repeatability.places import places_of
from annelid.compare.repeatability.point_spread import part_means, root_mean_square
from annelid.compare.repeatability.precision import StandardDeviation, precisions
from annelid.compare.repeatability.repeated import analysed, repeatability
from annelid.compare.repeatability.study_parts import SimulatedShapes, StudyParts, beside, simulated_shapes
from annelid.geometry.errors import InputError
from annelid.results.folder.digests import digests_of, read_sealed

SETTINGS = ComparisonSettings("mm", replicates=2)
PARTS, OPERATORS = 7, {"A": 0.0, "B": 0.06, "C": -0.06}
WIDER = np.array([-0.09, -0.06, -0.03, 0.0, 0.03, 0.06, 0.09])  # of each part, mm
OVAL = np.array([0.04, -0.08, 0.06, 0.0, -0.06, 0.08, -0.04])  # uncorrelated with it
REPEAT = 0.02  # standard deviation of a set-up, mm


@pytest.fixture(scope="module")
def tube(run):
    part = simulated_part(run, SETTINGS)
    return part, places_of(part.surface, fineness=20)  # few, for the speed of the tests


def scan_of(tube, number, operator="A", repeat=0, *, more=0.0, method="", hole=None):
    part, places = tube
    seed = 100 * number + 10 * repeat + ord(operator) - 65 + (500 if method == "second" else 0)
    offset = OPERATORS[operator] + more + np.random.default_rng(seed).normal(0.0, REPEAT)
    name = f"{number}{operator}{repeat}{method}.ply"
    return placed_scan(
        part,
        places,
        lambda z, θ: WIDER[number] + offset + OVAL[number] * np.cos(2.0 * θ),
        (name, f"part {number}", operator, str(repeat), method),
        seed=seed,
        hole=hole,
    )


@pytest.fixture(scope="module")
def crossed(tube):
    scans = [scan_of(tube, i, o, k) for i in range(PARTS) for o in OPERATORS for k in (0, 1)]
    return analysed(tube[0], Path("list.csv"), tube[1], scans, SETTINGS)


END_FOR_END = Pose(np.diag([1.0, -1.0, -1.0]), np.array([0.0, 0.0, LENGTH]))


@pytest.mark.parametrize("motions", [(), (END_FOR_END,)])
def test_scans_that_lie_end_for_end_are_turned_to_fit_each_other(tube, motions):
    part, places = tube
    slope = 0.2 / LENGTH  # the part is 0.2 mm wider at one end

    def scan_in_a_pose(number):
        side = -1.0 if number in (1, 2, 4) else 1.0
        field = lambda z, θ: side * slope * (z - 0.5 * LENGTH)  # noqa: E731
        entry = (f"{number}.ply", "part", "A", str(number))
        return placed_scan(part, places, field, entry, seed=number, motions=motions)

    scans = [scan_in_a_pose(number) for number in range(6)]
    found = analysed(part, Path("list.csv"), places, scans, SETTINGS)
    spread = root_mean_square(found.spread.repeatability, places.weight)
    if motions:
        assert [scan.posed for scan in found.scans] == [0, 1, 1, 0, 1, 0]
        assert spread < 0.5 * NOISE  # medians of about eight points
        assert any("3 changed" in text for text in doubts(found))
    else:
        mixed = slope * LENGTH / np.sqrt(12.0) * np.sqrt(6.0 / 5.0)  # half of the scans have the other sign
        assert spread == pytest.approx(mixed, rel=0.02)


def drawn_variances():
    """The variance between the prescribed parts and between the prescribed operators."""
    return WIDER.var(ddof=1), np.var(list(OPERATORS.values()), ddof=1)


@pytest.mark.exact
def test_the_prescribed_sources_of_variation_are_found(crossed):
    found = crossed.precision["mean deviation"]
    parts, operators = drawn_variances()
    # A set-up is known to 1 part in 8 from 21 degrees of freedom; it adds REPEAT²/6 or REPEAT²/14 to means.
    assert found.repeatability.low < REPEAT < found.repeatability.high
    assert found.components[PART] == pytest.approx(parts, abs=6.0 * REPEAT * np.sqrt(parts / 6.0 / 6.0))
    assert found.components[OPERATOR] == pytest.approx(
        operators, abs=6.0 * REPEAT * np.sqrt(operators / 14.0 / 2.0)
    )
    total = (
        found.components[OPERATOR]
        + max(found.components["part by operator"], 0.0)
        + found.repeatability.value**2
    )
    assert found.reproducibility.value == pytest.approx(np.sqrt(total))
    # A wider tube has a diameter that is larger by twice as much.
    assert crossed.precision["mean diameter"].parts.value == pytest.approx(2.0 * found.parts.value, rel=0.02)
    volume = np.pi * 2.0 * (OUTER + 0.56) * LENGTH  # dV = 2π r L dr, r of the deformed tube as in its states
    assert crossed.precision["enclosed volume"].parts.value / found.parts.value == pytest.approx(
        volume, rel=0.05
    )


@pytest.mark.exact
def test_fields_of_the_spread_are_those_prescribed(crossed):
    spread, places = crossed.spread, crossed.places
    θ = np.arctan2(places.points[:, 1], places.points[:, 0])
    inside = (places.points[:, 2] > 1.0) & (places.points[:, 2] < LENGTH - 1.0)
    assert (spread.number[inside] == len(crossed.scans)).mean() > 0.95
    wanted = np.sqrt(WIDER.var(ddof=1) + OVAL.var(ddof=1) * np.cos(2.0 * θ) ** 2)
    np.testing.assert_allclose(spread.parts[inside], wanted[inside], atol=0.02)
    assert root_mean_square(spread.mean, places.weight) < 0.02
    assert root_mean_square(spread.repeatability, places.weight) == pytest.approx(REPEAT, rel=0.4)


@pytest.mark.exact
def test_the_modes_are_the_widening_and_the_ovality(crossed):
    shapes = crossed.shapes
    assert shapes.of_parts
    # The distance of an oval from a circle has a second-order part, δ'²/2R = 0.002 mm of four lobes, which
    # may be a mode of its own: (0.002/0.06)² of the variance.
    assert shapes.modes.energy[:2].sum() > 0.998
    # Root mean squares of the prescribed fields: the size of WIDER, and that of OVAL by √2.
    sizes = [root_mean_square(shape, crossed.places.weight) for shape in shapes.modes.shapes[:2]]
    assert sizes == pytest.approx([WIDER.std(ddof=1), OVAL.std(ddof=1) / np.sqrt(2.0)], rel=0.15)
    assert shapes.shares[0]["widening all around"] > 0.95
    assert shapes.shares[1]["ovality"] > 0.95
    assert shapes.outlying.found == []
    np.testing.assert_allclose(np.abs(np.corrcoef(shapes.modes.scores[:, 0], WIDER)[0, 1]), 1.0, atol=0.05)


def test_a_scan_of_another_shape_is_outlying(tube):
    part, places = tube
    scans = [scan_of(tube, i, "A", k) for i in range(PARTS) for k in (0, 1)]
    other = [
        placed_scan(part, places, lambda z, θ: 0.3 * np.sin(3.0 * θ) * z / LENGTH, (f"x{k}", "other"), seed=k)
        for k in (900, 901)
    ]
    other = [s._replace(entry=replace(s.entry, operator="A")) for s in other]
    found = analysed(part, Path("list.csv"), places, scans + other, SETTINGS)
    assert found.shapes.outlying.found == ["other"]
    assert any("Outlying in shape: other" in text for text in doubts(found))


def test_places_that_no_scan_saw_are_unknown(tube):
    scans = [scan_of(tube, i, "A", k, hole=(0.5, 1.2)) for i in range(4) for k in (0, 1)]
    found = analysed(tube[0], Path("list.csv"), tube[1], scans, SETTINGS)
    θ = np.arctan2(tube[1].points[:, 1], tube[1].points[:, 0])
    blind = (θ > 0.65) & (θ < 1.05)
    assert (found.spread.number[blind] == 0).all()
    for field in (found.spread.mean, found.spread.deviation, found.spread.parts, *found.shapes.modes.shapes):
        assert np.isnan(field[blind]).all()
        assert np.isfinite(field[θ < 0]).mean() > 0.9
    assert any("was seen by no scan" in text for text in doubts(found))


def test_holes_in_different_places_leave_the_modes_as_they_are(tube):
    holes = [(a, a + 0.8) for a in np.linspace(-3.0, 2.0, PARTS)]
    scans = [scan_of(tube, i, "A", 0, hole=holes[i]) for i in range(PARTS)]
    found = analysed(tube[0], Path("list.csv"), tube[1], scans, SETTINGS)
    assert found.shapes.area > 0.9
    assert found.shapes.shares[0]["widening all around"] > 0.9
    assert np.isnan(found.precision["mean deviation"].repeatability.value)
    assert any("No operator scanned a part more than once" in text for text in doubts(found))


@pytest.mark.exact
def test_the_mean_of_scans_with_holes_has_no_steps():
    # A part z ↦ z, scanned 0.2 too wide and 0.2 too narrow, each with a hole elsewhere.
    shape = np.linspace(0.0, 1.0, 101)
    fields = np.stack([shape + 0.2, shape - 0.2])
    fields[0, 10:30], fields[1, 60:80] = np.nan, np.nan
    design = ScanDesign(("a",), ("",), np.zeros(2, dtype=int), np.zeros(2, dtype=int))
    np.testing.assert_allclose(part_means(fields, design)[0], shape, atol=1e-6)


def test_all_scans_the_same(tube):
    scan = scan_of(tube, 1)
    scans = [scan._replace(entry=replace(scan.entry, repeat=str(k))) for k in range(5)]
    found = analysed(tube[0], Path("list.csv"), tube[1], scans, SETTINGS)
    assert found.precision["mean deviation"].repeatability.value == 0.0
    assert found.shapes == "All scans are the same, so there is no variation of shape."
    assert found.consistency == ()
    reasons = " ".join(doubts(found))
    assert "the same content" in reasons
    assert "reproducibility is not known" in reasons
    assert "nothing is known about other parts" in reasons
    page = repeatability_page(found)
    assert "no variation of shape" in page
    words = re.sub(r"<svg.*?</svg>|data:image[^\"]*|<style.*?</style>", "", page, flags=re.DOTALL)
    assert not re.search(r"\bnan\b", words, flags=re.IGNORECASE)


def test_two_scans_and_unknown_measures(tube):
    scans = [scan_of(tube, 1), scan_of(tube, 2)]
    scans[1] = scans[1]._replace(measures={**scans[1].measures, "largest ovality": np.nan})
    found = analysed(tube[0], Path("list.csv"), tube[1], scans, SETTINGS)
    assert found.precision["largest ovality"].number == 1
    assert np.isnan(found.precision["largest ovality"].parts.value)
    assert found.precision["mean deviation"].parts.degrees == 1
    assert "at least 4 scans" in found.shapes
    assert next(row for row in deviation_rows(found) if row[0] == "largest ovality")[1:] == 3 * ("not known",)


def test_an_arbitrary_angle_leaves_the_means_around_the_axis(tube):
    scans = [scan_of(tube, i)._replace(turns=True) for i in range(PARTS)]
    found = analysed(tube[0], Path("list.csv"), tube[1], scans, SETTINGS)
    assert found.ringed
    # Ovality has no mean around the axis; the widening has.
    assert len(found.shapes.modes.energy) == 1
    assert found.shapes.shares[0]["widening all around"] > 0.99
    assert any("angle of the scans about the axis is arbitrary" in text for text in doubts(found))


def test_two_methods_are_compared_by_part(tube):
    first = [scan_of(tube, i, "A", k, method="first") for i in range(PARTS) for k in (0, 1)]
    second = [scan_of(tube, i, "A", k, more=0.05, method="second") for i in range(PARTS) for k in (0, 1)]
    found = analysed(tube[0], Path("list.csv"), tube[1], first + second, SETTINGS)
    assert found.compared == ("first", "second")
    entry = found.agreements["mean deviation"]
    assert entry.bias == pytest.approx(-0.05, abs=4.0 * REPEAT / np.sqrt(PARTS))
    assert entry.bias_range[0] < -0.05 < entry.bias_range[1]
    assert entry.spread == pytest.approx(np.sqrt(2.0) * REPEAT, rel=0.6)
    assert found.precision["mean deviation"].number == len(first)
    assert any("only take part in the agreement" in text for text in doubts(found))


def callipers(place, text, parts=("part 0", "part 1", "part 2", "part 3")):
    file = place / "callipers.csv"
    file.write_text(text)
    return read_hand_measures(file, parts)


def test_measures_by_hand_are_compared_with_those_of_the_scans(tube, tmp_path):
    scans = [scan_of(tube, i, "A", k) for i in range(4) for k in (0, 1)]
    own = {f"part {i}": [scans[2 * i + k].measures["mean diameter"] for k in (0, 1)] for i in range(4)}
    rows = "".join(f"{part},{(np.mean(values) + 0.3) / 10.0:.9f},\n" for part, values in own.items())
    hand = callipers(tmp_path, f"part,mean diameter [cm],enclosed volume [mL]\n{rows}part 0,,5\n")
    assert hand[-1].measures == {"enclosed volume": 5000.0}
    found = analysed(tube[0], Path("list.csv"), tube[1], scans, SETTINGS, by_hand=hand)
    assert found.compared == ("scans", "measures by hand")
    assert set(found.agreements) == {"mean diameter"}  # one volume by hand is too few
    entry = found.agreements["mean diameter"]
    assert entry.bias == pytest.approx(-0.3, abs=1e-8)
    # The differences of single scans: only the two repeats of each part scatter about their mean.
    within = np.mean([np.var(values, ddof=1) for values in own.values()])
    assert entry.spread == pytest.approx(np.sqrt(0.5 * within), abs=1e-8)
    assert found.precision["mean diameter"].number == len(scans)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "line 1: the first line must name a column part"),
        ("part\npart 0\n", "the first line must name a column part and measures"),
        ("mean diameter [mm]\n3\n", "must name a column part"),
        (
            "part,mean diameter\npart 0,3\n",
            "column 'mean diameter' is neither part nor a measure with its unit",
        ),
        ("part,girth [mm]\npart 0,3\n", "'girth' is not a measure of scans; these are "),
        ("part,mean diameter [mL]\npart 0,3\n", "'mL' is not one of the units"),
        ("part,mean diameter [mm],mean diameter [cm]\n", "mean diameter: stands twice"),
        ("part,mean diameter [mm]\npart 9,3\n", "line 2: part: 'part 9' is not a part of the list"),
        ("part,mean diameter [mm]\npart 0,3,4\n", "has 3 cells; the first line has 2"),
        ("part,mean diameter [mm]\npart 0,three\n", "'three' is not a number below 1e9"),
        ("part,mean diameter [mm]\npart 0,nan\n", "'nan' is not a number below 1e9"),
        ("part,mean diameter [mm]\npart 0,\n", "has no values below the line of column names"),
        ('part,mean diameter [mm]\n"part 0,3\n', "unexpected end of data"),
    ],
)
def test_wrong_measures_by_hand_are_refused(tmp_path, text, message):
    with pytest.raises(InputError, match=re.escape(message)):
        callipers(tmp_path, text)


@pytest.fixture(scope="module")
def simulated(tmp_path_factory):
    """Runs of tubes whose outer radius differs by known amounts."""
    place = tmp_path_factory.mktemp("study")
    radii = OUTER + np.array([-0.10, 0.0, 0.10])
    runs = tuple(finished(place / f"r{i}", meridian_tube(2, 6, outer=r)) for i, r in enumerate(radii))
    volumes = {"lumen volume": np.array([1.0, 1.1, 0.9])}
    return StudyParts(place, "Radii", runs, volumes, lambda values: ({"outer radius": 0.9}, "linear fit"))


@pytest.mark.exact
def test_simulated_parts_are_measured_like_scans(tube, simulated, crossed):
    part, places = tube
    shapes = simulated_shapes(simulated, part, places, SETTINGS)
    sizes = [float(np.hypot(*simulated_part(r, SETTINGS).surface.points.T[:2]).max()) for r in simulated.runs]
    np.testing.assert_allclose(shapes.measures["mean diameter"], 2.0 * np.array(sizes), rtol=1e-3)
    inside = (places.points[:, 2] > 1.0) & (places.points[:, 2] < LENGTH - 1.0)
    np.testing.assert_allclose(shapes.spread[inside], np.std(sizes, ddof=1), rtol=0.05)
    measured = {
        "mean diameter": StandardDeviation(0.2, np.nan, np.nan, 6.0),
        "bend of the axis": StandardDeviation(*4 * [np.nan]),
    }
    (row,) = beside(measured, simulated, shapes, "outer")
    simulated_deviation = np.std(2.0 * np.array(sizes), ddof=1)
    assert row.ratio == pytest.approx(0.2 / simulated_deviation, rel=2e-3)
    # F at 2.5 %: of 6 and 2 degrees of freedom 39.33, of 2 and 6 7.260 (tables, from memory).
    assert (row.low, row.high) == pytest.approx(
        (row.ratio / np.sqrt(39.33), row.ratio * np.sqrt(7.260)), rel=1e-3
    )
    with_study = analysed(part, Path("list.csv"), places, list(crossed.scans), SETTINGS, study=simulated)
    rows = {row[0]: row for row in study_rows(with_study, with_study.study)}
    assert rows["mean diameter"][-1] == "outer radius, 90 % (linear fit)"
    assert "“Radii”" in " ".join(study_sentences(with_study.study))
    drawn = ratio_figure(with_study.study.rows).svg
    assert "mean diameter" in drawn
    assert "surface profile" not in drawn  # it contains noise


def test_a_study_without_fields_has_its_table(tube, simulated):
    without = replace(simulated, runs=(simulated.runs[0].parent / "absent",))
    shapes = simulated_shapes(without, *tube, SETTINGS)
    assert "kept no fields" in shapes.without
    measured = {"enclosed volume": StandardDeviation(0.1, np.nan, np.nan, 3.0)}
    assert beside(measured, without, shapes, "outer") == []
    (row,) = beside(measured, without, shapes, "lumen")
    assert row.source == "table"
    assert row.simulated.value == pytest.approx(0.1)


@pytest.mark.exact
def test_intervals_of_the_ratio_cover():
    # Measured parts with two repeats each, simulated parts of the same scatter: 95 % of the intervals hold 1.
    rng = np.random.default_rng(8)
    part = np.repeat(np.arange(8), 2)
    design = ScanDesign(tuple("abcdefgh"), ("",), part, 0 * part)
    draws = rng.normal(size=(8, 500))[part] + 0.3 * rng.normal(size=(16, 500))
    study = StudyParts(Path(), "", (), {}, lambda values: ({}, ""))
    hits = 0
    for entry in precisions(draws, design):
        shapes = SimulatedShapes({"mean diameter": rng.normal(size=20)}, np.zeros(0), "")
        (row,) = beside({"mean diameter": entry.parts}, study, shapes, "outer")
        hits += row.low < 1.0 < row.high
    assert hits / 500 == pytest.approx(0.95, abs=0.03)


@pytest.mark.long
def test_files_and_page_agree(crossed, tmp_path):
    folder = tmp_path / "out"
    write_repeatability(crossed, repeatability_page(crossed), folder)
    assert sorted(path.name for path in folder.iterdir()) == sorted(FILES)
    found = read_sealed(folder / "summary.json")
    assert found["files"] == digests_of(folder, found["files"])
    entry = found["measures"]["mean deviation"]
    assert entry["repeatability"]["limit"] == pytest.approx(
        2.8 * entry["repeatability"]["standard deviation"]
    )
    assert entry["components of variance"]["part"] > 0
    assert found["modes"]["looks"][1].startswith("ovality")
    mesh = pyvista.read(folder / "spread.vtp")
    np.testing.assert_allclose(mesh["between parts [mm]"], crossed.spread.parts, atol=1e-6)
    assert {"mode 1 [mm]", "mode 2 [mm]", "number of scans"} <= set(mesh.array_names)
    table = pyarrow.parquet.read_table(folder / "fields.parquet")
    assert table.num_columns == 4 + len(crossed.scans)
    assert table.num_rows == len(crossed.places.points)
    rows = (folder / "measures.csv").read_text().splitlines()
    assert len(rows) == 1 + len(crossed.scans)
    page = (folder / "repeatability.html").read_text()
    links = re.findall(r'(?:src|href)="([^"]*)"', page)
    assert links
    assert all(link.startswith(("data:", "#")) for link in links)
    for text in (
        "All 42 scans are invented",
        "Cochran",
        "ISO 5725-2",
        "widening all around",
        "permutations",
        "High voltage kills",
        "Cuff &lt;b&gt;1&lt;/b&gt; &amp; co",
        headline(crossed).split(" (")[0],
    ):
        assert text in page, text
    write_repeatability(crossed, page, folder)  # replaces itself
    (folder / "mine.txt").write_text("mine")
    with pytest.raises(InputError, match=r"something other than repeatability \(mine.txt\)"):
        write_repeatability(crossed, page, folder)


@pytest.mark.long
@pytest.mark.slow
def test_comparisons_are_read_and_give_what_they_state(run, tmp_path):
    part = simulated_part(run, SETTINGS)
    for i in range(2):
        points, *_ = deviating_scan(part.surface, lambda z, θ, i=i: 0.1 * i + 0.0 * z, seed=i, count=2000)
        write_points(tmp_path / f"s{i}.ply", points)
    write_comparisons(run, [tmp_path / "s0.ply", tmp_path / "s1.ply"], SETTINGS, out=tmp_path / "done")
    file = tmp_path / "list.csv"
    file.write_text("scan,part\ndone/s0,a\ndone/s1,b\n")
    found = repeatability(part, file, read_list(file), SETTINGS)
    assert [len(scan.others) for scan in found.scans] == [1, 1]  # the tube looks alike end for end
    stated = [read_sealed(tmp_path / "done" / f"s{i}" / "summary.json")["measures"] for i in range(2)]
    for name, entry in stated[0].items():
        both = [entry["value"], stated[1][name]["value"]]
        assert found.precision[name].mean == pytest.approx(np.mean(both)), name
        assert found.precision[name].parts.value == pytest.approx(np.std(both, ddof=1)), name
    assert found.precision["mean deviation"].parts.value == pytest.approx(0.1 / np.sqrt(2.0), abs=0.002)
    np.testing.assert_allclose(np.nanmedian(found.spread.mean), 0.05, atol=0.003)
    _bad_folders(run, tmp_path, file)


def _bad_folders(run, tmp_path, file):
    """Comparisons of another state, changed ones, and folders that are none are refused."""
    entries = read_list(file)
    with pytest.raises(InputError, match="a comparison with state 3, not state 1"):
        write_spread(run, file, entries, replace(SETTINGS, state=1), out=tmp_path / "new")
    (tmp_path / "done" / "s1" / "deviation.parquet").write_bytes(b"junk")
    with pytest.raises(
        InputError, match=r"s1: deviation.parquet is not as the run wrote it; compare the scan"
    ):
        write_spread(run, file, entries, SETTINGS, out=tmp_path / "new")
    (tmp_path / "done" / "s1" / "summary.json").write_text("{}")
    with pytest.raises(InputError, match="is neither a scan nor the folder of a comparison"):
        write_spread(run, file, entries, SETTINGS, out=tmp_path / "new")
    assert not (tmp_path / "new").exists()
