# SPDX-License-Identifier: MIT
"""The page about several scans of several parts, without external files."""

from typing import Any

import numpy as np

from annelid.compare.page import spread_figures as figures
from annelid.compare.page import spread_numbers as numbers
from annelid.compare.page import spread_rows as rows
from annelid.compare.page import spread_words as words
from annelid.compare.page.spread_pictures import field_picture, mode_picture, number_picture
from annelid.compare.page.words import CAUTIONS
from annelid.compare.repeatability.files import FILES, PAGE
from annelid.compare.repeatability.point_spread import root_mean_square
from annelid.compare.repeatability.repeated import Repeatability
from annelid.compare.repeatability.shape_modes import ShapeModes
from annelid.results.figures.path_figures import SvgFigure
from annelid.results.pages.render import render
from annelid.results.report.safety import CAUTIONS as GENERAL_CAUTIONS
from annelid.results.views.rendering import RenderingError
from annelid.solver.display import digits

_MOST_MODES = 4  # that are pictured
_MOST_LEVELS, _MOST_ROWS = 12, 40  # parts and stragglers that are listed
_FEWEST_GROUPS = 3  # that are drawn


def repeatability_page(found: Repeatability) -> str:
    """Return the page."""
    reasons = list(words.doubts(found))
    shapes = found.shapes if isinstance(found.shapes, ShapeModes) else None
    stragglers = sorted(rows.consistency_rows(found), key=lambda row: row[-1])  # outliers first
    content = {
        "title": found.part.run.title,
        "outcome": {
            "tone": "warning" if reasons else "success",
            "kind": words.kind(found),
            "text": words.headline(found),
            "reasons": reasons,
            "remarks": (words.state_sentence(found),),
        },
        "tiles": _tiles(found),
        "limits": list(rows.limit_rows(found)),
        "deviations": list(rows.deviation_rows(found)),
        "levels": list(rows.level_rows(found)) if len(found.design.parts) <= _MOST_LEVELS else [],
        "components": list(rows.component_rows(found)),
        "stragglers": stragglers[:_MOST_ROWS],
        "more_stragglers": max(0, len(stragglers) - _MOST_ROWS),
        "tests": len(found.consistency),
        "values": list(_values(found)),
        "mandel": list(_mandel(found)),
        **_shapes(found, shapes),
        "compared": found.compared,
        "agreements": list(rows.agreement_rows(found)),
        "intervals": list(rows.interval_rows(found)),
        "agreement_text": [
            words.agreement_sentence(found, entry) for entry in list(found.agreements.values())[:1]
        ],
        "agreement_figures": list(_agreements(found)),
        **_study(found),
        "cautions": (*words.SPREAD_CAUTIONS, *CAUTIONS, *GENERAL_CAUTIONS),
        "facts": _facts(found),
        "files": FILES,
        **_pictures(found, shapes),
    }
    return render(PAGE, content)


def _tiles(found: Repeatability) -> list[dict[str, str]]:
    units, weight = found.part.run.units, found.places.weight
    fields = {
        "between parts": found.spread.parts,
        "repeatability": found.spread.repeatability,
        "reproducibility": found.spread.reproducibility,
    }
    tiles = []
    for name, field in fields.items():
        value = root_mean_square(field, weight)
        if np.isfinite(value):
            tiles.append({"name": name, "value": units.show("length", value, 3), "where": "of a place, s.d."})
    if isinstance(found.shapes, ShapeModes):
        tiles.append(
            {"name": "modes of variation", "value": str(len(found.shapes.modes.energy)), "where": ""}
        )
    share = float(weight[found.spread.number == len(found.chosen)].sum())
    tiles.append({"name": "seen by all scans", "value": f"{digits(100 * share, 3)} %", "where": ""})
    return tiles


def _values(found: Repeatability) -> list[SvgFigure]:
    return [
        figures.values_figure(found, n, numbers.unit_of(found, n)) for n in numbers.MAIN if n in found.names
    ]


