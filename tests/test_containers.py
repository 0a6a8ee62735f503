# SPDX-License-Identifier: MIT
"""The recipes of images install the pinned requirements and copy all packages."""

import re
from pathlib import Path

import pytest

from annelid.cases.run import preflight

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "containers"
RECIPES = ("Containerfile", "annelid.def")


def text(name):
    return (FOLDER / name).read_text(encoding="utf-8")


def recipe_lines(name):
    return [line for line in text(name).splitlines() if line.strip() and not line.startswith("#")]


def test_image_has_the_checked_debian_packages():
    libraries = {package for _, _, package in preflight.LIBRARIES}
    needed = libraries.union(preflight.COMPILER_PACKAGES, preflight.PYTHON_PACKAGES)
    joined = text("install.sh").replace("\\\n", " ")
    (line,) = [line for line in joined.splitlines() if "apt-get install" in line]
    assert set(line.split("--no-install-recommends")[1].split()) == needed


def test_the_locked_packages_are_refused_if_a_hash_differs():
    joined = text("install.sh").replace("\\\n", " ")
    locked = [line.split() for line in joined.splitlines() if "requirements.txt" in line]
    assert locked
    assert all("--require-hashes" in line for line in locked)
    pins = [line for line in text("requirements.txt").splitlines() if re.match(r"[a-z]", line)]
    assert len(pins) > 20
    assert not [pin for pin in pins if "==" not in pin]


@pytest.mark.parametrize("name", RECIPES)
def test_recipes_start_from_debian_alone(name):
    bases = [line for line in recipe_lines(name) if re.match("from", line, re.IGNORECASE)]
    assert [base.split()[1] for base in bases] == ["debian:13-slim"]
    assert "://" not in "\n".join(recipe_lines(name)) + text("install.sh")


@pytest.mark.parametrize("name", RECIPES)
def test_recipes_copy_packages_and_install_in_order(name):
    lines = recipe_lines(name)
    links = {path.name for path in (ROOT / "annelid").iterdir() if path.is_symlink()}
    assert len(links) == 5
    for package in {"annelid", *links}:
        assert [line for line in lines if f" {package} /opt/annelid/source/{package}" in line], package
    steps = re.findall(r"(?:RUN|    )\s*sh /opt/annelid/install\.sh (\w+)", "\n".join(lines))
    assert steps == re.findall(r"^(\w+)\)", text("install.sh"), re.MULTILINE)


def test_both_recipes_set_the_same_environment():
    expected = {"LANG=C.UTF-8", "OMP_NUM_THREADS=1"}
    for name in RECIPES:
        words = set(" ".join(recipe_lines(name)).replace("\\", " ").split())
        assert expected <= words
        assert any(word.startswith("PATH=/opt/annelid/venv/bin:") for word in words)
