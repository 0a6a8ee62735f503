# SPDX-License-Identifier: MIT
"""Shared libraries of compiled forms and expressions, kept in a cache.

FFCx writes the C code. The C compiler is called directly, because the just-in-time compiler of FFCx builds
Python extension modules, which takes more than twice the processor time (54 forms: 16.0 s instead of 6.7 s)
and needs the headers of Python.
"""

import ctypes
import errno
import os
import shlex
import subprocess
import sysconfig
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from tempfile import NamedTemporaryFile, TemporaryFile
from typing import IO, Any, NamedTuple

import cffi
import ffcx.compiler
import ffcx.naming
import ffcx.options
import numpy as np
import ufl
from dolfinx.jit import mpi_jit_decorator
from ffcx.codegeneration import get_include_path, jit

from annelid.geometry.errors import AnnelidError
from annelid.geometry.writing import replacing

__all__ = ["CompilerFailed", "begin", "compiled_libraries", "load"]

_FFI = cffi.FFI()
_FFI.cdef(
    jit.UFC_HEADER_DECL.format("float64")
    + jit.UFC_INTEGRAL_DECL
    + jit.UFC_FORM_DECL
    + jit.UFC_EXPRESSION_DECL
)
_COMPILER = shlex.split(os.environ.get("CC") or sysconfig.get_config_var("CC") or "gcc")
_POOL = ThreadPoolExecutor(max_workers=len(os.sched_getaffinity(0)))
_BEGUN: dict[Path, Future[None]] = {}
_COMPILED: list[Path] = []  # what this process has compiled and loaded


class CompilerFailed(AnnelidError):
    """The C compiler is missing or failed, which is no failure of the case."""


class _Module(NamedTuple):
    """What DOLFINx takes from the module of a compiled form."""

    ffi: cffi.FFI
    library: ctypes.CDLL


def begin(forms: Sequence[ufl.Form], *, folder: Path, flags: tuple[str, ...]) -> None:
    """Begin to compile the forms that the cache does not have, on all cores, without waiting for the end.

    Args:
        forms: Forms.
        folder: The cache; it must exist.
        flags: Flags of the C compiler.
    """
    for form in forms:
        name = _name(form, flags)
        path = _path(folder, name)
        if path not in _BEGUN and not path.exists():
            _BEGUN[path] = _POOL.submit(_compile, _code(form, name), path, flags)


@mpi_jit_decorator
def load(
    ufl_object: Any, form_compiler_options: Any, jit_options: dict[str, Any]
) -> tuple[Any, _Module, tuple[None, None]]:
    """Return a compiled form or expression; compile it if the cache does not have it.

    This has the arguments of ``dolfinx.jit.ffcx_jit`` and takes its place.

    Args:
        ufl_object: A form, or an expression with its points.
        form_compiler_options: Not used: all forms are compiled for double precision.
        jit_options: ``folder`` and ``flags``, as for ``begin``.

    Returns:
        Its ``ufcx`` record, its module, and no code.

    Raises:
        CompilerFailed: The C compiler is missing or failed.
        OSError: The cache cannot be written.
    """
    flags = jit_options["flags"]
    name = _name(ufl_object, flags)
    path = _path(jit_options["folder"], name)
    if path in _BEGUN or not path.exists():
        begun = _BEGUN.pop(path, None)
        begun.result() if begun else _compile(_code(ufl_object, name), path, flags)
        _COMPILED.append(path)
    try:
        library = ctypes.CDLL(str(path))
    except OSError:  # a file that was damaged on the disk
        _compile(_code(ufl_object, name), path, flags)
        library = ctypes.CDLL(str(path))
    if isinstance(ufl_object, ufl.Form):
        kind, symbol = "ufcx_form *", ffcx.naming.form_name(ufl_object, 0, name)
    else:
        kind, symbol = "ufcx_expression *", ffcx.naming.expression_name(ufl_object, name)
    address = ctypes.addressof(ctypes.c_char.in_dll(library, symbol))
    return _FFI.cast(kind, address)[0], _Module(_FFI, library), (None, None)


def compiled_libraries() -> int:
    """Number of libraries that this process has compiled; unchanged by a run means it compiled nothing."""
    return len(_COMPILED)


def _name(ufl_object: Any, flags: Sequence[str]) -> str:
    """Name of a library; the names in its code begin with it."""
    tag = f"{sorted(_ffcx_options().items())} {' '.join(flags)}"
    return f"form{ffcx.naming.compute_signature([ufl_object], tag)}"


def _path(folder: Path, name: str) -> Path:
    return folder / f"{name}.so"


def _code(ufl_object: Any, name: str) -> str:
    (_, code), _ = ffcx.compiler.compile_ufl_objects([ufl_object], _ffcx_options(), namespace=name)
    return code


def _ffcx_options() -> dict[str, Any]:
    """Options of FFCx, which files of the user may change, but for the kind of numbers."""
    return ffcx.options.get_options({"scalar_type": np.float64})


def _compile(code: str, path: Path, flags: Sequence[str]) -> None:
    """Write the library; one that another process has written meanwhile is replaced by an equal one."""
    compiled = [*_COMPILER, "-std=c17", "-fPIC", *flags, f"-I{get_include_path()}", "-x", "c", "-c", "-"]
    # A file, not a pipe: PETSc lets a broken pipe end the process.
    with TemporaryFile("w+", encoding="utf-8") as source, NamedTemporaryFile(suffix=".o") as object_file:
        source.write(code)
        source.seek(0)
        _run([*compiled, "-o", object_file.name], source)
        # Linked without the flags: -ffast-math would let the whole process round tiny numbers to zero.
        with replacing(path) as temporary:
            _run([*_COMPILER, "-shared", object_file.name, "-o", str(temporary), "-lm"])


def _run(command: Sequence[str], source: IO[str] | None = None) -> None:
    try:
        result = subprocess.run(command, stdin=source, capture_output=True, text=True)
    except FileNotFoundError:
        message = f"the C compiler {command[0]} is missing; install it"
        raise CompilerFailed(message, command=command) from None
    if "No space left on device" in result.stderr:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    if result.returncode:
        raise CompilerFailed(
            f"the C compiler failed (exit code {result.returncode}): {result.stderr.strip()[:2000]}",
            command=command,
        )
