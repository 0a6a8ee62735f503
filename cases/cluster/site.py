# SPDX-License-Identifier: MIT
"""The site file: what a cluster wants to be told, once for all studies."""

import os
import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, ValidationError

from annelid.cases.schema.base import Count, Multiple, Table
from annelid.cases.schema.units import Unit
from annelid.cases.validate.messages import nearest, path_of
from annelid.geometry.errors import InputError

__all__ = ["Container", "Site", "read_site", "text_of"]

# Options that the program sets itself; another value would break what it knows of its jobs.
OURS = (
    *("array", "chdir", "dependency", "error", "job-name", "kill-on-invalid-dep", "mem", "mem-per-cpu"),
    *("no-requeue", "ntasks", "output", "parsable", "requeue", "test-only", "time", "wait", "wrap"),
)


def _no_option_of_ours(text: str) -> str:
    name = text.removeprefix("--").partition("=")[0]
    if name in OURS:
        raise ValueError(f"--{name} is set by the program; time, memory, partition and so on have keys")
    return text


Word = Annotated[str, Field(pattern=r"^[A-Za-z0-9_][A-Za-z0-9_.,:@+\-]*$", max_length=200)]
Line = Annotated[str, Field(pattern=r"^[^\x00-\x1f\x7f]+$", max_length=1000)]
Module = Annotated[str, Field(pattern=r"^[A-Za-z0-9_][A-Za-z0-9_./+:\-]*$", max_length=200)]
Variable = Annotated[str, Field(pattern=r"^[A-Za-z_][A-Za-z0-9_]*$", max_length=100)]
Directive = Annotated[
    str,
    Field(pattern=r"^--[a-z][a-z0-9\-]*(=[^\x00-\x1f\x7f]+)?$", max_length=1000),
    AfterValidator(_no_option_of_ours),
]
Seconds = Annotated[float, Unit("s", "a time", "30 min", at_least=1)]
Megabytes = Annotated[float, Unit("megabyte", "an amount of memory", "2 GB", at_least=50)]


class Container(Table):
    """An image to run in."""

    image: Line
    """The image, as the command below names it; a path must be seen by all nodes."""
    command: Annotated[tuple[Line, ...], Field(min_length=1)] = ("apptainer", "exec")
    """What runs a command in an image."""
    options: tuple[Line, ...] = ()
    """Its options, for example ["--bind", "/scratch"]."""
    python: Line = "/opt/annelid/venv/bin/python"
    """The interpreter inside."""


class More(Table):
    """How much more a run gets that was ended by a limit and is tried again."""

    time: Multiple = 2.0
    """So many times the time."""
    memory: Multiple = 1.5
    """So many times the memory."""


class Site(Table):
    """What a cluster wants to be told."""

    partition: Word | None = None
    """Partition, or several with commas; left out: the cluster's default."""
    account: Word | None = None
    """Account that the time is charged to."""
    qos: Word | None = None
    """Quality of service."""
    time: Seconds | None = None
    """Time that one run may take; left out: what the study says."""
    memory: Megabytes | None = None
    """Memory that one run may take, all its ranks together; left out: what the study says, else 2 GB."""
    modules: tuple[Module, ...] = ()
    """Modules to load."""
    environment: dict[Variable, Line] = Field(default_factory=dict)
    """Environment variables to set."""
    container: Container | None = None
    """An image to run in; left out: the installation that submits."""
    python: Line | None = None
    """The interpreter on the nodes; left out: the one that submits."""
    ranks: Literal["mpiexec", "srun"] = "mpiexec"
    """What starts the ranks of a run: "mpiexec" on one node, "srun" also over several."""
    srun: tuple[Line, ...] = ("--mpi=pmi2",)
    """Options of srun."""
    directives: tuple[Directive, ...] = ()
    """Further options of sbatch, each one a text: "--constraint=skylake"."""
    requeue: bool = True
    """Whether the cluster puts a run back into the queue by itself when its node goes down."""
    at_a_time: Count | None = None
    """So many runs of an array at a time; left out: as many as there is room for."""
    largest_array: Count | None = None
    """Most runs in an array; left out: what the cluster says, else 1000."""
    template: Line | None = None
    """A script of your own for another scheduler, relative to this file; needs --dry-run."""
    more: More = More()
    """How much more a run gets that was ended by a limit and is tried again."""


