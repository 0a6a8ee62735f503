# SPDX-License-Identifier: MIT
"""The wheel contains one package with all its data, and works without the rest of the project."""

import os
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
QUIET = ("--quiet", "--disable-pip-version-check", "--no-deps", "--no-index")


def run(*command, **options):
    done = subprocess.run([*map(str, command)], capture_output=True, text=True, check=False, **options)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """Build the wheel from a copy of the repository, so that no build folder is left here."""
    source, target = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("wheel")
    listed = run("git", "ls-files", "-z", "-co", "--exclude-standard", cwd=ROOT).split("\0")
    names = "\0".join(name for name in listed if name and os.path.lexists(ROOT / name))
    run("tar", "-cf", source / "all.tar", "--null", "-T", "-", cwd=ROOT, input=names)
    run("tar", "-xf", "all.tar", cwd=source)
    run(sys.executable, "-m", "pip", "wheel", *QUIET, "--no-build-isolation", "-w", target, source)
    (path,) = target.glob("*.whl")
    return path


def test_wheel_contains_one_package_with_all_files(wheel):
    names = set(zipfile.ZipFile(wheel).namelist())
    assert {name.split("/")[0] for name in names if ".dist-info/" not in name} == {"annelid"}
    for folder in ("geometry", "solver", "results", "compare", "cases"):
        tracked = run("git", "ls-files", "-co", "--exclude-standard", folder, cwd=ROOT).split("\n")
        expected = {f"annelid/{name}" for name in tracked if name and (ROOT / name).is_file()}
        assert expected <= names, sorted(expected - names)
        assert expected


def test_the_wheel_works_in_a_fresh_environment(wheel, tmp_path):
    home = tmp_path / "fresh"
    run(sys.executable, "-m", "venv", "--without-pip", home)
    python = home / "bin" / "python"
    (site,) = home.glob("lib/python*/site-packages")
    # The environment uses the locked packages of this one. The .pth file of the editable installation of this
    # project is not read from there.
    (site / "shared.pth").write_text(sysconfig.get_path("purelib") + "\n")
    run(sys.executable, "-m", "pip", "--python", python, "install", *QUIET, wheel)
    clean = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}
    clean["LD_LIBRARY_PATH"] = str(Path(sys.prefix, "lib"))  # folder of the MPI library
    where = run(python, "-c", "import annelid; print(annelid.__file__)", cwd=tmp_path, env=clean).strip()
    assert Path(where).is_relative_to(site)
    assert "cuff" in run(home / "bin" / "annelid", "library", cwd=tmp_path, env=clean)
    run(home / "bin" / "annelid", "run", "cuff", "out", "--coarse", "4", cwd=tmp_path, env=clean)
    assert (tmp_path / "out" / "report.html").stat().st_size > 10_000
