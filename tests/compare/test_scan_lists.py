# SPDX-License-Identifier: MIT
"""Lists of scans: what is read, and one clear sentence for everything that makes no sense."""

import pytest

from annelid.compare.repeatability.listing import design_of, read_list, reference_scans
from annelid.geometry.errors import InputError


@pytest.fixture
def write(tmp_path):
    """Write a list beside some files and a folder."""
    for name in ("a.ply", "b.ply", "c.ply", "d.ply", "marks.csv"):
        (tmp_path / name).write_text("scan")
    (tmp_path / "done").mkdir()

    def make(text):
        file = tmp_path / "list.csv"
        file.write_bytes(text if isinstance(text, bytes) else text.encode())
        return file

    return make


def test_a_whole_list(write):
    text = (
        "\ufeffScan, Part ,operator,repeat,unit,points,note\n"
        "a.ply,P 1,Ann,1,mm,marks.csv,first\n\nb.ply,P 1,Ann,2,,,\ndone,P 2,Bo,1,,,\n"
    )
    found = read_list(write(text), unit="in")
    assert [entry.unit for entry in found] == ["mm", "in", ""]
    assert [entry.is_folder for entry in found] == [False, False, True]
    assert found[0].points.name == "marks.csv"
    assert found[0].title == "part P 1, operator Ann, repeat 1"
    design = design_of(found)
    assert (design.parts, design.operators) == (("P 1", "P 2"), ("Ann", "Bo"))
    assert design.part.tolist() == [0, 0, 1]
    assert design.operator.tolist() == [0, 0, 1]


def test_the_first_method_is_the_reference(write):
    found = read_list(write("scan,part,method\na.ply,1,x\nb.ply,1,y\nc.ply,2,x\n"), unit="mm")
    assert reference_scans(found) == ("x", [0, 2])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "missing: scan, part"),
        ("scan\na.ply\n", "missing: part"),
        ("scan,part,operater\na.ply,1,A\n", "column 'operater' is not one of scan, part, operator"),
        ("scan,part,part\na.ply,1,1\n", "each column may stand once"),
        ("scan,part\na.ply,1\n", "lists 1 scans; a spread needs at least 2"),
        ("scan,part\n", "lists 0 scans"),
        ("scan,part\na.ply,1\n,2\n", "line 3: scan: is empty"),
        ("scan,part\na.ply,1\nb.ply,\n", "line 3: part: is empty"),
        ("scan,part\na.ply,1\nz.ply,2\n", "line 3: scan: 'z.ply' does not exist"),
        ("scan,part\na.ply,1\nb.ply,2,3\n", "line 3: has more cells than the first line"),
        ("scan,part\na.ply,1\na.ply,2\n", "a.ply is listed twice"),
        ("scan,part\na.ply,1\n./a.ply,2\n", "a.ply is listed twice"),
        ("scan,part,operator\na.ply,1,A\nb.ply,1,\n", "operator: is empty for b.ply"),
        ("scan,part,repeat\na.ply,1,1\nb.ply,1,1\n", "repeat '1' of part '1' is listed twice"),
        ("scan,part,method\na.ply,1,x\nb.ply,1,y\nc.ply,1,z\n", "method: has 3 values"),
        ("scan,part,method\na.ply,1,x\nb.ply,1,y\n", "method 'x' has only one scan"),
        ("scan,part,unit\na.ply,1,ell\nb.ply,1,mm\n", "'ell' is not a unit of length of scans"),
        ('scan,part\n"a.ply,1\n', "line"),
        (b"\xff\xfe\x00junk\x80", "is not a UTF-8 text file"),
        ("scan,part,points\na.ply,1,z.csv\n", "points: 'z.csv' is not a file"),
        ("scan,part\n" + "a.ply,1\n" * 1001, "at most 1000 can be compared"),
        ("scan,part\na\0.ply,1\nb.ply,2\n", "line 2"),
    ],
)
def test_bad_lists_are_refused_in_one_sentence(write, text, message):
    with pytest.raises(InputError) as caught:
        read_list(write(text), unit="mm")
    assert message in caught.value.message
    assert "\n" not in caught.value.message


def test_a_unit_is_never_guessed(write):
    with pytest.raises(InputError, match="line 2: unit: is empty; state the unit"):
        read_list(write("scan,part\na.ply,1\nb.ply,2\n"))
    assert len(read_list(write("scan,part,unit\na.ply,1,mm\ndone,2,\n"))) == 2
