# SPDX-License-Identifier: MIT
"""What a case does not say about the limits of its materials, so that they are not judged."""

from collections.abc import Iterator

from annelid.cases.schema.case import Case

__all__ = ["has_tearing_limit", "missing_limits"]


def has_tearing_limit(case: Case, material: str) -> bool:
    """Return whether a material has a stretch or a stress at which it tears."""
    table = case.materials[material]
    return table.tearing_stretch is not None or table.tensile_strength is not None


def missing_limits(case: Case) -> Iterator[str]:
    """Yield a sentence for each limit that is not judged in some parts, with the keys that are missing."""
    energised = {electrode.region for electrode in case.electrodes}
    sheets = [part.material for part in case.parts if part.region in energised]
    without = [name for name in sheets if case.materials[name].breakdown_field is None]
    yield from _sentence("breakdown", without, "no breakdown_field")
    without = [part.material for part in case.parts if not has_tearing_limit(case, part.material)]
    yield from _sentence("tearing", without, "neither tearing_stretch nor tensile_strength")


def _sentence(limit: str, materials: list[str], missing: str) -> Iterator[str]:
    names = [f"'{name}'" for name in dict.fromkeys(materials)]
    if names:
        noun, verb = ("material", "gives") if len(names) == 1 else ("materials", "give")
        yield f"{limit} is not judged: {noun} {' and '.join(names)} {verb} {missing}"
