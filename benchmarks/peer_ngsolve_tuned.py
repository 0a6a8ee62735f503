# SPDX-License-Identifier: MIT
"""NGSolve tuned by hand: python -m benchmarks.peer_ngsolve_tuned MODEL SIZE.

This is the form of ``peer_ngsolve`` with symmetric storage and the fastest symmetric solver (PARDISO if the
MKL is installed, else sparsecholesky; ``BENCHMARK_NGSOLVE_SOLVER`` names another one). The symbolic
factorisation is reused, and integrands are compiled to C++ if that is faster (axisymmetric). The lagging is
that of this project: there is one factorisation at each converged state. It predicts the next state along the
tangent, and it is kept while each correction reduces the residual to 0.3 of its value or less.
"""

import math
import os
import sys
import time
from pathlib import Path

_START = time.perf_counter()

from ngsolve import SetNumThreads  # noqa: E402

from benchmarks.peer_ngsolve import NgsolveTube, fill_record  # noqa: E402
from benchmarks.record import Clock, Record, main  # noqa: E402
from benchmarks.tube import PRESSURE, STEPS, Size  # noqa: E402

_START_UP = time.perf_counter() - _START

KEEP_RATIO = 0.3  # as in solver/continuation/newton.py


class LaggedNewton:
    """Newton's method with lagging and a tangent predictor."""

    def __init__(self, tube: NgsolveTube, clock: Clock, solver: str) -> None:
        self.tube, self.clock, self.solver = tube, clock, solver
        self.inverse = None
        self.r, self.w, self.f = (tube.state.vec.CreateVector() for _ in range(3))

    def factorise(self) -> None:
        """Assemble and factorise at the present state."""
        with self.clock("tangent"):
            self.tube.form.AssembleLinearization(self.tube.state.vec)
        with self.clock("factorise"):
            if self.inverse is None:
                self.inverse = self.tube.form.mat.Inverse(self.tube.space.FreeDofs(), inverse=self.solver)
            else:
                self.inverse.Update()

    def predict(self, pressure: float, target: float) -> None:
        """Move along the tangent; a difference gives the load derivative, as the residual is linear in it."""
        self.tube.pressure.Set(pressure)
        self.tube.form.Apply(self.tube.state.vec, self.r)
        self.tube.pressure.Set(target)
        self.tube.form.Apply(self.tube.state.vec, self.f)
        self.f.data -= self.r
        self.correct(self.f)

    def correct(self, r) -> None:
        """Subtract K⁻¹ r from the state."""
        with self.clock("solve"):
            self.w.data = self.inverse * r
        self.tube.state.vec.data -= self.w

    def step(self, pressure: float, target: float) -> int:
        """Solve for the next pressure; return the number of corrections."""
        self.predict(pressure, target)
        last = math.inf
        for iteration in range(30):
            with self.clock("residual"):
                error = self.tube.residual(self.r)
            if error <= 1:
                self.factorise()
                return iteration
            if iteration > 0 and error > KEEP_RATIO * last:
                self.factorise()
            last = error
            self.correct(self.r)
        raise RuntimeError(f"no convergence at {target} MPa")


def run(size: Size, record: Record) -> Record:
    """Follow the load steps."""
    SetNumThreads(1)
    # The library calls its compiler by name; the compiler is in the folder of the interpreter.
    os.environ["PATH"] = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    start = time.perf_counter()
    compiled = {} if size.around else {"realcompile": True, "wait": True}
    tube = NgsolveTube(size, compiled=compiled, symmetric=True, symmetric_storage=True)
    solver = os.environ.get("BENCHMARK_NGSOLVE_SOLVER", "pardiso")
    record.set_up = time.perf_counter() - start
    clock = Clock()
    newton = LaggedNewton(tube, clock, solver)
    start = time.perf_counter()
    try:
        newton.factorise()
    except Exception as error:
        if "MKL" not in str(error):
            raise
        newton.solver = "sparsecholesky"
        newton.factorise()
    iterations = 0
    for step in range(STEPS):
        iterations += newton.step(PRESSURE * step / STEPS, PRESSURE * (step + 1) / STEPS)
    record.path = time.perf_counter() - start
    record.remark = f"{newton.solver}, lagged as this project; incompressible; continuous linear pressure"
    fill_record(record, tube, clock)
    record.iterations = iterations
    return record


if __name__ == "__main__":
    main("NGSolve, tuned", run, _START_UP)
