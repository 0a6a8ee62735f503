# SPDX-License-Identifier: MIT
"""The page about a comparison, without external files."""

from typing import Any

from annelid.compare.comparison.compared import Comparison
from annelid.compare.comparison.files import ALIGNED, PAGE, PARQUET, SURFACE, TABLE
from annelid.compare.comparison.map_surface import MapSurface
from annelid.compare.page.diverging import colour_limit
from annelid.compare.page.figures import histogram, radius_figure, section_figures, unrolled_map
from annelid.compare.page.pictures import cleaning_picture, data_url, map_picture
from annelid.compare.page.words import (
    CAUTIONS,
    answer,
    doubts,
    headline,
    measure_rows,
    measure_text,
    missed,
    pose_sentences,
    removal_rows,
    rule,
    state_sentence,
    verdict_row,
)
from annelid.results.folder.folder_files import SUMMARY
from annelid.results.pages.render import render
from annelid.results.report.safety import CAUTIONS as GENERAL_CAUTIONS
from annelid.results.views.rendering import RenderingError
from annelid.solver.display import DisplayUnit, digits

_TILES = ("root mean square deviation", "mean deviation")


def comparison_page(compared: Comparison, surface: MapSurface) -> str:
    """Return the page about a comparison.

    Args:
        compared: The comparison.
        surface: Its surface with deviations.
    """
    limit = colour_limit(surface.deviation)
    length = compared.part.run.units.unit("length", limit)
    missing, reasons = list(missed(compared)), list(doubts(compared))
    content = {
        "title": compared.part.run.title,
        "outcome": {
            "tone": "failure" if missing else "warning" if reasons else "success",
            "kind": answer(compared),
            "text": headline(compared),
            "reasons": [*missing, *reasons],
            "remarks": (state_sentence(compared),),
        },
        "tiles": _tiles(compared),
        "verdicts": [verdict_row(compared.part.run.units, verdict) for verdict in compared.verdicts],
        "rule": rule(compared),
        "measures": measure_rows(compared),
        "pose": list(pose_sentences(compared)),
        "removed": removal_rows(compared),
        "cautions": (*CAUTIONS, *GENERAL_CAUTIONS),
        "facts": _facts(compared),
        "files": (PAGE, TABLE, PARQUET, SURFACE, ALIGNED, SUMMARY),
        **_drawings(compared, surface, length, limit),
    }
    return render(PAGE, content)


def _tiles(compared: Comparison) -> list[dict[str, str]]:
    tiles = []
    for name in _TILES:
        tiles.append({"name": name, "value": measure_text(compared, name, alone=True)})
    tiles.append({"name": "covered surface", "value": f"{digits(100 * compared.seen.coverage, 3)} %"})
    tiles.append({"name": "points that count", "value": f"{len(compared.kept.value):,}"})
    return [{**tile, "where": ""} for tile in tiles]


def _drawings(compared: Comparison, surface: MapSurface, length: DisplayUnit, limit: float) -> dict[str, Any]:
    radii, note = compared.part.radii, ""
    maps, cleaning = [], []
    try:
        picture, place = map_picture(surface, length, limit)
        spot = compared.part.run.units.show("length", surface.spot, 2)
        ends = length.behind(f"±{digits(length.factor * limit, 3)}")
        caption = (
            f"Deviation on the simulated surface; the side that faces away is {place}. Blue is inside, brown "
            "outside, grey is not covered by the scan. Each place has the median of the points within "
            f"{spot}. Larger deviations than {ends} have the last colour."
        )
        maps.append({"source": data_url(picture), "caption": caption})
        picture, away = cleaning_picture(compared)
        caption = "Points of the scan from two opposite sides: grey ones count, the others were removed."
        caption += f" {away:,} of these are too far away for the picture." if away else ""
        cleaning.append({"source": data_url(picture), "caption": caption})
    except RenderingError as error:
        note = f"Pictures could not be rendered. {error}"
    return {
        "maps": maps,
        "cleaning": cleaning,
        "picture_note": note,
        "unrolled": [] if radii is None else [unrolled_map(compared, radii, length, limit)],
        "histogram": [histogram(compared, length)],
        "sections": [] if radii is None else section_figures(compared, radii, length),
        "radii": [] if radii is None else [radius_figure(compared, radii)],
    }


def _facts(compared: Comparison) -> dict[str, str]:
    run = compared.part.run
    return {
        "Run": run.path.name,
        "Case hash": str(run.provenance["case_hash"]),
        "Surface": f"{compared.part.surface.name}, {compared.part.choice.text}",
        "Scan": f"{compared.scan.name}, read in {compared.settings.unit}",
        "SHA-256 of the scan": compared.digest,
        "Points of the scan": f"{len(compared.cloud.points):,}",
        "Spacing of the points": f"{digits(compared.cleaned.spacing_mm, 3)} mm",
        "Noise of a point": f"{digits(compared.sound.noise, 3)} mm, against its neighbours on the surface",
    }