def read_site(path: Path | None) -> Site:
    """Read a site file.

    Args:
        path: The file; ``None`` for the one that ``ANNELID_SITE`` names, else for a site that wants nothing.

    Raises:
        InputError: It cannot be read or says something that cannot be meant.
    """
    path = path or _usual()
    if path is None:
        return Site()
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
        site = Site.model_validate(raw)
    except OSError as error:
        raise InputError(f"site file {path}: cannot be read ({error.strerror})", key="--site") from None
    except UnicodeDecodeError:
        raise InputError(f"site file {path}: is not a text file in UTF-8", key="--site") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"site file {path}: is not valid TOML: {error}", key="--site") from None
    except ValidationError as error:
        lines = [f"  {_sentence(dict(item), raw)}" for item in error.errors(include_url=False)]
        text = f"site file {path}: {len(lines)} thing{'s' if len(lines) > 1 else ''} to mend"
        raise InputError("\n".join([text, *lines]), key="--site", problems=lines) from None
    return _consistent(site, path)


def text_of(path: Path | None) -> str:
    """Text of the site file that :func:`read_site` reads; empty if there is none."""
    path = path or _usual()
    return "" if path is None else path.read_text(encoding="utf-8")


def _usual() -> Path | None:
    named = os.environ.get("ANNELID_SITE")
    return Path(named) if named else None


def _consistent(site: Site, path: Path) -> Site:
    if site.container is not None and site.ranks == "srun":
        text = 'ranks: "srun" cannot be called inside an image; use "mpiexec" with a container'
        raise InputError(f"site file {path}: {text}", key="ranks", value="srun")
    if site.container is not None and site.python is not None:
        text = "python: say container.python for the one in the image"
        raise InputError(f"site file {path}: {text}", key="python", value=site.python)
    if site.template is None:
        return site
    template = path.parent / site.template
    if not template.is_file():
        raise InputError(f"site file {path}: template: {template} is no file", key="template")
    return site.model_copy(update={"template": str(template.resolve())})


def _sentence(item: dict[str, Any], raw: dict[str, Any]) -> str:
    """What is wrong with a key, its value, and what is allowed."""
    keys = [key for key in item["loc"] if key != "[key]"]
    path, kind, value = path_of(raw, *keys), item["type"], item["input"]
    if kind == "extra_forbidden":
        table: Any = {"container": Container, "more": More}.get(str(keys[0]), Site) if len(keys) > 1 else Site
        allowed = sorted(table.model_fields)
        return f"{path}: unknown key{nearest(str(keys[-1]), allowed)}; allowed here: {', '.join(allowed)}"
    if kind == "missing":
        return f"{path}: is missing"
    if kind in ("unit", "range"):
        return f"{path}: {item['msg']}"
    if kind == "string_pattern_mismatch":
        return f"{path}: {value!r} has a form that is not allowed here; {_FORMS.get(str(keys[0]), _FORM)}"
    message = str(item["msg"]).replace("Input should be", "must be").replace("Value error, ", "")
    return f"{path}: {value!r}: {message[0].lower()}{message[1:]}"


_FORM = "it must be one line without control characters"
_WORD = "it must be a word of letters, digits and _ . , : @ + -"
_FORMS = {
    "partition": _WORD,
    "account": _WORD,
    "qos": _WORD,
    "modules": 'it must be like "gcc/13.2"',
    "directives": 'it must be like "--constraint=skylake"',
    "environment": "a name is letters, digits and _; a value is one line",
}
