# SPDX-License-Identifier: MIT
"""Which shells stay inverted without load: caps with a free edge and conical disc springs.

Caps: a shallow cap of an incompressible material stays inverted above λ = (12 (1 - ν²))^(1/4) √(R/h) α,
5.744, recomputed as the fold of the inverted solution of the Reissner-Marguerre equations with a free edge.
Taffetani, Jiang, Holmes and Vella, Proc. R. Soc. A 474, 20170910 (2018), give about 5.75 (from memory).
Discs: Almen and László, Trans. ASME 58, 305 (1936), from memory.
"""

import numpy as np
import pytest

from annelid.cases.run.run import run_case
from annelid.cases.validate.reading import case_from_tables
from annelid.results.folder.run_record import open_run

NU, MODULUS = 0.5, 3.0  # MPa: a shear modulus of 1 MPa
THRESHOLD = 5.744
ALMEN_LASZLO = 0.12  # its cross-sections turn without bending, so it is too stiff
SLENDERNESS = 400.0  # R/h


def run_of(folder, shape, stage, *, along, requirements=()):
    tables = {
        "title": "Shell that snaps",
        "shape": {"kind": "dome", "layers": [{"name": "wall", "thickness": "1 mm"}], **shape},
        "mesh": {"model": "axisymmetric", "along": f"{along} mm", "through": 1},
        "materials": {"rubber": {"law": "neo-hookean", "shear_modulus": "1 MPa"}},
        "parts": [{"region": "wall", "material": "rubber"}],
        "supports": [{"region": "end_low", "hold": "axial"}],
        "stages": [{"name": "snap", "steps": 60, **stage}],
        "path": {"beyond_instability": "follow"},
        "output": {"fields": "none"},
        "requirements": list(requirements),
    }
    if "hole_radius" in shape:
        tables["supports"].append({"region": "end_high", "hold": "free"})
    result = run_case(case_from_tables(tables), folder)
    assert result.outcome.kind == "reached"
    return open_run(folder)


def cap(folder, λ, **options):
    """A cap of the radius R = 400 mm that is 1 mm thick, inverted by a pressure from outside."""
    rise = (λ / (2 * (3 * (1 - NU**2)) ** 0.25)) ** 2
    rim = np.sqrt(2 * SLENDERNESS * rise - rise**2)
    inwards = 1 - 1 / (2 * SLENDERNESS)  # from the middle surface to the inner face
    shape = {"rim_radius": f"{rim * inwards} mm", "rise": f"{rise * inwards} mm"}
    classical = 2 * MODULUS / SLENDERNESS**2 / np.sqrt(3 * (1 - NU**2))
    stage = {"pressure": f"{-2 * classical} MPa", "arc": f"{3 * rise} mm"}
    return run_of(folder, shape, stage, along=rim / 20, **options)


@pytest.mark.long
@pytest.mark.reference
def test_a_cap_with_a_free_edge_stays_inverted_above_a_threshold(tmp_path):
    two = {"quantity": "stable states at zero load", "at_least": 2}
    below, above = (cap(tmp_path / str(λ), λ, requirements=[two]) for λ in (5.6, 6.0))
    assert (below.bistability.kind, above.bistability.kind) == ("not bistable", "bistable")
    assert [run.verdicts[0].met for run in (below, above)] == [False, True]
    assert below.summary["bistability"]["text"].startswith("Not bistable: the part snaps at")
    assert "returns by itself" in below.summary["bistability"]["text"]
    assert below.summary["definitions"]["closing pressure"]["unit"] == "MPa"
    closing = [run.summary["path_quantities"]["closing pressure [MPa]"] for run in (below, above)]
    assert np.interp(0.0, closing, (5.6, 6.0)) == pytest.approx(THRESHOLD, rel=0.02)


def largest_force(h, outer, inner):
    """Largest force of a disc of the thickness 1 before it is flat."""
    δ = outer / inner
    K = ((δ - 1) / δ) ** 2 / ((δ + 1) / (δ - 1) - 2 / np.log(δ)) / np.pi
    s = np.linspace(0, 2 * h, 4001)
    force = 4 * MODULUS / (1 - NU**2) / (K * (2 * outer) ** 2) * s * ((h - s) * (h - s / 2) + 1)
    return force[s < h].max()


@pytest.mark.reference
@pytest.mark.parametrize(("h", "kind"), [(2.4, "not bistable"), (3.2, "bistable")])
def test_a_disc_spring_stays_inverted_above_2_root_2(tmp_path, h, kind):
    assert (h > 2 * np.sqrt(2)) == (kind == "bistable")
    outer, inner = 50.0, 30.0
    shape = {
        "profile": "funnel",
        "rim_radius": f"{outer} mm",
        "hole_radius": f"{inner} mm",
        "rise": f"{h} mm",
    }
    stage = {"force": {"end_high": "-1 N"}, "arc": f"{2.6 * h} mm"}
    run = run_of(tmp_path / "disc", shape, stage, along=1.25)
    assert run.bistability.kind == kind
    opening = run.summary["path_quantities"]["opening force [N]"]
    assert -opening == pytest.approx(largest_force(h, outer, inner), rel=ALMEN_LASZLO)
