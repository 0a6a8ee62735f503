# SPDX-License-Identifier: MIT
import ast
import subprocess
import sys

import pytest
from plain_tube import ROOT

from annelid.cases.run import preflight


def test_nothing_is_missing_where_all_libraries_load():
    assert preflight.lacks_for_drawing(lambda name: True) == []


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
def test_a_missing_library_is_told_with_its_package(missing, package):
    (lack,) = preflight.lacks_for_drawing(lambda name: name != missing)
    assert lack.sentence.startswith(f"{missing} is missing: ")
    assert preflight.apt_line([lack]) == f"apt-get install -y --no-install-recommends {package}"


def test_one_way_to_draw_without_a_screen_is_enough():
    assert preflight.lacks_for_drawing(lambda name: name != "libEGL.so.1") == []
    (lack,) = preflight.lacks_for_drawing(lambda name: name not in ("libEGL.so.1", "libOSMesa.so.8"))
    assert "libEGL.so.1 or libOSMesa.so.8 is missing" in lack.sentence
    assert lack.packages == ("libegl1",)


def everything_but(monkeypatch, **changes):
    for name, value in changes.items():
        monkeypatch.setattr(f"annelid.cases.run.preflight.{name.replace('__', '.')}", value)
    return [lack.sentence for lack in preflight.lacks(lambda name: True)]


def test_an_old_python_is_told(monkeypatch):
    found = everything_but(monkeypatch, sys__version_info=(3, 11, 2))
    assert "is too old: 3.12 or newer is needed" in found[0]


def test_a_missing_compiler_is_told(monkeypatch):
    assert everything_but(monkeypatch, shutil__which=lambda name: None)[0].startswith("No C compiler (")


def test_missing_headers_are_told(monkeypatch):
    (found,) = everything_but(monkeypatch, os__path__exists=lambda path: not path.endswith("Python.h"))
    assert found == "Python.h is missing: equations are compiled against it."


def test_a_missing_venv_is_told(monkeypatch):
    (found,) = everything_but(monkeypatch, importlib__util__find_spec=lambda name: None)
    assert "ensurepip is missing" in found


def test_another_machine_is_told(monkeypatch):
    (found,) = everything_but(monkeypatch, platform__machine=lambda: "aarch64")
    assert "this is Linux on aarch64: use a container" in found


def test_an_old_libc_is_told(monkeypatch):
    (found,) = everything_but(monkeypatch, platform__libc_ver=lambda: ("glibc", "2.31"))
    assert "needs glibc 2.34 or newer, this system has 2.31" in found


def test_it_runs_before_anything_is_installed():
    script = ROOT / "cases" / "run" / "preflight.py"
    tree = ast.parse(script.read_text(), feature_version=(3, 7))
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name.split(".")[0] for name in names} <= sys.stdlib_module_names
    done = subprocess.run(
        [sys.executable, "-I", str(script), "--apt"], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == " ".join(sorted({p for lack in preflight.lacks() for p in lack.packages}))


def test_lacks_are_printed_with_the_line_that_installs_them(monkeypatch, capsys):
    lack = preflight.Lack("No C compiler (gcc) was found.", ("gcc",))
    monkeypatch.setattr(preflight, "lacks", lambda: [lack])
    assert preflight.main([]) == 1
    assert capsys.readouterr().err == (
        "missing: No C compiler (gcc) was found.\nOn Debian or Ubuntu, as root:\n"
        "    apt-get update && apt-get install -y --no-install-recommends gcc\n"
    )
    assert preflight.main(["--apt"]) == 0
    assert capsys.readouterr().out == "gcc\n"
