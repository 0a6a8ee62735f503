# SPDX-License-Identifier: MIT
"""The runs of a study: every point becomes a resolved case, whose hash identifies the run."""

import hashlib
import json
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from annelid.cases.convert.path import NO_SEARCH
from annelid.cases.schema.case import Case
from annelid.cases.studies.design import Variable, make_design
from annelid.cases.studies.formula import evaluate
from annelid.cases.studies.keys import last_part, set_keys
from annelid.cases.studies.reading import StudyFile
from annelid.cases.studies.values import Value, internal_unit
from annelid.cases.validate.messages import not_one_of
from annelid.cases.validate.reading import case_from_tables
from annelid.cases.validate.reported import known_quantities
from annelid.cases.validate.resolved import case_hash, to_toml
from annelid.geometry.errors import InputError

__all__ = ["Plan", "PlannedRun", "extend_plan", "make_plan"]

_FIELDS: dict[str, Literal["none", "stage ends", "all"]] = {
    "tables": "none",
    "surfaces": "none",
    "stage ends": "stage ends",
    "all": "all",
}
_NOT_IN_EQUATIONS = ("title", "notes", "requirements", "output", "path")
_ID_LENGTH = 12
_LEADING_NUMBER = re.compile(r"\s*([-+]?[0-9.]+(?:[eE][-+]?[0-9]+)?)\s")


@dataclass(frozen=True)
class PlannedRun:
    """One run of a plan.

    Attributes:
        id: First digits of the hash of its resolved case, so the same case has the same id in any study.
        hash: The whole hash.
        values: Varied and derived values by name, as a case file writes them.
        toml: The resolved case as TOML text; empty if the case is not valid.
        problem: Why the case is not valid; empty if it is.
        kind: Key of the equations; runs of one kind share their compiled equations.
        ranks: Number of ranks.
    """

    id: str
    hash: str
    values: Mapping[str, Value]
    toml: str
    problem: str
    kind: str
    ranks: int = 1

    def case(self) -> Case:
        """The resolved case; ``toml`` must not be empty."""
        return case_from_tables(tomllib.loads(self.toml), source=self.id)


@dataclass(frozen=True)
class Plan:
    """A study with its runs.

    Attributes:
        file: The study file as read.
        variables: The variables, followed by the derived values.
        runs: The distinct runs, in the order of the points.
        run_of_point: Index of the run of every point; points with equal cases share a run.
        samples: Number of samples for each combination of lists; 0 without distributions.
    """

    file: StudyFile
    variables: tuple[Variable, ...]
    runs: tuple[PlannedRun, ...]
    run_of_point: tuple[int, ...]
    samples: int

    @property
    def max_ranks(self) -> int:
        """Largest number of ranks of a run."""
        return max(run.ranks for run in self.runs)

    def run(self, name: str) -> PlannedRun:
        """Find a run by its id, the beginning of its id, or its number from ``#1``.

        Raises:
            InputError: There is no such run, or more than one.
        """
        if re.fullmatch(r"#\d+", name):
            number = int(name[1:])
            if 1 <= number <= len(self.runs):
                return self.runs[number - 1]
            raise InputError(f"run {name}: the study has runs #1 to #{len(self.runs)}", key=name)
        matches = [run for run in self.runs if name and run.id.startswith(name)]
        if len(matches) != 1:
            text = (
                f'run "{name}": the ids of {len(matches)} runs start with this text; --dry-run lists all ids'
            )
            raise InputError(text, key=name)
        return matches[0]


def make_plan(file: StudyFile) -> Plan:
    """Resolve every point of a study.

    A point without a valid case becomes a run with a problem, which is reported as failed.

    Raises:
        InputError: The variables are not valid, or no point has a valid case.
    """
    design = make_design(file.study)
    return extend_plan(Plan(file, design.variables, (), (), design.samples), design.points)


def extend_plan(plan: Plan, points: Iterable[Mapping[str, Value]]) -> Plan:
    """Add points to a plan.

    Args:
        plan: The plan; without points it has only the variables, not the derived values.
        points: Values of the variables by name.

    Raises:
        InputError: See :func:`make_plan`.
    """
    file, runs = plan.file, {run.hash: run for run in plan.runs}
    hashes = [plan.runs[i].hash for i in plan.run_of_point]
    derived = {} if plan.runs else _derived_keys(file, plan.variables)
    units = _units_of_base(file)
    resolved: dict[str, PlannedRun] = {}  # the same values again are not resolved again
    for point in points:
        point_text = repr(sorted(point.items()))
        run = resolved.get(point_text) or _plan_run(file, plan.variables, point, units)
        resolved[point_text] = run
        runs.setdefault(run.hash, run)
        hashes.append(run.hash)
    found = tuple(runs.values())
    if not any(run.toml for run in found):
        text = f"{file.path}: no point of the study has a valid case; the first one: {found[0].problem}"
        raise InputError(text)
    _check_quantities(file, found)
    number = {run.hash: i for i, run in enumerate(found)}
    values = found[0].values
    more = tuple(Variable(name, key, internal_unit(values[name]), False) for name, key in derived.items())
    return Plan(file, plan.variables + more, found, tuple(number[h] for h in hashes), plan.samples)


