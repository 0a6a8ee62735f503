# SPDX-License-Identifier: MIT
"""The runs of a study: every point becomes a resolved case, and its hash the name of the run."""

import hashlib
import json
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from annelid.cases.schema.case import Case
from annelid.cases.studies.design import Variable, design_of
from annelid.cases.studies.formula import evaluate
from annelid.cases.studies.keys import last_part, with_keys
from annelid.cases.studies.reading import StudyFile
from annelid.cases.studies.values import Value, unit_of
from annelid.cases.validate.messages import one_of
from annelid.cases.validate.reading import case_from_tables
from annelid.cases.validate.requirements import known_quantities
from annelid.cases.validate.resolved import to_toml
from annelid.geometry.errors import InputError

__all__ = ["Plan", "Planned", "extended", "plan_of"]

_FIELDS: dict[str, Literal["none", "stage ends", "all"]] = {
    "tables": "none",
    "surfaces": "none",
    "stage ends": "stage ends",
    "all": "all",
}
_APART = ("title", "notes", "requirements", "output", "path")  # no equation depends on these
_DIGITS = 12
_LEADING_NUMBER = re.compile(r"\s*([-+]?[0-9.]+(?:[eE][-+]?[0-9]+)?)\s")


@dataclass(frozen=True)
class Planned:
    """One run.

    Attributes:
        id: First digits of the hash of its resolved case, so the same case has the same id in any study.
        hash: The whole hash.
        values: Varied and derived values by name, as a case file writes them.
        toml: The resolved case as a TOML text; empty where these values make no possible case.
        problem: Why they do not; empty where they do.
        kind: What decides which equations are compiled; runs of one kind share them.
        ranks: Processors.
    """

    id: str
    hash: str
    values: Mapping[str, Value]
    toml: str
    problem: str
    kind: str
    ranks: int = 1

    def case(self) -> Case:
        """The resolved case; there is one only where ``toml`` is not empty."""
        return case_from_tables(tomllib.loads(self.toml), source=self.id)


@dataclass(frozen=True)
class Plan:
    """A study with its runs.

    Attributes:
        file: The study as read.
        variables: What varies, then what is derived.
        runs: The runs, each once, in the order of the points.
        of_point: Number of the run of every point; points of equal cases share a run.
        samples: Number of samples drawn for each combination of lists; 0 without scatter.
    """

    file: StudyFile
    variables: tuple[Variable, ...]
    runs: tuple[Planned, ...]
    of_point: tuple[int, ...]
    samples: int

    @property
    def most_ranks(self) -> int:
        """Most processors that a run takes."""
        return max(run.ranks for run in self.runs)

    def run(self, wanted: str) -> Planned:
        """A run by its id, the beginning of its id, or its number, ``#1`` being the first.

        Raises:
            InputError: There is none, or more than one.
        """
        if re.fullmatch(r"#\d+", wanted):
            number = int(wanted[1:])
            if 1 <= number <= len(self.runs):
                return self.runs[number - 1]
            raise InputError(f"run {wanted}: the study has runs #1 to #{len(self.runs)}", key=wanted)
        found = [run for run in self.runs if wanted and run.id.startswith(wanted)]
        if len(found) != 1:
            text = f'run "{wanted}": is the beginning of {len(found)} runs; --dry-run lists them'
            raise InputError(text, key=wanted)
        return found[0]


def plan_of(file: StudyFile) -> Plan:
    """Resolve every point of a study.

    Raises:
        InputError: What varies cannot be meant, or no point makes a possible case; some that do not are
            planned with their problem and will be reported as failed.
    """
    design = design_of(file.study)
    return extended(Plan(file, design.variables, (), (), design.samples), design.points)


