# SPDX-License-Identifier: MIT
"""The site file: settings of a cluster, the same for all studies."""

import os
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, ValidationError

from annelid.cases.schema.base import Count, Memory, Multiple, Table
from annelid.cases.schema.units import Unit
from annelid.cases.validate.messages import path_of
from annelid.cases.validate.toml_files import LARGEST, read_toml
from annelid.geometry.checks import nearest
from annelid.geometry.errors import InputError
from annelid.geometry.text_files import read_text

__all__ = ["Container", "Site", "read_site", "site_text"]

# Options of sbatch that the program sets itself.
RESERVED_OPTIONS = (
    *("array", "chdir", "dependency", "error", "job-name", "kill-on-invalid-dep", "mem", "mem-per-cpu"),
    *("no-requeue", "ntasks", "output", "parsable", "requeue", "test-only", "time", "wait", "wrap"),
)


def _check_reserved(text: str) -> str:
    name = text.removeprefix("--").partition("=")[0]
    if name in RESERVED_OPTIONS:
        raise ValueError(f"--{name} is set by the program; use the keys time, memory, partition and so on")
    return text


SlurmName = Annotated[str, Field(pattern=r"^[A-Za-z0-9_][A-Za-z0-9_.,:@+\-]*$", max_length=200)]
TextLine = Annotated[str, Field(pattern=r"^[^\x00-\x1f\x7f]+$", max_length=1000)]
ModuleName = Annotated[str, Field(pattern=r"^[A-Za-z0-9_][A-Za-z0-9_./+:\-]*$", max_length=200)]
EnvironmentName = Annotated[str, Field(pattern=r"^[A-Za-z_][A-Za-z0-9_]*$", max_length=100)]
Directive = Annotated[
    str,
    Field(pattern=r"^--[a-z][a-z0-9\-]*(=[^\x00-\x1f\x7f]+)?$", max_length=1000),
    AfterValidator(_check_reserved),
]
JobTime = Annotated[float, Unit("s", "a time", "30 min", at_least=1)]


class Container(Table):
    """A container image that the jobs run in."""

    image: TextLine
    """The image, as the command below names it; a path must be visible on all nodes."""
    command: Annotated[tuple[TextLine, ...], Field(min_length=1)] = ("apptainer", "exec")
    """Command that runs another command in the image."""
    options: tuple[TextLine, ...] = ()
    """Options of this command, for example ["--bind", "/scratch"]."""
    python: TextLine = "/opt/annelid/venv/bin/python"
    """Python interpreter in the image."""


class RetryFactors(Table):
    """Factors by which the limits grow when a run that exceeded them is repeated."""

    time: Multiple = 2.0
    """Factor of the time limit."""
    memory: Multiple = 1.5
    """Factor of the memory limit."""


class Site(Table):
    """Settings of a cluster."""

    partition: SlurmName | None = None
    """Partition, or several separated by commas; left out: the default of the cluster."""
    account: SlurmName | None = None
    """Account that the time is charged to."""
    qos: SlurmName | None = None
    """Quality of service."""
    time: JobTime | None = None
    """Time limit of a run; left out: that of the study."""
    memory: Memory | None = None
    """Memory limit of a run, for all its ranks together; left out: that of the study, else 2 GB."""
    modules: tuple[ModuleName, ...] = ()
    """Modules to load."""
    environment: dict[EnvironmentName, TextLine] = Field(default_factory=dict)
    """Environment variables to set."""
    container: Container | None = None
    """Image that the jobs run in; left out: the installation that submits."""
    python: TextLine | None = None
    """Python interpreter on the nodes; left out: the one that submits."""
    ranks: Literal["mpiexec", "srun"] = "mpiexec"
    """Launcher of the ranks of a run: "mpiexec" on one node, "srun" also on several nodes."""
    srun: tuple[TextLine, ...] = ("--mpi=pmi2",)
    """Options of srun."""
    directives: tuple[Directive, ...] = ()
    """Further options of sbatch, for example "--constraint=skylake"."""
    requeue: bool = True
    """Whether the cluster requeues a run when its node goes down."""
    at_a_time: Count | None = None
    """Largest number of runs of an array at a time; left out: no limit."""
    largest_array: Count | None = None
    """Largest number of runs in an array; left out: the limit of the cluster, else 1000."""
    template: TextLine | None = None
    """Your own script template for another scheduler, relative to this file; needs --dry-run."""
    more: RetryFactors = RetryFactors()
    """Factors by which the limits grow when a run that exceeded them is repeated."""


def read_site(path: Path | None) -> Site:
    """Read a site file.

    Args:
        path: The file; ``None`` for the file that ``ANNELID_SITE`` names, or the defaults without one.

    Raises:
        InputError: The file cannot be read, or is not valid.
    """
    path = path or _default_path()
    if path is None:
        return Site()
    try:
        raw = read_toml(path)
        site = Site.model_validate(raw)
    except ValidationError as error:
        lines = [f"  {_sentence(dict(item), raw)}" for item in error.errors(include_url=False)]
        text = f"site file {path}: {len(lines)} error{'s' if len(lines) > 1 else ''}"
        raise InputError("\n".join([text, *lines]), key="--site", problems=lines) from None
    return _consistent(site, path)


def site_text(path: Path | None) -> str:
    """Text of the site file that :func:`read_site` reads; empty without a site file."""
    path = path or _default_path()
    return "" if path is None else read_text(path, most=LARGEST)


def _default_path() -> Path | None:
    named = os.environ.get("ANNELID_SITE")
    return Path(named) if named else None


def _consistent(site: Site, path: Path) -> Site:
    if site.container is not None and site.ranks == "srun":
        text = 'ranks: "srun" cannot be called inside an image; use "mpiexec" with a container'
        raise InputError(f"site file {path}: {text}", key="ranks", value="srun")
    if site.container is not None and site.python is not None:
        text = "python: use container.python for the interpreter in the image"
        raise InputError(f"site file {path}: {text}", key="python", value=site.python)
    if site.template is None:
        return site
    template = path.parent / site.template
    if not template.is_file():
        raise InputError(f"site file {path}: template: {template} is not a file", key="template")
    return site.model_copy(update={"template": str(template.resolve())})


def _sentence(item: dict[str, Any], raw: dict[str, Any]) -> str:
    """One error: the key, its value, and the allowed values."""
    keys = [key for key in item["loc"] if key != "[key]"]
    path, kind, value = path_of(raw, *keys), item["type"], item["input"]
    if kind == "extra_forbidden":
        table: Any = (
            {"container": Container, "more": RetryFactors}.get(str(keys[0]), Site) if len(keys) > 1 else Site
        )
        allowed = sorted(table.model_fields)
        return f"{path}: unknown key{nearest(str(keys[-1]), allowed)}; allowed here: {', '.join(allowed)}"
    if kind == "missing":
        return f"{path}: missing"
    if kind in ("unit", "range"):
        return f"{path}: {item['msg']}"
    if kind == "string_pattern_mismatch":
        return f"{path}: {value!r} is not allowed here; {_FORMS.get(str(keys[0]), _FORM)}"
    message = str(item["msg"]).replace("Input should be", "must be").replace("Value error, ", "")
    return f"{path}: {value!r}: {message[0].lower()}{message[1:]}"


_FORM = "it must be one line without control characters"
_WORD = "it must consist of letters, digits and _ . , : @ + -"
_FORMS = {
    "partition": _WORD,
    "account": _WORD,
    "qos": _WORD,
    "modules": 'it must be like "gcc/13.2"',
    "directives": 'it must be like "--constraint=skylake"',
    "environment": "a name has letters, digits and _; a value is one line",
}
