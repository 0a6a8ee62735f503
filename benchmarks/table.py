# SPDX-License-Identifier: MIT
"""Measurements as a CSV file and as Markdown tables, with a description of the machine."""

import csv
import os
import platform
from collections.abc import Iterable
from dataclasses import asdict
from importlib.metadata import PackageNotFoundError, version
from math import isnan
from pathlib import Path

from benchmarks.record import Record

PACKAGES = ("dolfinx-solver-real", "felupe", "scikit-fem", "ngsolve", "mkl", "numpy", "scipy")
OURS = "this project"


def write_tables(records: list[Record], compiled: dict[str, float], load: float, folder: Path) -> str:
    """Write ``results.csv`` and ``results.md``, and return the Markdown.

    Args:
        records: One record for each run.
        compiled: Time to compile all forms by model, s.
        load: Load of the machine before the first run.
        folder: Folder of the files.
    """
    rows = [_named(record) for record in records]
    with (folder / "results.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    parts = ["# Results", _machine(load)]
    for model in dict.fromkeys(record.model for record in records):
        parts.append(f"## {model}")
        parts.append(f"All forms are compiled once, in {compiled[model]:.1f} s, and then cached.")
        parts.append(_table(r for r in records if r.model == model))
        parts.append(_comparison([r for r in records if r.model == model]))
    parts.append("Solvers:")
    parts.append("\n".join(f"- {s}: {r}" for s, r in {r.solver: r.remark for r in records}.items()))
    text = "\n\n".join(parts) + "\n"
    (folder / "results.md").write_text(text)
    return text


def _named(record: Record) -> dict[str, object]:
    units = {
        "start_up": "start_up_s",
        "set_up": "set_up_s",
        "path": "path_s",
        "assembly": "assembly_s",
        "factorisation": "factorisation_s",
        "solve": "solve_s",
        "reading": "reading_s",
        "memory": "memory_MB",
        "volume_change": "volume_change_1",
    }
    return {units.get(k, k): f"{v:.6g}" if isinstance(v, float) else v for k, v in asdict(record).items()}


def _machine(load: float) -> str:
    lines = Path("/proc/cpuinfo").read_text().splitlines()
    name = next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), "unknown")
    versions = []
    for package in PACKAGES:
        try:
            versions.append(f"{package} {version(package)}")
        except PackageNotFoundError:
            continue
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    return (
        f"{name}, {os.cpu_count()} cores, {memory:.0f} GB; Python {platform.python_version()}, "
        f"{', '.join(versions)}. "
        f"One thread per process. Load of the machine before the first run: {load:.2f}."
    )


def _table(records: Iterable[Record]) -> str:
    head = [
        "size",
        "solver",
        "unknowns",
        "start-up s",
        "set-up s",
        "assembly ms",
        "factorisation ms",
        "solve ms",
        "corrections",
        "factorisations",
        "path s",
        "reading s",
        "memory MB",
        "volume change %",
    ]
    lines = [" | ".join(head), " | ".join(["---"] * 2 + ["---:"] * (len(head) - 2))]
    lines += [" | ".join(_row(record)) for record in records]
    return "\n".join(f"| {line} |" for line in lines)


def _row(r: Record) -> list[str]:
    solve = "in factorisation" if isnan(r.solve) else f"{r.solve * 1e3:.1f}"
    return [
        r.size,
        r.solver,
        f"{r.unknowns}",
        f"{r.start_up:.2f}",
        f"{r.set_up:.2f}",
        f"{r.assembly * 1e3:.1f}",
        f"{r.factorisation * 1e3:.1f}",
        solve,
        f"{r.iterations}",
        f"{r.factorisations}",
        f"{r.path:.2f}",
        f"{r.reading:.2f}" if r.reading else "-",
        f"{r.memory:.0f}",
        f"{r.volume_change * 100:.3f}",
    ]


def _comparison(records: list[Record]) -> str:
    """Return the ratios of path times and memory to those of this project on one rank."""
    lines = [
        "| size | " + " | ".join(_other_solvers(records)) + " |",
        "|---|" + "---:|" * len(_other_solvers(records)),
    ]
    for size in dict.fromkeys(r.size for r in records):
        by_name = {r.solver: r for r in records if r.size == size}
        if OURS not in by_name:
            return ""
        base = by_name[OURS]
        cells = [
            f"{by_name[n].path / base.path:.2f} / {by_name[n].memory / base.memory:.2f}"
            if n in by_name
            else "-"
            for n in _other_solvers(records)
        ]
        lines.append(f"| {size} | " + " | ".join(cells) + " |")
    return "Path time / memory, relative to those of this project on one rank:\n\n" + "\n".join(lines)


def _other_solvers(records: list[Record]) -> list[str]:
    return [name for name in dict.fromkeys(r.solver for r in records) if name != OURS]
