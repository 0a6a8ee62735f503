# SPDX-License-Identifier: MIT
"""Batch scripts: a template with words between @, which nothing but quoted text and numbers replaces."""

import re
import shlex
import sys
from collections.abc import Sequence
from pathlib import Path

from annelid.cases.cluster.site import Site
from annelid.geometry.errors import InputError

__all__ = ["ARRAY", "COLLECTOR", "WORDS", "command_of", "fill"]

ARRAY = Path(__file__).parent / "slurm_array.sh"
COLLECTOR = Path(__file__).parent / "slurm_collector.sh"
NUMBERS = ("last", "megabytes", "minutes", "ranks", "seconds")
WORDS = (*NUMBERS, "command", "environment", "folder", "modules", "partition")
_WORD = re.compile(r"@([a-z]+)@")


def command_of(site: Site, module: str, arguments: Sequence[str]) -> list[str]:
    """The words that run a module of this program on a node, in the image if there is one."""
    if site.container is None:
        start = [site.python or sys.executable]
    else:
        image = site.container
        start = [*image.command, *image.options, image.image, image.python]
    return [*start, "-m", module, *arguments]


def fill(template: Path, site: Site, command: Sequence[str], folder: Path, numbers: dict[str, int]) -> str:
    """Write a script from its template.

    Args:
        template: The template.
        site: For modules, environment and partition.
        command: The words of the command; the template adds the number of the run.
        folder: The folder of the batch.
        numbers: Values of the words for numbers.

    Raises:
        InputError: The template cannot be read, has a word that means nothing, or lacks the command.
    """
    try:
        text = template.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"template {template}: cannot be read ({error})", key="template") from None
    unknown = sorted(set(_WORD.findall(text)) - set(WORDS))
    if unknown or "@command@" not in text:
        what = f"@{unknown[0]}@ means nothing" if unknown else "@command@ is missing"
        known = ", ".join(f"@{word}@" for word in WORDS)
        raise InputError(f"template {template}: {what}; allowed: {known}", key="template")
    exports = [f"export {name}={shlex.quote(value)}" for name, value in site.environment.items()]
    words = {name: str(number) for name, number in numbers.items()}
    words |= {
        "command": shlex.join(command),
        "environment": "\n".join(exports),
        "folder": shlex.quote(str(folder)),
        "modules": f"module load {shlex.join(site.modules)}" if site.modules else "",
        "partition": site.partition or "",
    }
    return _WORD.sub(lambda found: words[found[1]], text)
