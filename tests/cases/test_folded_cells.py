# SPDX-License-Identifier: MIT
"""Cells of a lattice that fold: the message names their place on the part, and its advice works."""

import re

import pytest
from test_making import tables

from annelid.cases.convert.body import body_of
from annelid.cases.validate.reading import case_from_tables
from annelid.geometry.errors import InputError

CLAMPED = [{"region": "end_low", "hold": "all"}, {"region": "end_high", "hold": "all"}]
SKIN = [{"name": "skin", "thickness": "150 um"}]
NECKED = {
    "kind": "balloon",
    "meridian": {"kind": "necked", "radius": "9 mm", "length": "30 mm", "neck_radius": "5 mm"}
    | {"neck_length": "4 mm", "shoulder": "5 mm"},
    "layers": [{"name": "skin", "thickness": "300 um"}],
}


def inflated(**changes):
    """A thin tube between clamps, inflated so far that struts of 1 mm fold where its skin leaves a clamp."""
    given = tables(supports=CLAMPED, making={"pressure": "1.5 kPa"}, lattice={"height": "1 mm"})
    given["shape"] = given["shape"] | {"layers": SKIN}
    return with_changes(given, **changes)


def necked():
    """A drawn balloon whose shoulders bend inwards with a radius of about 1 mm."""
    given = tables(supports=CLAMPED, making=None, lattice={"height": "2 mm", "ring": "0 mm"})
    return given | {"shape": NECKED, "mesh": given["mesh"] | {"along": "3 mm", "on_struts": "1.5 mm"}}


def with_changes(given, **changes):
    return given | {table: given[table] | values for table, values in changes.items()}


def refusal(given):
    with pytest.raises(InputError) as caught:
        body_of(case_from_tables(given))
    return caught.value


def span_of(error):
    """The limits that the message gives, as keys of the lattice."""
    found = re.findall(r"(begins|ends) at Z = ([\d.]+) mm \(R = [\d.]+ mm\)", error.message)
    assert len(found) == 2
    return {{"begins": "from", "ends": "to"}[word]: f"{height} mm" for word, height in found}


def height_of(error):
    return {"height": re.search(r"make lattice\.height at most ([\d.]+ mm)", error.message)[1]}


def test_the_place_of_a_folded_cell_is_on_the_part():
    """The strut itself leans beyond the end of the part, at Z = 0."""
    error = refusal(inflated(lattice={"height": "2 mm"}))
    assert "a cell of region 'lattice' on the surface at Z = " in error.message
    assert 0.0 <= error.data["place"][2] <= 12.0
    assert "mesh.around" not in error.message


def test_every_advice_for_an_inflated_skin_works():
    given = inflated()
    error = refusal(given)
    assert "is inverted" in error.message
    assert "inflate less (making)" in error.message
    for changes in (
        {"lattice": span_of(error)},
        {"lattice": height_of(error)},
        {"making": {"pressure": "1 kPa"}},
    ):
        assert len(body_of(case_from_tables(with_changes(given, **changes))).cells) > 500
    # What earlier versions advised does not help, since the surface itself folds.
    refusal(inflated(mesh={"along": "1.2 mm", "on_struts": "0.6 mm"}))


def test_a_lattice_between_bends_does_not_fold():
    given = necked()
    error = refusal(given)
    assert "make the shape less curved there" in error.message
    span = span_of(error)
    assert 4.0 < float(span["from"].split()[0]) < 8.0
    for lattice in (span, height_of(error)):
        assert len(body_of(case_from_tables(with_changes(given, lattice=lattice))).cells) > 500


def test_the_height_within_a_tube_follows_from_its_radius():
    """At a depth h inside of a tube of radius 5 mm, lengths around are 1 - h/5; 0.3 of them are sound."""
    given = tables(supports=CLAMPED, making=None, lattice={"height": "4.8 mm", "side": "inside"})
    assert height_of(refusal(given)) == {"height": "3.5 mm"}


def test_tall_struts_need_several_elements():
    given = tables(supports=CLAMPED, making=None, lattice={"height": "6 mm"})
    given["mesh"] |= {"along": "2 mm", "on_struts": "2 mm"}
    error = refusal(given)
    assert "is too distorted" in error.message
    assert error.message.endswith("): make mesh.through_struts larger")
    assert len(body_of(case_from_tables(with_changes(given, mesh={"through_struts": 3}))).cells) > 500


def test_coarse_skins_need_smaller_elements():
    given = with_changes(necked(), lattice={"height": "1 mm", "from": "4.99 mm", "to": "25.01 mm"})
    coarse = refusal(with_changes(given, mesh={"along": "6 mm", "on_struts": "6 mm"}))
    assert coarse.message.endswith("make mesh.on_struts and mesh.along smaller")
    assert len(body_of(case_from_tables(given)).cells) > 500
