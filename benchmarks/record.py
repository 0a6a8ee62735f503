# SPDX-License-Identifier: MIT
"""Record of one run, and the command that prints the record of a solver module."""

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
    """Sums of wall-clock times and numbers of calls by name.

    Attributes:
        seconds: Sum of times by name, s.
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
        """Return the mean time of a call, summed over names, s."""
        return sum(self.seconds[name] / max(self.calls[name], 1) for name in names)


@dataclass
class Record:
    """One run of one solver.

    Attributes:
        solver: Name in tables.
        model: ``"axisymmetric"`` or ``"solid"``.
        size: Key of ``SIZES``.
        ranks: Number of processes.
        unknowns: Number of all unknowns.
        start_up: Time until all libraries are imported, s.
        set_up: Time of mesh, spaces and forms, until the first assembly, s.
        path: Time of all steps, s.
        iterations: Number of Newton corrections on the path.
        factorisations: Number of factorisations on the path.
        assembly: Mean time of one tangent and one residual, s.
        factorisation: Mean time of one factorisation, s; includes the solve if the library does both in one
            call.
        solve: Mean time of one solve, s; ``nan`` if it is part of the factorisation.
        reading: Time of reading the fields and quantities of all states, s.
        memory: Largest resident memory, summed over ranks, MB.
        volume_change: Relative change of the lumen volume.
        remark: Linear solver and formulation.
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
    """Return the largest resident memory of this process so far, MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main(solver: str, run: Callable[[Size, Record], Record | None], start_up: float) -> None:
    """Read ``MODEL SIZE``, do the run, and print the record as one line of JSON.

    Args:
        solver: Name in tables.
        run: Does the run and fills the record; it returns ``None`` on ranks other than the first.
        start_up: Time of the imports, s.
    """
    parser = argparse.ArgumentParser(description=f"{solver}: one run of the tube")
    parser.add_argument("model", choices=list(SIZES))
    parser.add_argument("size")
    options = parser.parse_args()
    record = Record(solver, options.model, options.size, start_up=start_up)
    filled = run(SIZES[options.model][options.size], record)
    if filled is not None:
        print(json.dumps(asdict(filled)), flush=True)
