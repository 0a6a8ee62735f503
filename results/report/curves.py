# SPDX-License-Identifier: MIT
"""The curves of a report, and the choice of what they show."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.results.figures.load_curves import load_curve, load_paths, load_reverses, response_quantity
from annelid.results.figures.load_ribbons import load_ribbons
from annelid.results.figures.load_titles import distinct_loads
from annelid.results.figures.path_figures import path_curve
from annelid.results.figures.stage_spans import StageSpan, stage_spans, takes_time
from annelid.results.folder.run_records import Verdict
from annelid.results.folder.tables import PathRecord
from annelid.solver.model import quantities as q
from annelid.solver.model.loads import LoadKind, load_kind

_MOST_PANELS, _MOST_STAGES = 6, 3
_CONSTANT = 1e-9  # of the largest value: smaller changes of a load are rounding
_PREFERRED = (
    q.WAVE_VOLUME.name,
    q.OCCLUSION.name,
    q.MEAN_RADIAL_EXPANSION.name,
    q.LARGEST_RADIAL_CONTRACTION.name,
    q.AXIAL_SHORTENING.name,
    q.LUMEN_VOLUME.name,
    q.PEAK_STRESS.name,
    q.LARGEST_STRETCH.name,
    q.MINIMUM_WALL_THICKNESS.name,
    q.LARGEST_TRUE_FIELD.name,
    q.BREAKDOWN_MARGIN.name,
    q.TEARING_MARGIN.name,
)


def curves(table: PathRecord, verdicts: Sequence[Verdict]) -> list[dict[str, Any]]:
    """Draw the main quantities against the load of each stage that changes one.

    If there are many such stages, the whole path is drawn, stage after stage.
    """
    stages = stage_spans(table)
    spans: list[StageSpan | None] = list(stages)
    if not spans:
        return []
    timed = {span.stage for span in stages if takes_time(table, span)}
    paths = load_paths(table, [span for span in stages if span.stage not in timed])
    groups = []
    if paths:
        large = [load_curve(table, path, name=f"load-curve{i}") for i, path in enumerate(paths)]
        groups.append({"heading": "Load curves", "large_figures": large, "figures": []})
    responses = {
        span.stage: response_quantity(table, path.spans)
        for path in paths
        for span in path.spans
        if load_reverses(table, span)
    }
    groups += [_timed_loads(table, span, verdicts) for span in stages if span.stage in timed]
    if len(spans) > 1 and not timed:
        groups.append(_group("Loads along the path", table, distinct_loads(table), None, verdicts, "loads"))
    if len(spans) > _MOST_STAGES:
        spans = [None]
    for number, span in enumerate(spans):
        heading = "The whole path" if span is None else f"Stage “{span.stage}”"
        names = _chosen_quantities(table, verdicts, span)
        abscissa = "" if span is None else responses.get(span.stage, "")
        if span is not None and span.stage in timed:
            abscissa = q.TIME.name
        names = [name for name in names if name != abscissa]
        groups.append(_group(heading, table, names, span, verdicts, f"stage{number}", abscissa))
    return groups


def _timed_loads(table: PathRecord, span: StageSpan, verdicts: Sequence[Verdict]) -> dict[str, Any]:
    """Draw the loads of a stage over its time, those of one kind together."""
    values = {name: np.nan_to_num(table[name][span.rows]) for name in table.loads}
    changing = [name for name, v in values.items() if np.ptp(v) > _CONSTANT * np.abs(v).max()]
    kinds: dict[LoadKind, dict[str, str]] = {}
    for name in changing:
        kind = load_kind(name)
        assert kind is not None
        kinds.setdefault(kind, {})[kind.entry(name)] = name
    rows = {kind: loads for kind, loads in kinds.items() if len(loads) > 1}
    alone = [name for kind, loads in kinds.items() if kind not in rows for name in loads.values()]
    number = table.stages.index(span.stage)
    group = _group(
        f"Loads of stage “{span.stage}”", table, alone, span, verdicts, f"loads{number}", q.TIME.name
    )
    ribbons = [
        load_ribbons(table, kind.label, loads, span, name=f"ribbons{number}-{i}")
        for i, (kind, loads) in enumerate(rows.items())
    ]
    return group | {"large_figures": ribbons}


def _chosen_quantities(table: PathRecord, verdicts: Sequence[Verdict], span: StageSpan | None) -> list[str]:
    rows = slice(None) if span is None else span.rows
    required = {v.quantity: None for v in verdicts}
    names = [n for n in required | dict.fromkeys(_PREFERRED) if n in table.quantities]
    return [n for n in names if _is_drawn(table[n][rows], n in required)][:_MOST_PANELS]


def _is_drawn(values: NDArray[np.float64], required: bool) -> bool:
    """Whether a quantity is drawn: it has a requirement or it varies."""
    finite = values[np.isfinite(values)]
    return finite.size > 1 and (required or bool(np.ptp(finite) > 1e-9 * np.abs(finite).max()))


def _group(
    heading: str,
    table: PathRecord,
    names: Sequence[str],
    span: StageSpan | None,
    verdicts: Sequence[Verdict],
    prefix: str,
    abscissa: str = "",
) -> dict[str, Any]:
    figures = [
        path_curve(table, quantity, span, abscissa=abscissa, verdicts=verdicts, name=f"{prefix}-{i}")
        for i, quantity in enumerate(names)
    ]
    return {"heading": heading, "large_figures": [], "figures": figures}