def extended(plan: Plan, points: Iterable[Mapping[str, Value]]) -> Plan:
    """A plan with further points.

    Args:
        plan: The plan; one without points knows only the variables that are not derived.
        points: Values of these variables by name.

    Raises:
        InputError: As :func:`plan_of`.
    """
    file, runs = plan.file, {run.hash: run for run in plan.runs}
    hashes = [plan.runs[i].hash for i in plan.of_point]
    derived = {} if plan.runs else _derived(file, plan.variables)
    for point in points:
        run = _planned(file, plan.variables, point)
        runs.setdefault(run.hash, run)
        hashes.append(run.hash)
    found = tuple(runs.values())
    if not any(run.toml for run in found):
        text = f"{file.path}: no point of the study is a possible case; the first: {found[0].problem}"
        raise InputError(text)
    _check_quantities(file, found)
    number = {run.hash: i for i, run in enumerate(found)}
    values = found[0].values
    more = tuple(Variable(name, key, unit_of(values[name]), False) for name, key in derived.items())
    return Plan(file, plan.variables + more, found, tuple(number[h] for h in hashes), plan.samples)


def _planned(file: StudyFile, variables: Iterable[Variable], point: Mapping[str, Value]) -> Planned:
    """The run of a point: its values put into the base case, derived ones after them."""
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
    tables = with_keys(file.base, keys)
    tables["output"] = {**tables.get("output", {}), "fields": _FIELDS[study.output.keep]}
    words = ", ".join(f"{name} = {value}" for name, value in values.items())
    try:
        case = case_from_tables(tables, source=words, folder=file.folder)
    except InputError as error:
        digest = _digest(json.dumps([tables, values], sort_keys=True, default=str))
        return Planned(digest[:_DIGITS], digest, values, "", error.message, "")
    toml = to_toml(case)
    digest = _digest(toml)  # what case_hash gives
    return Planned(digest[:_DIGITS], digest, values, toml, "", _kind(case), _ranks(study.ranks, values))


def _ranks(usual: int, values: Mapping[str, Value]) -> int:
    """Processors of a run: those of the study, unless a value is called ``ranks``."""
    found = values.get("ranks", usual)
    if isinstance(found, bool) or not isinstance(found, int | float) or found < 1 or found != int(found):
        text = f"ranks: {found!r} is not a number of processors; it must be a whole number, 1 or more"
        raise InputError(text, key="ranks", value=found)
    return int(found)


def _derived(file: StudyFile, variables: Iterable[Variable]) -> dict[str, str | None]:
    """Key of every derived value by its name."""
    taken = {variable.name for variable in variables} | set(file.study.constants)
    derived: dict[str, str | None] = {}
    for number, entry in enumerate(file.study.derive, start=1):
        if entry.name is None and entry.key is None:
            raise InputError(f"derive[#{number}]: has neither a key nor a name", key="derive")
        name = entry.name or last_part(entry.key or "")
        if name in taken or name in derived:
            text = f'derive[#{number}]: something else is called "{name}"; give it a name'
            raise InputError(text, key=name)
        derived[name] = entry.key
    return derived


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _kind(case: Case) -> str:
    """What is left of a case without its numbers, save 0 and 1, which may mean that a term is absent."""
    tables = {key: value for key, value in case.model_dump(by_alias=True).items() if key not in _APART}
    return _digest(json.dumps(_bare(tables), sort_keys=True))[:_DIGITS]


def _bare(value: Any) -> Any:
    match value:
        case dict():
            return {str(key): _bare(member) for key, member in value.items()}
        case list() | tuple():
            return [_bare(member) for member in value]
        case str():
            match = _LEADING_NUMBER.match(value + " ")
            return _bare(float(match[1])) if match else value
        case None | bool():
            return value
        case _:
            return float(value) if value in (0, 1) else "number"


def _check_quantities(file: StudyFile, runs: Iterable[Planned]) -> None:
    """Make sure that what is to be drawn or weighed is reported."""
    known = known_quantities(next(run for run in runs if run.toml).case())
    wanted = [("quantities", name) for name in file.study.quantities]
    wanted += [("objectives", objective.quantity) for objective in file.study.objectives]
    for key, name in wanted:
        if name not in known:
            text = one_of(name, list(known), what="reported by this case")
            raise InputError(f"{file.path}: {key}: {text}", key=key, value=name)
