# SPDX-License-Identifier: MIT
"""Files that are no scans are refused with one sentence, without the memory that they promise."""

import io
import os
import subprocess
import sys
import tracemalloc
import zipfile

import numpy as np
import pytest
from plain_tube import ROOT
from scan_files import write_small_files
from scan_mutants import read_mutants

from annelid.compare.scans.reading import read_scan
from annelid.geometry.errors import InputError, InvalidValue

MUTANTS, SEED = 300, 1
MOST_MEMORY = 5_000_000  # bytes, for files of some kB
PLY = "ply\nformat {} 1.0\nelement vertex {}\nproperty float x\nproperty float y\nproperty float z\n"


def ply(rows, *, declared=None, faces=(), kind="ascii"):
    header = PLY.format(kind, declared or len(rows))
    if len(faces):
        header += f"element face {len(faces)}\nproperty list uchar int vertex_indices\n"
    lines = [" ".join(map(str, row)) for row in [*rows, *([3, *face] for face in faces)]]
    return (header + "end_header\n" + "\n".join(lines) + "\n").encode()


def table(rows):
    return "\n".join(" ".join(map(str, row)) for row in rows).encode()


def packed():
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("scan.ply", "ply\n")
    return file.getvalue()


GRID = [(x, y, 0.1 * x * y) for x in range(12) for y in range(12)]
JUNK = np.random.default_rng(1).bytes(3000)
VTP = (
    '<VTKFile type="PolyData" version="1.0" byte_order="LittleEndian"><PolyData><Piece NumberOfPoints="{0}" '
)
VTP += (
    'NumberOfPolys="{1}"><Points><DataArray type="Float32" NumberOfComponents="3" format="ascii">0 0 0 1 1 1'
)
VTP += '</DataArray></Points><Polys><DataArray type="Int64" Name="connectivity" format="ascii">0 1 999999999'
VTP += '</DataArray><DataArray type="Int64" Name="offsets" format="ascii">3</DataArray></Polys>'
VTP += "</Piece></PolyData></VTKFile>"
BAD = {
    "empty.ply": (b"", "is empty"),
    "junk.ply": (JUNK, "PLY"),
    "junk.stl": (JUNK, "its header declares"),
    "junk.obj": (JUNK, "OBJ"),
    "junk.vtp": (JUNK, "damaged"),
    "junk.xyz": (JUNK, "not a text file"),
    "zip.ply": (packed(), "zip"),
    "zip.csv": (packed(), "zip"),
    "promise.ply": (ply(GRID, declared=10**9), "declares 1000000000 points"),
    "binary promise.ply": (ply(GRID, declared=10**9, kind="binary_little_endian"), "declares 1000000000"),
    "promise.stl": (b"x" * 80 + (10**9).to_bytes(4, "little") + b"y" * 500, "declares 1000000000 triangles"),
    "promise.vtp": (VTP.format(10**9, 0).encode(), "damaged"),
    "corner.vtp": (VTP.format(2, 1).encode(), "damaged"),
    "cut.ply": (ply(GRID)[:-200], "PLY"),
    "header.ply": (ply(GRID)[:50], "its header has no end"),
    "short.ply": (ply(GRID, declared=200), "it ends before all points"),
    "cut.stl": (b"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0", "it ends before its last triangle"),
    "two.xyz": (table(GRID[:2]), "it has 2 points"),
    "two.ply": (ply(GRID[:2]), "it has 2 points"),
    "none.obj": (b"# nothing\n", "it has no points"),
    "nan.xyz": (table([*GRID, (1.0, "nan", 2.0)]), "1 of 145 points are not finite, the first is number 145"),
    "nan.ply": (ply([*GRID, (1.0, "nan", 2.0)]), "not finite"),
    "huge.xyz": (table([*GRID, ("1e300", 0, 0)]), "above 1e\\+06 mm; check the unit"),
    "speck.xyz": (table(1e-6 * np.array(GRID)), "check the unit"),
    "same.xyz": (table([(1, 2, 3)] * 200), "extend over 0 mm"),
    "flat.ply": (ply(GRID, faces=[(0, 1, 1), (5, 5, 5)]), "none of its triangles has an area"),
    "line.ply": (ply([(i, 0, 0) for i in range(150)], faces=[(0, 1, 2), (5, 7, 9)]), "has an area"),
    "corner.ply": (ply(GRID, faces=[(0, 1, 144)]), "a corner that is not among the points"),
    "text.xyz": (b"hello world\n", "its first line names no column x"),
    "blank.xyz": (b"\r\n \n" * 50, "it has no points"),
    "only names.csv": (b"x,y,z\n", "it has no points"),
    "long.csv": (b"x" + b" " * 30_000 + b"!,y,z\n1,2,3\n", "its first line has 30006 characters"),
    "spaces.ply": (b"ply\nelement" + b" " * 50_000 + b"\n" * 20_000 + b"end_header\n", "it has no points"),
    "word.xyz": (table([*GRID, (1, 2, "x")]), "'x' in column 3 is not a number"),
    "ragged.csv": (table([*GRID, (1, 2)]), "number of columns changed from 3 to 2"),
    "colours.xyz": (table([(*row, 255, 128, 0) for row in GRID]), "columns 4 to 6 are not unit normals"),
    "five.xyz": (table([(*row, 1, 2) for row in GRID]), "its 5 columns are not known"),
    "name.xls": (b"x", "the name must end in"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_files_give_one_sentence_and_take_little_memory(tmp_path, name):
    content, words = BAD[name]
    file = tmp_path / name
    file.write_bytes(content)
    tracemalloc.start()
    try:
        with pytest.raises(InputError, match=words) as caught:
            read_scan(file, unit="mm")
        assert tracemalloc.get_traced_memory()[1] < MOST_MEMORY
    finally:
        tracemalloc.stop()
    message = caught.value.message.replace(str(file), "FILE")
    assert message.startswith("scan FILE: ")
    assert "\n" not in message
    assert len(message) < 200


def test_missing_files_folders_and_pipes_are_refused(tmp_path):
    with pytest.raises(InputError, match="No such file"):
        read_scan(tmp_path / "none.ply", unit="mm")
    (tmp_path / "folder.ply").mkdir()
    os.mkfifo(tmp_path / "pipe.ply")
    for name in ("folder.ply", "pipe.ply"):
        with pytest.raises(InputError, match="not a regular file"):
            read_scan(tmp_path / name, unit="mm")
    with pytest.raises(InputError, match="not the name of a file"):
        read_scan("a\0b.ply", unit="mm")


@pytest.mark.parametrize("unit", ["", "furlong", "MM", "mm**2"])
def test_the_unit_must_be_known(tmp_path, unit):
    with pytest.raises(InvalidValue, match=r"unit.*allowed: µm, mm, cm, in, m"):
        read_scan(tmp_path / "none.ply", unit=unit)


def test_mutants_are_read_or_refused(tmp_path):
    counts, sentences, failures = read_mutants(MUTANTS, SEED, tmp_path)
    assert failures == []
    assert counts["read"] + counts["refused"] == MUTANTS
    assert counts["read"] > 20
    assert len(sentences) > 15


SPY = """
import sys
seen = []
def note(event, arguments):
    if event in ("open", "os.system", "subprocess.Popen", "pickle.find_class", "import", "exec"):
        seen.append(event + " " + repr(arguments[:1]))
from annelid.compare.scans.reading import read_scan
read_scan(sys.argv[1], unit="mm")  # imports come first
sys.addaudithook(note)
read_scan(sys.argv[1], unit="mm")
print("\\n".join(seen))
"""


@pytest.mark.parametrize("name", ["normals.obj", "ascii.ply", "named.csv"])
def test_nothing_but_the_file_itself_is_opened_and_nothing_executed(tmp_path, name):
    write_small_files(tmp_path)
    file = tmp_path / name
    start = {"normals.obj": "mtllib other.mtl\nusemtl x\n", "named.csv": "# __import__('os').system('id')\n"}
    text = file.read_text()
    texture = "format ascii 1.0\ncomment TextureFile other.png"
    file.write_text(start.get(name, "") + text.replace("format ascii 1.0", texture))
    for other in ("other.mtl", "other.png"):
        (tmp_path / other).write_text("newmtl x\nmap_Kd other.png\n")
    command = [sys.executable, "-c", SPY, str(file)]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    events = done.stdout.split("\n")
    opened = {line for line in events if line.startswith("open ")}
    assert opened == {f"open ({str(file)!r},)"}
    assert [line for line in events if line.startswith(("os.", "subprocess", "pickle"))] == []
    # `exec` and `import` of modules of libraries that are imported late
    assert not [line for line in events if line.startswith("exec") and "<string>" in line]
