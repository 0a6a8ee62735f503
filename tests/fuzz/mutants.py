# SPDX-License-Identifier: MIT
"""Mutants of case, study and CSV files and of Run folders, each with the command that reads it."""

import math
import random
import shutil
import tomllib
from pathlib import Path

import tomli_w
from mutations import changed_bytes, changed_tables, damage
from plain_tube import TABLES
from stand_in_runs import finish
from synthetic_parts import meridian_tube
from synthetic_runs import create, finished, states

from annelid.cases.studies.failure import Failure
from annelid.cases.studies.opening import create_study, open_study
from annelid.cases.studies.reading import library_studies
from annelid.cases.validate.reading import library_cases

# Cases whose check takes less than half a second; the others have equal or similar tables.
CASES = (
    *("cuff", "mandrel", "oesophagus", "necking_tube", "pull_in_tube", "two_material_sleeve", "tapered_tube"),
    *("widening_tube",),
    *("counterpulsation", "dome_valve", "highest_voltage", "pressed_ribs", "lattice_sleeve", "stent_sheath"),
)
RADII = {"key": "shape.inner_radius", "values": ["4 mm", "5 mm", "6 mm"]}
STUDIES = ("balloon_tolerance", "cuff_voltage", "ring_optimum", "tube_choice")
CONTOUR = "radius_mm,height_mm\n" + "".join(
    f"{6 + math.sin(0.3 * z):.3f},{z}\n" for z in (0, 2, 4, 6, 8, 10, 12, 14)
)
SCAN = "angle_deg,height_mm,radius_mm\n" + "".join(
    f"{a},{z},{6.3 + 0.05 * math.cos(math.radians(a)):.4f}\n"
    for a in range(0, 360, 30)
    for z in (0, 6, 12, 18, 24)
)


class Mutants:
    """Makes mutants by their number.

    Args:
        seed: Seed of all mutants.
        models: A folder for the Run folders that are damaged.
    """

    def __init__(self, seed, models):
        self.seed = seed
        body = meridian_tube(1, 2)
        self.runs = [finished(models / "finished", body), models / "unfinished"]
        with create(self.runs[1], body) as run:
            for state in states(body):
                run.append(state)
        self.runs.append(finished(models / "tables", body, keep_fields="none"))
        self.study_folder = study_folder(models)
        self.cases = [TABLES, *(tomllib.loads(library_cases()[name].read_text()) for name in CASES)]
        self.studies = [tomllib.loads(library_studies()[name].read_text()) for name in STUDIES]
        self.studies[0]["sampling"]["samples"] = 8
        for study in self.studies:  # a coarse mesh, because --dry-run times a run
            study.setdefault("fixed", {})["mesh.along"] = "8 mm"

    def make(self, number, folder):
        """Write a mutant into a folder and return the arguments of the command that reads it."""
        chance = random.Random(f"{self.seed} {number}")
        kinds = (self._case, self._study, self._contour, self._scan, self._run, self._study_folder)
        return chance.choices(kinds, weights=(58, 7, 6, 4, 20, 5))[0](folder, chance)

    def _case(self, folder, chance):
        write_mutant(folder / "case.toml", chance.choice(self.cases), chance)
        return ["check", "case.toml"]

    def _study(self, folder, chance):
        write_mutant(folder / "study.toml", chance.choice(self.studies), chance)
        return ["study", "study.toml", "--dry-run"]

    def _contour(self, folder, chance):
        (folder / "contour.csv").write_bytes(changed_bytes(CONTOUR.encode(), chance))
        tables = tomllib.loads(library_cases()["counterpulsation"].read_text())
        tables["shape"]["meridian"] = {"kind": "file", "path": "contour.csv"}
        (folder / "case.toml").write_text(tomli_w.dumps(tables))
        return ["check", "case.toml"]

    def _scan(self, folder, chance):
        (folder / "scanned_tube.csv").write_bytes(changed_bytes(SCAN.encode(), chance))
        tables = tomllib.loads(library_cases()["scanned_tube"].read_text())
        tables["lattice"] |= {"from": "10 mm", "to": "14 mm"}  # too short for a cell, so nothing is meshed
        (folder / "case.toml").write_text(tomli_w.dumps(tables))
        return ["check", "case.toml"]

    def _run(self, folder, chance):
        damage_folder(chance.choice(self.runs), folder / "run", chance)
        return chance.choice((["report", "run"], ["view", "run", "--image", "picture.png"]))

    def _study_folder(self, folder, chance):
        damage_folder(self.study_folder, folder / "study", chance)
        return ["study", "study", chance.choice(("--status", "--collect", "--dry-run"))]


def study_folder(models):
    """Return the folder of a study of three runs, two of them finished and one failed."""
    (models / "radii.toml").write_text(tomli_w.dumps({"title": "Radii", "case": TABLES, "vary": [RADII]}))
    plan, store = open_study(str(models / "radii.toml"), models / "study")
    create_study(plan, store)
    for run in plan.runs[:2]:
        finish(store.run_folder(run), run.toml, 4.0)
    store.record_failure(plan.runs[2], Failure("error", "no mesh"))
    return store.path


def damage_folder(model, copy, chance):
    """Copy a folder and damage one of its files."""
    shutil.copytree(model, copy)
    damage(chance.choice(sorted(path for path in copy.rglob("*") if path.is_file())), chance)


def write_mutant(path: Path, tables, chance):
    """Write changed tables as TOML, or the changed text of tables."""
    if chance.random() < 0.6:
        path.write_text(tomli_w.dumps(changed_tables(tables, chance)))
    else:
        path.write_bytes(changed_bytes(tomli_w.dumps(tables).encode(), chance))
