# SPDX-License-Identifier: MIT
"""Compilation of forms: flags, cache place, and a count of what was compiled."""

import fcntl
import hashlib
import os
import platform
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext, suppress
from functools import cache
from pathlib import Path
from typing import Any

import ufl
from dolfinx import __version__ as dolfinx_version
from dolfinx import fem
from mpi4py import MPI

from annelid.geometry.cache_place import cache_place
from annelid.geometry.writing import naming

# Measured on a clamped tube, Q2/Q1 hexahedra: 0.20 ms instead of 0.60 ms for a tangent of one cell.
_FASTEST = "-O3 -march=native -ffast-math -fno-finite-math-only"
FLAGS = tuple(os.environ.get("ANNELID_FORM_FLAGS", _FASTEST).split())
STRAIGHT_FLAGS = ("-O1", *(flag for flag in FLAGS if not flag.startswith("-O")))
"""For code that is nearly free of loops: as fast, and compiled in half the time."""

_COMPILED: list[type] = []  # kind of each form and expression that this process has compiled


@cache
def cache_folder() -> Path:
    """Where compiled forms are kept: one folder per processor kind and DOLFINx version.

    ``-march=native`` code must not be shared between unlike nodes of a cluster, so the processor's features
    are part of the name. ``ANNELID_CACHE`` moves the whole cache.
    """
    identity = hashlib.sha256("|".join([platform.machine(), _processor_features(), dolfinx_version]).encode())
    return cache_place() / f"forms-{identity.hexdigest()[:12]}"


def compile_forms(forms: Any, *, flags: Sequence[str] = FLAGS) -> Any:
    """Compile a UFL form or a nested list of forms (``None`` entries stay)."""
    if isinstance(forms, list | tuple):
        return [compile_forms(form, flags=flags) for form in forms]
    if not isinstance(forms, ufl.Form):
        return fem.form(forms)
    with _compiler(forms.signature()[:20], forms.ufl_domain().ufl_cargo().comm) as options:
        options["cffi_extra_compile_args"] = list(flags)
        return _counted(fem.form(forms, jit_options=options))


def compile_expression(expression: Any, points: Any, comm: MPI.Comm) -> Any:
    """Compile a UFL expression for values at reference points, shape ``(points, dimension)``."""
    with _compiler("expressions", comm) as options:
        return _counted(fem.Expression(expression, points, jit_options=options))


def compiled_modules() -> int:
    """Number of form modules that this process has compiled; unchanged by a run means it compiled nothing."""
    return len(_COMPILED)


def _counted[T](compiled: T) -> T:
    """Count a form or expression that was not taken from the cache; only then its C code is at hand."""
    code = getattr(compiled, "code", None)
    if code and all(code):
        _COMPILED.append(type(compiled))
    return compiled


@contextmanager
def _compiler(name: str, comm: MPI.Comm) -> Iterator[dict[str, Any]]:
    """Options of the form compiler's C step, with a folder in which no other process compiles.

    The form compiler waits ten seconds for a module that another process has begun, then fails. A process
    that was killed would therefore block its form for good, and a slow compilation would stop the processes
    that wait for it.
    """
    folder = cache_folder() / name
    with naming(folder), _locked(folder) if comm.rank == 0 else nullcontext():
        yield {"cffi_extra_compile_args": list(FLAGS), "cache_dir": str(folder), "cffi_libraries": ["m"]}


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Hold the lock of a folder and remove the remains of an unfinished compilation."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = (folder / "lock").open("w")
    except OSError:  # a read-only cache, in which nothing is compiled
        yield
        return
    with lock:
        with suppress(OSError):  # a file system without locks
            fcntl.flock(lock, fcntl.LOCK_EX)
            for source in folder.glob("*.c"):
                if not source.with_suffix(".c.cached").exists():
                    source.unlink()
        yield


def _processor_features() -> str:
    try:
        text = Path("/proc/cpuinfo").read_text()
    except OSError:
        return platform.processor()
    return next((line for line in text.splitlines() if line.startswith(("flags", "Features"))), "")
