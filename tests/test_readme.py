# SPDX-License-Identifier: MIT
"""The READMEs agree with the code."""

import importlib.util
import re
from pathlib import Path

import pytest

from annelid.cases.validate.reading import find_case, read_case
from annelid.solver.model.quantities import QUANTITIES

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("quantity", QUANTITIES, ids=lambda quantity: quantity.name)
def test_the_readme_defines_every_quantity(quantity):
    formula = quantity.formula.replace("|", "\\|")
    assert f"| `{quantity.name}` | {quantity.unit} | {formula} | {quantity.meaning} |" in README


def test_first_case_has_the_values_of_the_library_case():
    lines = (ROOT / "cases" / "library" / "cuff.toml").read_text(encoding="utf-8")
    sheets = 'sheets = { count = 4, thickness = "45 um" }'
    for quoted in ("prestretch = { hoop = 1.11, axial = 1.11 }", sheets, "2 kV"):
        assert quoted in README
        assert quoted in lines


def test_local_links_lead_to_existing_files():
    targets = {part.split(")")[0].split("#")[0] for part in README.split("](")[1:]}
    local = {t for t in targets if t and "://" not in t}
    assert local
    assert not [t for t in local if not (ROOT / t).exists()]


def test_the_library_case_of_the_readme_is_valid():
    assert read_case(find_case("cuff")).title.startswith("Sphincter cuff")


@pytest.mark.parametrize("folder", ["geometry", "solver"])
def test_folder_readmes_name_packages_and_modules(folder):
    packages = {f"{path.parent.name}/" for path in (ROOT / folder).glob("*/__init__.py")}
    modules = {path.name for path in (ROOT / folder).glob("*.py")} - {"__init__.py"}
    named = set(re.findall(r"`(\w+(?:\.py|/))`", (ROOT / folder / "README.md").read_text(encoding="utf-8")))
    assert packages | modules <= named, sorted((packages | modules) - named)
    assert len(packages) > 5


GUIDES = ["DEVELOPERS.md", *(f"{folder}/README.md" for folder in ("geometry", "solver", "results", "cases"))]


@pytest.mark.parametrize("guide", GUIDES)
def test_paths_named_in_a_guide_exist(guide):
    places = ROOT, (ROOT / guide).parent
    named = re.findall(r"`([a-z_]{3,}/[\w/]*(?:\.py)?)`", (ROOT / guide).read_text(encoding="utf-8"))
    assert named
    assert not [path for path in named if not any((place / path).exists() for place in places)]


def can_be_imported(module, name):
    found = importlib.import_module(module)
    return hasattr(found, name) or importlib.util.find_spec(f"{module}.{name}") is not None


@pytest.mark.parametrize("guide", ["README.md", *GUIDES])
def test_imports_shown_in_a_guide_work(guide):
    text = (ROOT / guide).read_text(encoding="utf-8")
    shown = re.findall(r"^from (annelid[\w.]*) import (.*)", text, re.MULTILINE)
    pairs = [(module, name) for module, names in shown for name in names.split(", ")]
    assert not [pair for pair in pairs if not can_be_imported(*pair)]
