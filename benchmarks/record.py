# SPDX-License-Identifier: MIT
"""What one run measures, and how a solver module becomes a command that prints it."""

import argparse
import json
import resource
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field

from benchmarks.tube import SIZES, Size


@dataclass
class Clock:
    """Wall-clock sums and counts by name.

    Attributes:
        seconds: Sum by name.
        calls: Number of calls by name.
    """

    seconds: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    calls: dict[str, int] = field(default_factory=lambda: defaultdict(int))

    @contextmanager
    def __call__(self, name: str) -> Iterator[None]:
        """Time a block."""
        start = time.perf_counter()
        try:
            yield
        finally:
            self.seconds[name] += time.perf_counter() - start
            self.calls[name] += 1

    def mean(self, *names: str) -> float:
        """Mean seconds of one call, summed over names."""
        return sum(self.seconds[name] / max(self.calls[name], 1) for name in names)


@dataclass
class Record:
    """One run of one solver.

    Attributes:
        solver: Name in tables.
        model: ``"axisymmetric"`` or ``"solid"``.
        size: Key of ``SIZES``.
        ranks: Number of processes.
        unknowns: All unknowns.
        start_up: From the first line to all libraries imported, s.
        set_up: Mesh, spaces and forms, up to the first assembly, s.
        path: The steps, s.
        iterations: Newton corrections on the path.
        factorisations: Factorisations on the path.
        assembly: Mean of one tangent and one residual, s.
        factorisation: Mean of one, s; with its solve where the library does both in one call.
        solve: Mean of one, s; ``nan`` where it is part of the factorisation.
        reading: Time on the path spent in reading fields and quantities of all states, s.
        memory: Largest resident memory, summed over ranks, MB.
        volume_change: Lumen volume at the end over that at the start, less 1.
        remark: Linear solver, formulation.
    """

    solver: str
    model: str
    size: str
    ranks: int = 1
    unknowns: int = 0
    start_up: float = 0.0
    set_up: float = 0.0
    path: float = 0.0
    iterations: int = 0
    factorisations: int = 0
    assembly: float = 0.0
    factorisation: float = 0.0
    solve: float = float("nan")
    reading: float = 0.0
    memory: float = 0.0
    volume_change: float = 0.0
    remark: str = ""


def peak_memory() -> float:
    """Largest resident memory of this process so far, MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main(solver: str, run: Callable[[Size, Record], Record | None], start_up: float) -> None:
    """Parse ``MODEL SIZE``, run, print the record as one line of JSON.

    Args:
        solver: Name in tables.
        run: Fills the record; ``None`` on ranks other than the first.
        start_up: Time the imports took, s.
    """
    parser = argparse.ArgumentParser(description=f"{solver}: one run of the tube")
    parser.add_argument("model", choices=list(SIZES))
    parser.add_argument("size")
    given = parser.parse_args()
    record = Record(solver, given.model, given.size, start_up=start_up)
    filled = run(SIZES[given.model][given.size], record)
    if filled is not None:
        print(json.dumps(asdict(filled)), flush=True)
