# SPDX-License-Identifier: MIT
"""Waveforms against their definitions, and their rates against differences."""

import math

import pytest

from annelid.geometry.errors import InvalidValue
from annelid.solver.model.loads import Loads
from annelid.solver.model.ramp import ramp_of
from annelid.solver.model.stages import Stage
from annelid.solver.model.waveforms import Polyline, RaisedCosine, Sine, Waveform, trapezoid, travelling

FORMS = {
    "trapezoid": trapezoid(0.6, 0.1, 0.2),
    "full": trapezoid(1.0, 0.5, 0.5),
    "raised cosine": RaisedCosine(0.7),
    "sine": Sine(),
    "table": Polyline((0.0, 0.3, 0.4, 1.0), (0.0, 2.0, -1.0, 0.0)),
}


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
def test_rates_are_right_hand_derivatives(form):
    wave = Waveform(form=form, period=0.8, amplitude=3.0, offset=0.5, start=0.1, cycles=2)
    h = 1e-7
    for t in [0.0, 0.05, 0.1, 0.13, 0.3, 0.45, 0.9, 0.9 + 0.8 * 0.3, 1.3, 1.7, 2.5]:
        assert wave.rate(t) == pytest.approx((wave.value(t + h) - wave.value(t)) / h, abs=1e-5)


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
def test_rates_jump_at_corners_only(form):
    wave = Waveform(form=form, period=0.8, amplitude=3.0, start=0.1, cycles=2)
    corners, h = list(wave.corners(3.0)), 1e-6
    assert corners == sorted(corners)
    jumps = [t for t in corners if abs(wave.rate(t) - wave.rate(t - h)) > 1e-3]
    assert jumps or isinstance(form, RaisedCosine)
    times = [k * 0.001 + 0.00037 for k in range(2900)]
    for t in times:
        if not any(t < corner <= t + 0.001 for corner in corners):
            assert abs(wave.rate(t + 0.001) - wave.rate(t)) < 0.3  # of a sine: (2π/0.8)² 3 · 0.001


def test_values_of_a_trapezoid():
    wave = Waveform(form=trapezoid(0.5, 0.1, 0.2), period=2.0, amplitude=4.0, offset=1.0, start=1.0, cycles=2)
    at = {0.0: 1, 1.0: 1, 1.1: 3, 1.2: 5, 1.6: 5, 1.8: 3, 2.0: 1, 2.9: 1, 3.1: 3, 5.0: 1, 9.0: 1}
    assert {t: wave.value(t) for t in at} == pytest.approx(at)
    assert list(wave.corners(10.0)) == pytest.approx([1, 1.2, 1.6, 2, 3, 3.2, 3.6, 4, 5])


def test_values_of_pulses():
    pulse = Waveform(form=RaisedCosine(0.5), period=2.0, amplitude=2.0)
    assert [pulse.value(t) for t in (0, 0.25, 0.5, 1.0, 1.5, 2.25)] == pytest.approx([0, 1, 2, 0, 0, 1])
    sine = Waveform(form=Sine(), period=2.0, amplitude=2.0, offset=1.0)
    assert [sine.value(t) for t in (0, 0.5, 1.5)] == pytest.approx([1, 3, -1])


def test_a_table_that_ends_elsewhere_stays_there():
    once = Waveform(form=Polyline((0.0, 0.5, 1.0), (0.0, 1.0, 3.0)), period=1.0, amplitude=2.0, cycles=1)
    assert [once.value(t) for t in (0.25, 0.75, 1.0, 7.0)] == pytest.approx([1, 4, 6, 6])
    with pytest.raises(InvalidValue, match="must end where it begins"):
        Waveform(form=once.form, period=1.0, amplitude=2.0, cycles=2)


def test_a_wave_travels():
    wave = Waveform(form=Sine(), period=1.0, amplitude=1.0, cycles=1)
    up = travelling("voltages", ["a", "b", "c"], wave, delay=0.25)
    down = travelling("voltages", ["a", "b", "c"], wave, delay=0.25, direction="down")
    assert [w.waveform.start for w in up] == [0, 0.25, 0.5]
    assert {w.entry: w.waveform.start for w in down} == {"c": 0, "b": 0.25, "a": 0.5}


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (lambda: trapezoid(0.5, 0.3, 0.3), "rise and fall take 0.6 of the period"),
        (lambda: trapezoid(1.5, 0.1, 0.1), "duty"),
        (lambda: trapezoid(0.5, 0.0, 0.1), "rise"),
        (lambda: Polyline((0.0, 0.6, 0.5, 1.0), (0.0, 1.0, 1.0, 0.0)), "must increase"),
        (lambda: Waveform(form=Sine(), period=0.0, amplitude=1.0), "period"),
        (lambda: Waveform(form=Sine(), period=1.0, amplitude=math.inf), "finite"),
        (lambda: Waveform(form=Sine(), period=1.0, amplitude=1.0, cycles=0), "cycles"),
        (lambda: Stage("w", waves=travelling("voltages", ["a"], SINE, delay=0)), "waves take time"),
        (
            lambda: Stage(
                "w", duration=1.0, voltages={"a": 2.0}, waves=travelling("voltages", ["a"], SINE, delay=0)
            ),
            "voltage a is given twice",
        ),
        (
            lambda: Stage(
                "w",
                duration=1.0,
                control="volume",
                volume=9.0,
                waves=travelling("voltages", ["a"], SINE, delay=0),
            ),
            "waves give them",
        ),
    ],
)
def test_what_has_no_meaning_is_refused(wrong, says):
    with pytest.raises(InvalidValue, match=says):
        wrong()


SINE = Waveform(form=Sine(), period=1.0, amplitude=2.0, offset=1.0)


def test_a_stage_mixes_waves_and_straight_loads():
    stage = Stage("w", duration=2.5, pressure=4.0, waves=travelling("voltages", ["a"], SINE, delay=0))
    ramp = ramp_of(stage, Loads(voltages={"a": 1.0, "b": 7.0}, time=10.0))
    middle = ramp.at(0.5)
    assert (middle.pressure, middle.time) == (2.0, 11.25)
    assert middle.voltages == pytest.approx({"a": 3.0, "b": 7.0})  # a quarter into the second cycle
    rate = ramp.rate_at(0.5)
    assert rate.voltages == pytest.approx({"a": 0.0, "b": 0.0}, abs=1e-9)
    assert (rate.pressure, rate.time) == (4.0, 2.5)
    assert ramp.end == ramp.at(1.0)
    assert ramp.end.voltages["a"] == pytest.approx(1.0)
    assert ramp.corners() == pytest.approx([0.4, 0.8])


def test_a_wave_begins_at_the_present_load():
    stage = Stage("w", duration=2.5, waves=travelling("voltages", ["a"], SINE, delay=0))
    with pytest.raises(InvalidValue, match="begins at 1 kV, but the stage starts with 0 kV"):
        ramp_of(stage, Loads(voltages={"a": 0.0}))
