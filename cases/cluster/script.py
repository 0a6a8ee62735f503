# SPDX-License-Identifier: MIT
"""Batch scripts, made from templates whose placeholders between @ are replaced by quoted text or numbers."""

import re
import shlex
import sys
from collections.abc import Sequence
from pathlib import Path

from annelid.cases.cluster.site import Site
from annelid.geometry.errors import InputError

__all__ = ["ARRAY_TEMPLATE", "COLLECTOR_TEMPLATE", "PLACEHOLDERS", "fill_template", "node_command"]

ARRAY_TEMPLATE = Path(__file__).parent / "slurm_array.sh"
COLLECTOR_TEMPLATE = Path(__file__).parent / "slurm_collector.sh"
NUMBERS = ("last", "megabytes", "minutes", "ranks", "seconds")
PLACEHOLDERS = (*NUMBERS, "command", "environment", "folder", "modules", "partition")
_PLACEHOLDER = re.compile(r"@([a-z]+)@")


def node_command(site: Site, module: str, arguments: Sequence[str]) -> list[str]:
    """The command that runs a module of this program on a node, in the image if there is one."""
    if site.container is None:
        start = [site.python or sys.executable]
    else:
        image = site.container
        start = [*image.command, *image.options, image.image, image.python]
    return [*start, "-m", module, *arguments]


def fill_template(
    template: Path, site: Site, command: Sequence[str], folder: Path, numbers: dict[str, int]
) -> str:
    """Make a script from its template.

    Args:
        template: The template.
        site: Modules, environment variables and partition.
        command: The command; the template adds the index of the run.
        folder: The folder of the array.
        numbers: Values of the placeholders for numbers.

    Raises:
        InputError: The template cannot be read, has an unknown placeholder, or lacks the command.
    """
    try:
        text = template.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"template {template}: cannot be read ({error})", key="template") from None
    unknown = sorted(set(_PLACEHOLDER.findall(text)) - set(PLACEHOLDERS))
    if unknown or "@command@" not in text:
        problem = f"@{unknown[0]}@ is not a placeholder" if unknown else "@command@ is missing"
        known = ", ".join(f"@{name}@" for name in PLACEHOLDERS)
        raise InputError(f"template {template}: {problem}; allowed: {known}", key="template")
    exports = [f"export {name}={shlex.quote(value)}" for name, value in site.environment.items()]
    values = {name: str(number) for name, number in numbers.items()}
    values |= {
        "command": shlex.join(command),
        "environment": "\n".join(exports),
        "folder": shlex.quote(str(folder)),
        "modules": f"module load {shlex.join(site.modules)}" if site.modules else "",
        "partition": site.partition or "",
    }
    return _PLACEHOLDER.sub(lambda found: values[found[1]], text)
