# SPDX-License-Identifier: MIT
"""The page about several scans that were compared with the same state."""

from collections.abc import Mapping, Sequence

import numpy as np

from annelid.compare.comparison.files import PAGE
from annelid.compare.comparison.simulated_part import SimulatedPart
from annelid.compare.deviation.quantities import UNITS, Uncertain
from annelid.compare.page.words import CAUTIONS, INVENTED, with_error
from annelid.results.pages.render import render
from annelid.results.report.safety import CAUTIONS as GENERAL_CAUTIONS
from annelid.results.views.headline import state_text
from annelid.solver.display import DisplayUnit, digits


def batch_page(
    part: SimulatedPart, measures: Mapping[str, Mapping[str, Uncertain]], invented: Sequence[str]
) -> str:
    """Return the page with the measures of several scans, their mean and their spread.

    Args:
        part: The simulated surface.
        measures: Quantities with uncertainty by name, by the name of the folder of the scan.
        invented: Names of those scans that are invented.
    """
    names = list(measures)
    text = (
        "Spread is the standard deviation of the values of the scans. How far it comes from the parts and "
        "how far from the measurement can only be told from repeated scans of one part."
    )
    content = {
        "title": part.run.title,
        "outcome": {
            "tone": "warning" if invented else "success",
            "kind": f"{len(names)} scans",
            "text": f"Compared with the {part.surface.name} in {state_text(part.run, part.state)}.",
            "reasons": [f"{name} is invented: {INVENTED}." for name in invented],
            "remarks": (text,),
        },
        "tiles": [],
        "columns": ["Measure", *names, "Mean", "Spread"],
        "rows": [
            _row(name, [entry[name] for entry in measures.values()]) for name in next(iter(measures.values()))
        ],
        "pages": [(name, f"{name}/{PAGE}") for name in names],
        "cautions": (*CAUTIONS, *GENERAL_CAUTIONS),
    }
    return render("comparisons.html", content)


def _row(name: str, found: Sequence[Uncertain]) -> list[str]:
    unit = DisplayUnit(UNITS[name], 1.0)
    values = np.array([entry.value for entry in found])
    mean, spread = (unit.behind(digits(float(x), 3)) for x in (values.mean(), values.std(ddof=1)))
    return [name, *(with_error(entry.value, entry.standard_deviation, unit) for entry in found), mean, spread]
