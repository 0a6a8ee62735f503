# SPDX-License-Identifier: MIT
"""Compilation of forms: flags and cache place."""

import hashlib
import os
import platform
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import ufl
from dolfinx import __version__ as dolfinx_version
from dolfinx import fem, jit

from annelid.geometry.cache_place import cache_place
from annelid.solver.energy import form_libraries

# Measured on a clamped tube, Q2/Q1 hexahedra: 0.20 ms instead of 0.60 ms for a tangent of one cell.
_FASTEST = "-O3 -march=native -ffast-math -fno-finite-math-only"
FLAGS = tuple(os.environ.get("ANNELID_FORM_FLAGS", _FASTEST).split())
STRAIGHT_FLAGS = ("-O1", *(flag for flag in FLAGS if not flag.startswith("-O")))
"""For code that is nearly free of loops: as fast, and compiled in half the time."""


@cache
def cache_folder() -> Path:
    """Where compiled forms are kept: one folder per processor kind and DOLFINx version.

    ``-march=native`` code must not be shared between unlike nodes of a cluster, so the processor's features
    are part of the name. ``ANNELID_CACHE`` moves the whole cache.
    """
    identity = hashlib.sha256("|".join([platform.machine(), _processor_features(), dolfinx_version]).encode())
    return cache_place() / f"forms-{identity.hexdigest()[:12]}"


def compile_forms(forms: Any, *, flags: tuple[str, ...] = FLAGS) -> Any:
    """Compile a UFL form or a nested list of forms (``None`` entries stay).

    Raises:
        CompilerFailed: The C compiler is missing or failed.
        OSError: The cache cannot be written.
    """
    options = _options(flags)
    every = list(_flat(forms))
    if len(every) > 1 and every[0].ufl_domain().ufl_cargo().comm.rank == 0:
        form_libraries.begin(every, **options)
    with _compiler():
        return fem.form(forms, jit_options=options)


def compile_expression(expression: Any, points: Any) -> Any:
    """Compile a UFL expression for values at reference points, shape ``(points, dimension)``."""
    with _compiler():
        return fem.Expression(expression, points, jit_options=_options(FLAGS))


def _flat(forms: Any) -> Iterator[ufl.Form]:
    if isinstance(forms, list | tuple):
        for form in forms:
            yield from _flat(form)
    elif isinstance(forms, ufl.Form):
        yield forms


def _options(flags: tuple[str, ...]) -> dict[str, Any]:
    folder = cache_folder()
    folder.mkdir(parents=True, exist_ok=True)
    return {"folder": folder, "flags": flags}


@contextmanager
def _compiler() -> Iterator[None]:
    """Let DOLFINx compile with ``form_libraries``; it has no setting for that."""
    theirs = jit.ffcx_jit
    jit.ffcx_jit = form_libraries.load
    try:
        yield
    finally:
        jit.ffcx_jit = theirs


def _processor_features() -> str:
    try:
        text = Path("/proc/cpuinfo").read_text()
    except OSError:
        return platform.processor()
    return next((line for line in text.splitlines() if line.startswith(("flags", "Features"))), "")