def _mandel(found: Repeatability) -> list[SvgFigure]:
    drawn: list[SvgFigure] = []
    for name in numbers.MAIN[:2]:
        by_what: dict[str, list[Any]] = {}
        for measure, what, test in found.consistency:
            if measure == name and test.test.startswith("Mandel"):
                by_what.setdefault(what, []).append(test)
        for what, tests in list(by_what.items())[-3:]:
            if len({test.group for test in tests}) < _FEWEST_GROUPS:
                continue
            drawn.append(figures.mandel_figure(name, what, tests, len(drawn)))
    return drawn


def _mode_figures(found: Repeatability, shapes: ShapeModes) -> list[SvgFigure]:
    drawn = [figures.modes_figure(shapes)] if shapes.tests else []
    if len(shapes.modes.energy):
        drawn.append(figures.scores_figure(shapes))
    if found.part.radii is not None:
        for i, shape in enumerate(shapes.modes.shapes[:_MOST_MODES], 1):
            title = f"Mode {i}, one standard deviation"
            drawn.append(
                figures.unrolled_figure(found.places, shape, title, f"mode{i}", found.part.run.units)
            )
    return drawn


def _agreements(found: Repeatability) -> list[SvgFigure]:
    chosen = [name for name in numbers.MAIN if name in found.agreements]
    return [
        figures.agreement_figure(
            name, found.compared, found.agreements[name], numbers.unit_of(found, name), i
        )
        for i, name in enumerate(chosen)
    ]


def _pictures(found: Repeatability, shapes: ShapeModes | None) -> dict[str, Any]:
    places, spread, units = found.places, found.spread, found.part.run.units
    maps, modes, note = [], [], ""
    try:
        about = (
            "Mean shape of the parts: its deviation from the simulated surface, blue inside, brown outside."
        )
        maps.append(field_picture(places, spread.mean, "mean deviation, positive outside", about, units))
        for field, name in (
            (spread.parts, "standard deviation between parts"),
            (spread.repeatability, "repeatability standard deviation"),
            (spread.reproducibility, "reproducibility standard deviation"),
        ):
            if np.isfinite(field).any():
                maps.append(field_picture(places, field, name, f"{name.capitalize()} of each place.", units))
        if len(maps) == 1 and np.isfinite(spread.deviation).any():
            about = "Standard deviation of all scans at each place."
            maps.append(field_picture(places, spread.deviation, "standard deviation", about, units))
        maps.append(number_picture(places, spread.number, len(found.chosen)))
        if shapes is not None:
            pairs = zip(shapes.modes.shapes[:_MOST_MODES], shapes.modes.energy, strict=False)
            modes = [mode_picture(places, shape, i, float(e), units) for i, (shape, e) in enumerate(pairs, 1)]
    except RenderingError as error:
        note = f"Pictures could not be rendered. {error}"
    return {"maps": maps, "mode_pictures": modes, "picture_note": note}


def _shapes(found: Repeatability, shapes: ShapeModes | None) -> dict[str, Any]:
    return {
        "shapes": shapes,
        "no_modes": found.shapes if shapes is None else "",
        "modes": [] if shapes is None else list(rows.mode_rows(shapes, found)),
        "mode_figures": [] if shapes is None else list(_mode_figures(found, shapes)),
        "outliers": [] if shapes is None else list(rows.outlier_rows(shapes)),
        "area": "" if shapes is None else f"{digits(100 * shapes.area, 3)} %",
    }


def _study(found: Repeatability) -> dict[str, Any]:
    study = found.study
    return {
        "study": study,
        "study_text": [] if study is None else list(words.study_sentences(study)),
        "study_rows": [] if study is None else list(rows.study_rows(found, study)),
        "study_figures": [] if study is None or not study.rows else [figures.ratio_figure(study.rows)],
    }


def _facts(found: Repeatability) -> dict[str, str]:
    run, places = found.part.run, found.places
    return {
        "Run": run.path.name,
        "Case hash": str(run.provenance["case_hash"]),
        "State": f"{found.part.state}, {found.part.surface.name}",
        "List of scans": found.file.name,
        "Scans": ", ".join(f"{scan.entry.scan.name} ({scan.entry.title})" for scan in found.scans),
        "Places of the surface": f"{len(places.points):,}, medians within {digits(places.spot, 2)} mm",
    }