def _units_of_base(file: StudyFile) -> Mapping[str, tuple[str, ...]]:
    """Units of the base case as it is written; derived values are in internal units, which do not count."""
    try:
        return case_from_tables(file.base, source=str(file.path), folder=file.folder).output.units
    except InputError:  # it may be complete only with the values of a point
        return {}


def _plan_run(
    file: StudyFile,
    variables: Iterable[Variable],
    point: Mapping[str, Value],
    units: Mapping[str, tuple[str, ...]],
) -> PlannedRun:
    """The run of a point: its values and the derived values are inserted into the base case."""
    study = file.study
    names: dict[str, Value] = {**study.constants, **point}
    keys: dict[str, Value] = dict(study.fixed)
    keys |= {v.key: point[v.name] for v in variables if v.key is not None and v.name in point}
    values = dict(point)
    for entry in study.derive:
        name = entry.name or last_part(entry.key or "")
        names[name] = values[name] = evaluate(entry.formula, names, key=f"derive[{name}].formula")
        if entry.key is not None:
            keys[entry.key] = names[name]
    tables = set_keys(file.base, keys)
    shown = {"units": dict(units)} if units else {}
    tables["output"] = {**tables.get("output", {}), **shown, "fields": _FIELDS[study.output.keep]}
    tables["path"] = {"seek_limit": NO_SEARCH, **tables.get("path", {})}
    words = ", ".join(f"{name} = {value}" for name, value in values.items())
    try:
        case = case_from_tables(tables, source=words, folder=file.folder)
    except InputError as error:
        digest = _digest(json.dumps([tables, values], sort_keys=True, default=str))
        return PlannedRun(digest[:_ID_LENGTH], digest, values, "", error.message, "")
    digest, ranks = case_hash(case), _ranks(study.ranks, values)
    return PlannedRun(digest[:_ID_LENGTH], digest, values, to_toml(case), "", _equation_kind(case), ranks)


def _ranks(default: int, values: Mapping[str, Value]) -> int:
    """Number of ranks of a run: that of the study, unless a value is called ``ranks``."""
    found = values.get("ranks", default)
    if isinstance(found, bool) or not isinstance(found, int | float) or found < 1 or found != int(found):
        text = f"ranks: {found!r} is not a number of processors; it must be a whole number, 1 or more"
        raise InputError(text, key="ranks", value=found)
    return int(found)


def _derived_keys(file: StudyFile, variables: Iterable[Variable]) -> dict[str, str | None]:
    """Key of every derived value by its name."""
    taken = {variable.name for variable in variables} | set(file.study.constants)
    derived: dict[str, str | None] = {}
    for number, entry in enumerate(file.study.derive, start=1):
        if entry.name is None and entry.key is None:
            raise InputError(f"derive[#{number}]: has neither a key nor a name", key="derive")
        name = entry.name or last_part(entry.key or "")
        if name in taken or name in derived:
            text = f'derive[#{number}]: the name "{name}" is already used; give the value another name'
            raise InputError(text, key=name)
        derived[name] = entry.key
    return derived


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _equation_kind(case: Case) -> str:
    """Hash of a case without its numbers, except 0 and 1, for which a term may vanish."""
    tables = {
        key: value for key, value in case.model_dump(by_alias=True).items() if key not in _NOT_IN_EQUATIONS
    }
    return _digest(json.dumps(_structure(tables), sort_keys=True))[:_ID_LENGTH]


def _structure(value: Any) -> Any:
    match value:
        case dict():
            return {str(key): _structure(member) for key, member in value.items()}
        case list() | tuple():
            return [_structure(member) for member in value]
        case str():
            match = _LEADING_NUMBER.match(value + " ")
            return _structure(float(match[1])) if match else value
        case None | bool():
            return value
        case _:
            return float(value) if value in (0, 1) else "number"


def _check_quantities(file: StudyFile, runs: Iterable[PlannedRun]) -> None:
    """Check that all quantities and objectives are reported by the case."""
    known = known_quantities(next(run for run in runs if run.toml).case())
    names = [("quantities", name) for name in file.study.quantities]
    names += [("objectives", objective.quantity) for objective in file.study.objectives]
    for key, name in names:
        if name not in known:
            text = not_one_of(name, list(known), what="reported by this case")
            raise InputError(f"{file.path}: {key}: {text}", key=key, value=name)
