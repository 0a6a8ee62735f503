# SPDX-License-Identifier: MIT
"""Writing a run on its first rank: folder, log, progress, verdicts."""

import time
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from annelid.cases.convert.body import MeshedPart
from annelid.cases.convert.description import description_of
from annelid.cases.run.environment import provenance, version
from annelid.cases.run.memory import peak_memory
from annelid.cases.run.progress import Progress, describe, progress_for
from annelid.cases.schema.case import Case
from annelid.cases.validate.resolved import case_hash, resolved_text
from annelid.cases.validate.verdicts import Quantities, verdicts
from annelid.geometry.meshing.quality import quality
from annelid.geometry.writing import system_error
from annelid.results.evidence.evidence import evidence_of
from annelid.results.folder.folder_files import MESHED_HASH, log_end
from annelid.results.folder.run_folder import RunFolder
from annelid.results.folder.run_records import Verdict
from annelid.results.verification.adaptation import Adaptation
from annelid.solver.records import Equilibrium, Outcome

__all__ = ["RunWriter"]


class RunWriter:
    """Writes the states of a path to a Run folder as they are computed, and evaluates the requirements.

    If the mesh was chosen for an accuracy, ``chosen`` is the hash of the case that asked for it, by which the
    folder is known, and how the mesh was chosen.

    A context manager: leaving it before ``finish`` leaves the folder marked as unfinished.

    Attributes:
        states: Number of states written.
    """

    def __init__(
        self,
        case: Case,
        part: MeshedPart,
        folder: Path,
        *,
        ranks: int,
        rerun: bool,
        keep_surfaces: bool,
        chosen: tuple[str, Adaptation] | None = None,
    ) -> None:
        self._asked = case_hash(case) if chosen is None else chosen[0]
        self._adaptation = None if chosen is None else chosen[1]
        asked_for = {} if chosen is None else {MESHED_HASH: case_hash(case)}
        description = description_of(case)
        self._case = case
        self._description, self._units = description, description.units
        self._body = part.body
        self._folder = RunFolder.create(
            folder,
            case_toml=resolved_text(case),
            case_hash=self._asked,
            description=description,
            provenance=provenance(ranks) | asked_for,
            body=part.body,
            inflation=part.inflation,
            keep_fields=case.output.fields,
            keep_surfaces=keep_surfaces,
            rerun=rerun,
        )
        self._progress: Progress = progress_for([stage.name for stage in case.stages], self._units)
        self._last: Quantities = {}
        self._ends: dict[str, Quantities] = {}
        self._begin = time.monotonic()
        self._iterations = 0
        self.states = 0
        if self._adaptation is not None:
            self._folder.log("\n".join([self._adaptation.text, *self._adaptation.notes]))
        self._folder.log(quality(part.body).table())

    def __enter__(self) -> "RunWriter":
        self._progress.__enter__()
        return self

    def __exit__(self, *error: Any) -> None:
        self._progress.__exit__(*error)
        kind, value, _ = error
        if kind is not None:
            if isinstance(value, OSError):
                value = system_error(value)
            log_end(self.path, "interrupted" if kind is KeyboardInterrupt else str(value) or kind.__name__)
        self._folder.close()

    @property
    def path(self) -> Path:
        """The Run folder."""
        return self._folder.path

    def log(self, text: str) -> None:
        """Add lines to the log of the run."""
        self._folder.log(text)

    def observe(self, state: Equilibrium) -> None:
        """Write and show a state."""
        self._folder.append(state)
        self._folder.log(describe(state, self._units))
        self._progress.show(state)
        self.states += 1
        self._iterations += state.iterations
        self._last = state.quantities
        if state.parameter >= 1.0:
            self._ends[state.stage] = state.quantities

    def finish(self, outcome: Outcome, solution: Mapping[str, Any]) -> tuple[Verdict, ...]:
        """Evaluate the requirements and write the summary.

        Args:
            outcome: How the path ended.
            solution: Counts of the solution, by name.
        """
        reached = outcome.kind == "reached"
        whole = self._folder.path_quantities()
        evaluated = verdicts(
            self._case, self._last, self._ends, outcome.margins, reached=reached, whole=whole
        )
        seconds = time.monotonic() - self._begin
        facts = {
            "mesh": self._mesh_facts(),
            "solution": {**solution, "states": self.states, "Newton iterations": self._iterations},
            "cost": {"time": f"{seconds:.2f} s", "peak memory of the first rank": f"{peak_memory():.0f} MB"},
        }
        self._folder.log("\n".join([outcome.text, *outcome.remarks, *(m.text for m in outcome.margins)]))
        adaptation = {} if self._adaptation is None else self._adaptation.to_mapping()
        self._folder.finish(
            outcome, verdicts=evaluated, facts=facts, evidence=self._evidence(), adaptation=adaptation
        )
        return evaluated

    def _evidence(self) -> list[dict[str, Any]]:
        """The evidence at the end of the run; a report looks for it again."""
        about = self._asked, self._description.features, self._description.not_judged
        found = evidence_of(self.path, *about, version=version(), adaptation=self._adaptation)
        return [asdict(part) for part in found]

    def _mesh_facts(self) -> dict[str, Any]:
        measured = quality(self._body)
        return {
            "model": self._body.model,
            "cell type": self._body.cell_type,
            "cells": measured.whole.cells,
            "nodes": measured.nodes,
            "minimum scaled Jacobian": round(measured.minimum_scaled_jacobian, 4),
            "maximum aspect ratio": round(measured.maximum_aspect_ratio, 2),
            **{f"cells of {name}": region.cells for name, region in measured.regions.items()},
        }
