# SPDX-License-Identifier: MIT
import ast
import subprocess
import sys

import pytest
from plain_tube import ROOT

from annelid.cases.run import preflight


def test_nothing_is_missing_where_all_libraries_load():
    assert preflight.missing_libraries(lambda name: True) == []


@pytest.mark.parametrize(
    ("missing", "package"),
    [
        ("libGL.so.1", "libgl1"),
        ("libGLU.so.1", "libglu1-mesa"),
        ("libXft.so.2", "libxft2"),
        ("libXcursor.so.1", "libxcursor1"),
        ("libXinerama.so.1", "libxinerama1"),
    ],
)
def test_a_missing_library_is_reported_with_its_package(missing, package):
    (requirement,) = preflight.missing_libraries(lambda name: name != missing)
    assert requirement.sentence.startswith(f"{missing} is missing; ")
    assert preflight.apt_line([requirement]) == f"apt-get install -y --no-install-recommends {package}"


def test_one_off_screen_library_is_sufficient():
    assert preflight.missing_libraries(lambda name: name != "libEGL.so.1") == []
    (requirement,) = preflight.missing_libraries(lambda name: name not in ("libEGL.so.1", "libOSMesa.so.8"))
    assert "libEGL.so.1 or libOSMesa.so.8 is missing" in requirement.sentence
    assert requirement.packages == ("libegl1",)


def missing_sentences(monkeypatch, **changes):
    for name, value in changes.items():
        monkeypatch.setattr(f"annelid.cases.run.preflight.{name.replace('__', '.')}", value)
    return [requirement.sentence for requirement in preflight.missing_requirements(lambda name: True)]


def test_an_old_python_is_reported(monkeypatch):
    sentences = missing_sentences(monkeypatch, sys__version_info=(3, 11, 2))
    assert "is too old: Python 3.12 or newer is needed" in sentences[0]


def test_a_missing_compiler_is_reported(monkeypatch):
    assert missing_sentences(monkeypatch, shutil__which=lambda name: None)[0].startswith("The C compiler ")


def test_missing_headers_are_reported(monkeypatch):
    monkeypatch.setenv("CC", "gcc -nostdinc")
    (sentence,) = missing_sentences(monkeypatch)
    assert sentence == "math.h is missing; it is needed to compile the equations."


def test_a_missing_venv_is_reported(monkeypatch):
    (sentence,) = missing_sentences(monkeypatch, importlib__util__find_spec=lambda name: None)
    assert "ensurepip is missing" in sentence


def test_another_processor_is_reported(monkeypatch):
    (sentence,) = missing_sentences(monkeypatch, platform__machine=lambda: "aarch64")
    assert "this is Linux on aarch64: use a container" in sentence


def test_an_old_libc_is_reported(monkeypatch):
    (sentence,) = missing_sentences(monkeypatch, platform__libc_ver=lambda: ("glibc", "2.31"))
    assert "needs glibc 2.34 or newer, but this system has 2.31" in sentence


def test_it_runs_before_anything_is_installed():
    script = ROOT / "cases" / "run" / "preflight.py"
    tree = ast.parse(script.read_text(), feature_version=(3, 7))
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name.split(".")[0] for name in names} <= sys.stdlib_module_names
    done = subprocess.run(
        [sys.executable, "-I", str(script), "--apt"], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == " ".join(
        sorted({p for requirement in preflight.missing_requirements() for p in requirement.packages})
    )


def test_missing_requirements_come_with_an_install_command(monkeypatch, capsys):
    requirement = preflight.MissingRequirement("The C compiler gcc is missing.", ("gcc",))
    monkeypatch.setattr(preflight, "missing_requirements", lambda: [requirement])
    assert preflight.main([]) == 1
    assert capsys.readouterr().err == (
        "The C compiler gcc is missing.\nOn Debian or Ubuntu, as root:\n"
        "    apt-get update && apt-get install -y --no-install-recommends gcc\n"
    )
    assert preflight.main(["--apt"]) == 0
    assert capsys.readouterr().out == "gcc\n"
