# SPDX-License-Identifier: MIT
"""The case in words, from its resolved file; keys it does not know are told by their names."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from annelid.results.display_units import show, show_text

_HOLDS = {
    "all": "clamped",
    "axial": "held along the axis, free to change its radius",
    "radial": "keeps its radius, free along the axis",
    "symmetric": "a plane of symmetry",
    "plate": "on a stiff plate that may move along the axis",
    "plate all": "on a stiff plate that may move along the axis, radius held",
    "floating": "kept from drifting and turning, without a force",
    "free": "free; the pressure acts on the wall alone",
}
_LAWS = {
    "gent": "Gent",
    "ogden": "Ogden",
    "yeoh": "Yeoh",
    "fung": "Fung",
    "neo-hookean": "neo-Hookean",
    "mooney-rivlin": "Mooney-Rivlin",
    "arruda-boyce": "Arruda-Boyce",
}
_MODELS = {
    "axisymmetric": "a cut through the wall (axisymmetric)",
    "solid": "the whole part in 3-D",
    "sector": "a sector in 3-D between planes of symmetry",
}
_STAGE_SILENT = {"name", "steps", "control"}
_EMPTY: tuple[object, ...] = (None, "", (), [], {})
_NEUTRAL: tuple[object, ...] = (*_EMPTY, 0, 1)


class Statement(NamedTuple):
    """One entry of the description: a heading and sentences."""

    heading: str
    sentences: tuple[str, ...]


def case_in_words(case: Mapping[str, Any]) -> tuple[Statement, ...]:
    """Tell a resolved case in words.

    Args:
        case: The tables of the case file; a missing one is passed over.

    Returns:
        Statements in the order of the file.
    """
    statements = [
        Statement("Shape", _shape(_table(case, "shape"))),
        Statement("Lattice", _lattice(_table(case, "lattice"))),
        Statement("Making", _making(_table(case, "making"), _table(case, "lattice"))),
        Statement("Model", _mesh(_table(case, "mesh"), has_lattice=bool(case.get("lattice")))),
        Statement("Parts", tuple(_part(p, _table(case, "materials")) for p in _tables(case, "parts"))),
        Statement("Electrodes", tuple(map(_electrode, _tables(case, "electrodes")))),
        Statement("Supports", tuple(map(_support, _tables(case, "supports")))),
        Statement("Surroundings", tuple(map(_bed, _tables(case, "tissue_beds")))),
        Statement("Obstacles", tuple(map(_contact, _tables(case, "contacts")))),
        Statement("Stages", tuple(map(_stage, _tables(case, "stages")))),
        Statement("Requirements", tuple(map(_requirement, _tables(case, "requirements")))),
    ]
    return tuple(s for s in statements if s.sentences)


def _table(case: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    value = case.get(key)
    return value if isinstance(value, Mapping) else {}


def _tables(case: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    value = case.get(key)
    return [v for v in value if isinstance(v, Mapping)] if isinstance(value, Sequence) else []


def _shape(shape: Mapping[str, Any]) -> tuple[str, ...]:
    if not shape:
        return ()
    meridian = _table(shape, "meridian")
    kind = ", ".join(str(t["kind"]) for t in (shape, meridian) if "kind" in t)
    sizes = _pairs({**shape, **meridian}, skip={"kind", "layers", "meridian", "radius_points"})
    first = _sentence(f"{kind or 'part'}: {_joined(sizes)}" if sizes else kind or "part")
    layers = [
        f"{layer.get('name', 'layer')} {show_text('thickness', layer.get('thickness', ''))}".strip()
        for layer in _tables(shape, "layers")
    ]
    if not layers:
        return (first,)
    return first, _sentence(f"{'layers from the inside' if len(layers) > 1 else 'layer'}: {_joined(layers)}")


def _lattice(lattice: Mapping[str, Any]) -> tuple[str, ...]:
    if not lattice:
        return ()
    cell = _table(lattice, "cell")
    first = _sentence(f"cells: {_joined([str(cell.get('kind', '')), *_pairs(cell, skip={'kind'})])}")
    skip = {"cell", "printing", "measured"} | ({"depth"} if lattice.get("side") != "embedded" else set())
    measured = ["on a measured surface"] if lattice.get("measured") else []
    laid = _joined([*_pairs(lattice, skip=skip), *measured])
    return (first, _sentence(f"laid: {laid}")) if laid else (first,)


def _making(making: Mapping[str, Any], lattice: Mapping[str, Any]) -> tuple[str, ...]:
    load = _joined(_pairs(making, skip={"steps", "along", "compare", "cover"}))
    if making and lattice.get("measured"):
        load = load or "to the volume that its measured face encloses"
    cast = ", ".join(map(str, making.get("cover") or ()))
    over = f" and {cast} cast over it" if cast else ""
    way = (
        f"The stress-free skin is inflated ({load}), the lattice printed on it{over}; there the stages begin."
    )
    return (way,) if load else ()


def _mesh(mesh: Mapping[str, Any], *, has_lattice: bool) -> tuple[str, ...]:
    if not mesh:
        return ()
    model = str(mesh.get("model", ""))
    skip = {"model", "cells"} | ({"around"} if has_lattice else {"on_struts", "through_struts"})
    skip |= {"around", "sector"} if model == "axisymmetric" else {"sector"} if model == "solid" else set()
    sizes = _pairs(mesh, skip=skip)
    return (_sentence(f"{_MODELS.get(model, model or 'mesh')}; elements: {_joined(sizes)}"),)


def _part(part: Mapping[str, Any], materials: Mapping[str, Any]) -> str:
    name = str(part.get("material", ""))
    material = _table(materials, name)
    law = _LAWS.get(str(material.get("law", "")), str(material.get("law", "")))
    constants = _pairs(material, skip={"law"}, silent=_NEUTRAL)
    about = f" ({_joined([law, *constants] if law else constants)})" if law or constants else ""
    extras = []
    sheets = _table(part, "sheets")
    if sheets.get("count"):
        thickness = sheets.get("thickness")
        of = f" of {show_text('thickness', thickness)}" if thickness else ""
        extras.append(f"{sheets['count']} sheet{'s' if sheets['count'] != 1 else ''}{of}")
    for key in ("natural_stretch", "electrode_film", "fibres"):
        values = _pairs(_table(part, key), skip=set(), silent=_NEUTRAL)
        if values:
            extras.append(f"{_words(key)}: {_joined(values)}")
    return _entry(part.get("region", "part"), f"{name}{about}" + "".join(f"; {text}" for text in extras))


def _electrode(electrode: Mapping[str, Any]) -> str:
    edges = [electrode.get(key) for key in ("from", "to")]
    span = " to ".join(show_text("length", edge) for edge in edges if edge is not None)
    text = f"{span} along the axis" if span else "the whole length"
    return _entry(electrode.get("name", "electrode"), f"{electrode.get('region', 'wall')}, {text}")


def _support(support: Mapping[str, Any]) -> str:
    hold = str(support.get("hold", "held"))
    return _entry(support.get("region", "surface"), _HOLDS.get(hold, hold))


def _bed(bed: Mapping[str, Any]) -> str:
    return _entry(bed.get("region", "surface"), _joined(_pairs(bed, skip={"region"})))


def _contact(contact: Mapping[str, Any]) -> str:
    kind = f"{contact.get('kind', 'obstacle')} against {contact.get('surface', 'the part')}"
    sizes = _pairs(contact, skip={"name", "kind", "surface"})
    return _entry(contact.get("name", "obstacle"), _joined([kind, *sizes]))


def _stage(stage: Mapping[str, Any]) -> str:
    targets = []
    for key, value in stage.items():
        if key in _STAGE_SILENT or value in _EMPTY or value is False:
            continue
        if value is True:
            targets.append(_words(key))
        elif isinstance(value, Mapping):
            targets += [f"{_words(key)} {name} {show_text(key, target)}" for name, target in value.items()]
        else:
            targets.append(f"{_words(key)} {show_text(key, value)}")
    return _entry(stage.get("name", "stage"), _joined(targets) or "the part finds its balance")


def _requirement(requirement: Mapping[str, Any]) -> str:
    quantity = str(requirement.get("quantity", "quantity"))
    bounds = [
        f"{_words(key)} {_limit(quantity, requirement[key])}"
        for key in ("at_least", "at_most")
        if requirement.get(key) is not None
    ]
    when = f" at the end of {requirement['stage']}" if requirement.get("stage") else ""
    return _entry(quantity, _joined(bounds) + when)


def _pairs(table: Mapping[str, Any], *, skip: set[str], silent: tuple[object, ...] = _EMPTY) -> list[str]:
    """Name and value of every entry that says something; values that mean nothing are left out."""
    return [
        f"{_words(key)} {_value(key, value)}"
        for key, value in table.items()
        if key not in skip and value not in silent and not isinstance(value, Mapping)
    ]


def _value(key: str, value: object) -> str:
    if isinstance(value, list | tuple):
        if len(value) > 6:
            return f"given at {len(value)} points"
        return ", ".join(show_text(key, member) for member in value)
    return show_text(key, value)


def _words(key: str) -> str:
    return key.replace("_", " ")


def _joined(texts: Iterable[str]) -> str:
    return ", ".join(text for text in texts if text)


def _limit(quantity: str, limit: object) -> str:
    if isinstance(limit, int | float):
        return show(quantity, float(limit), "1")
    return show_text(quantity, limit)


def _entry(name: object, text: str) -> str:
    """A sentence that opens with a name of the user's, which keeps its letters."""
    return f"{name}: {text}."


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + "."
