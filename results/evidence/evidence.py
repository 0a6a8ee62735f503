# SPDX-License-Identifier: MIT
"""The evidence for the numbers of a run: what was checked, what was not, and what is not known.

The five parts follow the concepts of ASME V&V 10, V&V 20 and V&V 40 (from memory): verification of the code,
verification of the solution, uncertainty of the input, validation, and applicability. Nothing is claimed that
was not run: evidence is looked for beside the Run folder and belongs to a run by the hash of its case.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from annelid.geometry.errors import InputError
from annelid.results.evidence.scatter import SCATTER, read_scatter
from annelid.results.evidence.selfcheck_record import read_record
from annelid.results.folder.digests import read_sealed
from annelid.results.folder.folder_files import SUMMARY
from annelid.results.verification.adaptation import Adaptation
from annelid.results.verification.record import TOO_CLOSE, VERIFICATION, Verification, read_verification
from annelid.solver.display import counted, digits

__all__ = ["Evidence", "evidence_of", "find_verification"]

_MOST_FOLDERS = 300
_COMPARE = "compare"


@dataclass(frozen=True)
class Evidence:
    """One part of the evidence.

    Attributes:
        part: Name of the part.
        status: Its status in words.
        tone: ``"success"``, ``"warning"``, ``"failure"`` or ``""`` (not done).
        sentences: What was found, or how to obtain it.
    """

    part: str
    status: str
    tone: str
    sentences: tuple[str, ...]


def evidence_of(
    run: Path,
    case_hash: str,
    features: Sequence[str],
    limits: Sequence[str],
    *,
    version: str,
    adaptation: Adaptation | None = None,
) -> tuple[Evidence, ...]:
    """Collect the evidence for a run.

    Args:
        run: The Run folder; evidence is looked for in it and in the folders beside it.
        case_hash: Hash of its resolved case.
        features: Features of the program that the case uses.
        limits: Sentences on what the case or its model leaves open.
        version: Version of the program that did the run.
        adaptation: How its mesh was chosen, if it was.
    """
    return (
        _code(features, version),
        _solution(find_verification(run, case_hash), adaptation),
        _input(run, case_hash),
        _validation(run, case_hash),
        _applicability(limits),
    )


def find_verification(run: Path, case_hash: str) -> Verification | None:
    """Return the verification of the case of a run, from the folders beside it; ``None`` if there is none."""
    for folder in _beside(run, "verifications", VERIFICATION):
        try:
            found = read_verification(folder)
        except (InputError, OSError, KeyError, TypeError, ValueError):
            continue
        if found.case_hash == case_hash:
            return found
    return None


def _beside(run: Path, name: str, file: str) -> Iterator[Path]:
    """Folders with a file beside a Run folder, and in the folder of the given name beside its folder."""
    place = run.resolve().parent
    for folder in (place, place.parent / name):
        try:
            yield from sorted(path.parent for path in folder.glob(f"*/{file}"))[:_MOST_FOLDERS]
        except OSError:
            continue


def _code(features: Sequence[str], version: str) -> Evidence:
    part, record = "Code verification", read_record()
    if not features:
        text = "The run does not state which features its case uses."
        return Evidence(part, "not known", "", (text,))
    if record is None:
        text = "The published checks were not run on this machine: annelid selfcheck runs them."
        return Evidence(part, "not done", "", (text,))
    about = [check for check in record.results if set(check.covers) & set(features)]
    covered = {word for check in about if check.passed for word in check.covers}
    open_features = [word for word in features if word not in covered]
    sentences = [
        f"{check.feature}: error {digits(100 * check.error, 2)} %, "
        f"allowed {digits(100 * check.tolerance, 2)} % ({check.source})"
        for check in about
    ]
    if open_features:
        sentences.append(f"No check covers: {', '.join(open_features)}.")
    if record.version != version:
        sentences.append(f"The checks were run with version {record.version}, the run with {version}.")
    sentences.append(f"The checks were run on {record.when}.")
    failed = [check for check in about if not check.passed]
    if failed:
        return Evidence(part, f"{counted(len(failed), 'check')} failed", "failure", tuple(sentences))
    done = len(features) - len(open_features)
    status = f"{counted(len(about), 'check')} passed, for {done} of {len(features)} features of the case"
    tone = "success" if about and not open_features and record.version == version else "warning"
    return Evidence(part, status, tone, tuple(sentences))


def _solution(found: Verification | None, adaptation: Adaptation | None) -> Evidence:
    part = "Solution verification"
    if found is None and adaptation is not None:
        return _estimated(part, adaptation)
    if found is None:
        text = "The errors of mesh and steps of this case are not known: annelid verify finds error bars."
        return Evidence(part, "not done", "", (text,))
    barred = sum(bar.has_bar for bar in found.bars)
    close = [v.quantity for v in found.verdicts if v.answer == TOO_CLOSE]
    without = [v.quantity for v in found.verdicts if not math.isfinite(v.half_width)]
    sentences = [*_required_bars(found)]
    if close:
        sentences.append(f"Too close to call: {', '.join(dict.fromkeys(close))}.")
    if without:
        sentences.append(f"Without an error bar: {', '.join(dict.fromkeys(without))}.")
    sentences += found.remarks
    status = f"error bars of {barred} of {len(found.bars)} numbers"
    return Evidence(part, status, "warning" if close or without else "success", tuple(sentences))


def _estimated(part: str, adaptation: Adaptation) -> Evidence:
    """Errors of the mesh that were estimated when it was chosen."""
    sentences = [f"{adaptation.text[0].upper()}{adaptation.text[1:]}."]
    sentences += [
        f"{q.quantity}, stage '{q.stage}': ± {digits(100 * q.share, 2)} % from the mesh"
        for q in adaptation.quantities
    ]
    sentences += [f"{note[0].upper()}{note[1:]}." for note in adaptation.notes]
    sentences.append("Errors of steps are not among them: annelid verify finds error bars of all numbers.")
    status = "mesh errors estimated, " + (
        "as accurate as asked" if adaptation.reached else "larger than asked"
    )
    return Evidence(part, status, "success" if adaptation.reached else "warning", tuple(sentences))


def _required_bars(found: Verification) -> Iterator[str]:
    shown = set()
    for verdict in found.verdicts:
        key = verdict.quantity, verdict.where
        if key not in shown and verdict.value and math.isfinite(verdict.half_width):
            shown.add(key)
            share = digits(100 * verdict.half_width / abs(verdict.value), 2)
            yield f"{verdict.quantity} {verdict.where}: ± {share} % of its value"


def _input(run: Path, case_hash: str) -> Evidence:
    part = "Input uncertainty"
    found = next(
        (
            (folder, data)
            for folder in _beside(run, "studies", SCATTER)
            if (data := read_scatter(folder)) is not None and data.get("case_hash") == case_hash
        ),
        None,
    )
    if found is None:
        text = "The scatter of sizes and materials is not taken into account: a study with tolerances does."
        return Evidence(part, "not done", "", (text,))
    folder, data = found
    text = f"{data['met']} of {data['parts']} parts meet all requirements (study “{folder.name}”)"
    sentences = [
        f"{q['name']}: 90 % of the parts from {digits(float(q['low']))} to {digits(float(q['high']))} "
        f"{q['unit']}"
        for q in data["quantities"]
    ]
    tone = "success" if data["met"] == data["parts"] else "warning"
    return Evidence(part, f"{counted(int(data['parts']), 'part')} computed", tone, (text, *sentences))


def _validation(run: Path, case_hash: str) -> Evidence:
    part = "Validation"
    found = [data for data in _comparisons(run) if data["run"]["case_hash"] == case_hash]
    measured = [data for data in found if not data["scan"]["invented"]]
    sentences = [_deviation(data) for data in measured]
    if len(measured) < len(found):
        sentences.append("Comparisons with invented scans show nothing about real parts; they do not count.")
    if not measured:
        text = "No measured part was compared with this run: annelid compare does."
        return Evidence(part, "not done", "", (text, *sentences))
    missed = sum(v["verdict"] == "not met" for data in measured for v in data["verdicts"])
    status = f"{counted(len(measured), 'scan')} compared"
    status += f", {counted(missed, 'requirement')} not met" if missed else ""
    return Evidence(part, status, "failure" if missed else "success", tuple(sentences))


def _comparisons(run: Path) -> Iterator[dict[str, Any]]:
    """The comparisons with scans in a Run folder."""
    for path in sorted((run / _COMPARE).rglob(SUMMARY))[:_MOST_FOLDERS]:
        try:
            data = read_sealed(path)
        except (InputError, OSError):
            continue
        if data.get("kind") == "annelid comparison":
            yield data


def _deviation(data: dict[str, Any]) -> str:
    measure = data["measures"].get("root mean square deviation", {})
    name = Path(data["scan"]["file"]).name
    if "value" not in measure:
        return f"scan {name}"
    return f"scan {name}: root mean square deviation {digits(float(measure['value']), 3)} {measure['unit']}"


def _applicability(limits: Sequence[str]) -> Evidence:
    if not limits:
        text = (
            "No limit of the models is known that this case touches; that does not prove that there is none."
        )
        return Evidence("Applicability", "no known limit touched", "", (text,))
    return Evidence(
        "Applicability", f"{counted(len(limits), 'limit')} of the models touched", "warning", tuple(limits)
    )
