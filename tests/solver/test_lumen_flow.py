# SPDX-License-Identifier: MIT
"""Viscous flow along the lumen of a soft tube, against a membrane tube that is solved by quadrature.

Own derivation, for long waves. A thin tube of radius R and thickness H of a neo-Hookean material with the
shear modulus G has the energy W(λθ, λz) = π R H G (λθ² + λz² + (λθ λz)⁻² - 3) per drawn length, and a lumen
of the volume π R² λθ² λz. The fluid pulls the wall along as well: equilibrium makes W - p π R² λθ² λz
stationary in λθ, and N = ∂W/∂λz - p π R² λθ² constant along the tube, because the length of the tube is
fixed. So λθ and λz are functions of p and N, the flow q = -π R⁴ λθ⁴/(8 η λz) dp/dZ is constant in the steady
state, and ∫ λz dZ = L fixes N. Around a cylinder of the radius c on the axis the volume is
π (R² λθ² - c²) λz, and the flow is that in an annulus. A small bulge in a closed tube decays like
exp(-κ (π/L)² t) cos πZ/L, where κ is the conductance over the change of the volume per drawn length with p at
constant N.
"""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from models import SLIDING, last_of, neo_hookean, reached, run, tube_body, value
from scipy.integrate import quad
from scipy.optimize import brentq, fsolve

from annelid.geometry.shapes.band import Band
from annelid.solver.continuation.coupled_newton import CoupledNewton
from annelid.solver.continuation.eigenmodes import softest_mode
from annelid.solver.continuation.path import Path
from annelid.solver.fluid.flow import Flow
from annelid.solver.fluid.fluid import Fluid
from annelid.solver.fluid.lubrication import Closed, Lubrication, Reservoir
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import Part, Sheets
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping
from annelid.solver.model.waveforms import Form, LoadWave, RaisedCosine, Waveform, travelling

R, H, L, G, η = 4.0, 0.02, 50.0, 2.5, 1e-6  # mm, MPa, MPa s; G H/R is 12.5 kPa
REST = Stage("rest", pressure=0.0, steps=1)


def stretches(p, N, c=0.0):
    """λθ and λz of the membrane tube around a cylinder."""

    def defects(λ):
        θ, z = λ
        hoop = 2 * np.pi * R * H * G * (θ - θ**-3 * z**-2) - 2 * p * np.pi * R**2 * θ * z
        axial = 2 * np.pi * R * H * G * (z - θ**-2 * z**-3) - p * np.pi * (R**2 * θ**2 - c**2) - N
        return hoop, axial

    return fsolve(defects, (1.05, 1.0), xtol=1e-13)


def annular(κ):
    """Flow around a cylinder over that without it."""
    return 1 - κ**4 - (1 - κ**2) ** 2 / np.log(1 / κ) if κ else 1.0


def steady_flow(p, out, c=0.0):
    """Flow and both radii of the membrane tube between two pressures."""

    def conductance(pressure, N):
        θ, z = stretches(pressure, N, c)
        return np.pi * R**4 * θ**4 / (8 * η * z) * annular(c / (R * θ))

    def length(N):
        flow = quad(conductance, out, p, args=(N,))[0] / L
        return quad(lambda x: stretches(x, N, c)[1] * conductance(x, N) / flow, out, p)[0] - L

    N = brentq(length, -2 * p * np.pi * R**2, p * np.pi * R**2)
    radii = [R * stretches(x, N, c)[0] for x in (p, out)]
    return quad(conductance, out, p, args=(N,))[0] / L, *radii


def soft_tube(lower, upper, *, bands=(), thickness=H, sheets=1, gap=0.01, rod=None):
    return Model(
        tube_body((R + thickness / 2) / (R - thickness / 2), L, A=R - thickness / 2, along=1.0, bands=bands),
        (
            Part(
                "wall",
                neo_hookean(G * H / thickness, permittivity=3.0),
                Sheets(sheets, thickness / sheets) if bands else None,
            ),
        ),
        SLIDING,
        electrodes=tuple(Electrode(band.name) for band in bands),
        contacts=() if rod is None else (Contact("rod", "lumen", position=rod, tolerance=1e-4),),
        flow=Flow(Lubrication(25, Fluid(η), lower, upper, gap)),
    )


@pytest.mark.exact
@pytest.mark.slow
@pytest.mark.parametrize(
    ("p", "out", "rod"),
    [
        (2e-3, 0.0, None),
        pytest.param(4e-3, 1e-3, None, marks=pytest.mark.long),
        pytest.param(4e-3, 1e-3, 2.0, marks=pytest.mark.long),
    ],
)
def test_steady_flow_through_a_soft_tube(p, out, rod):
    expected, wide, narrow = steady_flow(p, out, rod or 0.0)
    # The flow around a rod depends more on the inner radius, so that wall is thinner.
    model = soft_tube(Reservoir(p), Reservoir(out), rod=rod, thickness=0.005 if rod else H)
    last = reached(model, [REST, Stage("flow", control="flow", duration=2.0, steps=40)])[-1]
    rigid = np.pi * R**4 / (8 * η * L) * (p - out) * annular((rod or 0.0) / R)
    assert expected > 1.05 * rigid
    inflow, outflow = -value(last, "outflow at the lower end"), value(last, "outflow at the upper end")
    assert inflow == pytest.approx(outflow, rel=1e-6)
    assert outflow == pytest.approx(expected, rel=0.01)
    radius = last.profiles["inner"].radius + H / 2
    assert radius.max() == pytest.approx(wide, rel=5e-3)
    assert radius.min() == pytest.approx(narrow, rel=5e-3)
    assert value(last, "viscous loss") > 0


def test_a_step_that_overshoots_is_halved(monkeypatch):
    model = soft_tube(Reservoir(2e-3), Reservoir(0.0))
    stages = [REST, Stage("flow", control="flow", duration=0.1, steps=2)]
    expected = value(reached(model, stages)[-1], "outflow at the upper end")
    correct, back, seen = CoupledNewton._correct, CoupledNewton._go_half_back, {"steps": 0, "halved": 0}

    def overshoot(coupled, residual, lumen):
        correct(coupled, residual, lumen)
        if seen["steps"] % 5 == 0:  # 64 times as far
            part, Δy = coupled._step
            coupled.system.x.axpy(63 * part, coupled._dx)
            coupled.y = coupled.y + 63 * part * Δy
            coupled._step = 64 * part, Δy
        seen["steps"] += 1

    def halve(coupled):
        seen["halved"] += 1
        back(coupled)

    monkeypatch.setattr(CoupledNewton, "_correct", overshoot)
    monkeypatch.setattr(CoupledNewton, "_go_half_back", halve)
    assert value(reached(model, stages)[-1], "outflow at the upper end") == pytest.approx(expected, rel=1e-8)
    assert seen["halved"] > 3


def test_relaxation_of_a_closed_tube():
    # The lower half is energised a little; the pressures even out at the rate of the slowest mode.
    p = 2e-3
    model = soft_tube(Closed(), Closed(), bands=(Band("half", "wall", 0.0, L / 2),))
    N = brentq(lambda N: stretches(p, N)[1] - 1, -2 * p * np.pi * R**2, 0.0)
    step = 1e-5 * p

    def volume(pressure):
        θ, z = stretches(pressure, N)
        return np.pi * R**2 * θ**2 * z

    θ, z = stretches(p, N)
    rate = np.pi * R**4 * θ**4 / (8 * η * z) / ((volume(p + step) - volume(p - step)) / (2 * step))
    rate *= (np.pi / L) ** 2
    fill = Stage("fill", pressure=p, voltages={"half": 0.0}, steps=2)
    on = Stage("on", control="flow", duration=1e-4 / rate, voltages={"half": 0.2}, steps=1)
    wait = Stage("wait", control="flow", duration=3 / rate, steps=60)
    states = reached(model, [fill, on, wait])
    waiting = [s for s in states if s.stage == "wait"]
    volumes = np.array([value(s, "lumen volume") for s in states if s.stage != "fill"])
    before = value(last_of(states, "fill"), "lumen volume")
    assert volumes == pytest.approx(np.full(len(volumes), before), rel=1e-9)
    times = np.array([value(s, "time") for s in waiting])
    spread = np.array(
        [value(s, "highest lumen pressure") - value(s, "lowest lumen pressure") for s in waiting]
    )
    late = times > times[-1] / 2
    slope = -np.polyfit(times[late], np.log(spread[late]), 1)[0]
    assert slope == pytest.approx(rate, rel=0.02)


def test_a_tube_that_is_shut_on_a_rod_leaks_through_the_residual_gap():
    # The rod holds the tube wide, which closes it. Exact: flow in the annulus of the gap.
    p, out, gap, thickness = 4e-4, 1e-4, 0.02, 0.25
    rod = 1.01 * (R - thickness / 2)
    model = soft_tube(Reservoir(p), Reservoir(out), thickness=thickness, gap=gap, rod=R / 2)
    push = Stage("push", obstacles={"rod": rod}, steps=3)
    last = reached(model, [REST, push, Stage("flow", control="flow", duration=3.0, steps=12)])[-1]
    κ = rod / (rod + gap)
    leak = np.pi * (rod + gap) ** 4 / (8 * η * L) * annular(κ) * (p - out)
    assert value(last, "outflow at the upper end") == pytest.approx(leak, rel=1e-3)
    assert -value(last, "outflow at the lower end") == pytest.approx(leak, rel=1e-3)


@pytest.mark.parametrize("rod", [None, pytest.param(1.0, marks=pytest.mark.long)])
def test_a_wave_of_voltage_pumps_and_its_energies_balance(rod):
    n, T, voltage = 4, 0.5, 2.0
    rings = tuple(Band(f"r{i}", "wall", L * i / n, L * (i + 1) / n) for i in range(n))
    model = soft_tube(Reservoir(2e-3), Reservoir(2e-3), bands=rings, thickness=0.25, sheets=5, rod=rod)
    form = Waveform(form=RaisedCosine(1.0), period=T, amplitude=voltage, offset=0.0, start=0.0, cycles=None)
    waves = travelling("voltages", [r.name for r in rings], form, delay=T / n)
    fill = Stage("fill", pressure=2e-3, voltages={r.name: 0.0 for r in rings}, steps=2)
    on = {wave.entry: wave.waveform.value(0.0) for wave in waves}
    ramp = Stage("ramp", voltages=on, steps=4)
    wave = Stage("wave", control="flow", duration=3 * T, time_step=T / 48, waves=waves)
    states = reached(model, [fill, ramp, wave])
    at = {round(value(s, "time") / T * 48): s for s in states if s.stage == "wave"}
    start, end = at[96], at[144]

    def gained(name):
        return value(end, name) - value(start, name)

    stored = gained("strain energy") + gained("stored electrical energy")
    work, electrical, lost = map(gained, ("work on the fluid", "electrical energy put in", "viscous loss"))
    assert abs(stored) < 0.01 * electrical
    assert electrical - stored == pytest.approx(work, rel=1e-3)
    out, into = gained("volume out of the upper end"), gained("volume out of the lower end")
    assert out + into == pytest.approx(-gained("lumen volume"), abs=1e-8 * value(end, "lumen volume"))
    assert gained("work at the upper end") == pytest.approx(2e-3 * out, rel=1e-9)
    assert work == pytest.approx(lost, rel=5e-3)  # the pressures at both ends are equal
    assert out > 0 > into  # the fluid follows the wave


def test_warnings_are_kept_where_a_path_ends_early():
    # Water in a wide tube is no lubrication flow, and the wall pulls in on the way.
    rings = (Band("all", "wall", 0.0, L),)
    model = soft_tube(Reservoir(2e-3), Reservoir(2e-3), bands=rings, thickness=0.25, sheets=5)
    flow = replace(model.flow, lumen=replace(model.flow.lumen, fluid=Fluid(1e-9)))
    fill = Stage("fill", pressure=2e-3, voltages={"all": 0.0}, steps=2)
    rise = Stage("rise", control="flow", duration=1.0, voltages={"all": 20.0}, steps=40)
    outcome, states = run(replace(model, flow=flow), [fill, rise], stepping=Stepping())
    assert outcome.kind != "reached"
    assert states[-1].stage == "rise"
    assert any("lubrication theory does not hold" in text for text in outcome.remarks)


@dataclass(frozen=True)
class Cosine(Form):
    """cos π(x - 2θ)."""

    x: float

    def value(self, θ):
        return np.cos(np.pi * (self.x - 2 * θ))

    def slope(self, θ):
        return 2 * np.pi * np.sin(np.pi * (self.x - 2 * θ))


@pytest.mark.exact
@pytest.mark.long
@pytest.mark.parametrize(
    ("rise", "pumped", "power", "loss"),
    [(0.0, 0.011614714, 0.0065264405, 0.0065264405), (0.05, -0.027061034, 0.0073843177, 0.0087373694)],
)
def test_an_active_squeeze_pumps_against_a_reservoir(rise, pumped, power, loss):
    # Cf. D. Takagi and N. J. Balmforth, J. Fluid Mech. 672, 196 (2011), from memory. A tube of the law
    # p - p_ext = K (1 - 1/α²), α = A/A0, under p_ext = P0 (1 - cos 2π(x - s))/2 with P0 = 0.6 K between
    # reservoirs, Γ = A0 K λ/(8π η c L²) = 1: mean flow over A0 c, work of the squeeze and dissipation by
    # Chebyshev collocation, checked by finite volumes. A membrane held at λz has this law, and a voltage of
    # its rings acts as p_ext = -ε (V/h)² h/r: the reservoirs are lower by P0, and V goes with cos π(x - s).
    n, λz, h, r, P0 = 32, 1.2, 0.02, R, 0.6
    K = G * h / (λz * r)
    A0, Γ = np.pi * r**2, 1.0
    T = L**2 / (A0 * K / (8 * np.pi * η * Γ))
    rings = tuple(Band(f"r{i}", "wall", L * i / n, L * (i + 1) / n) for i in range(n))
    ε, even = 3.0 * 8.8541878128e-6, np.sinc(1 / n)  # mean of the wave over a ring
    crest = h * np.sqrt(P0 / even * K * r / (ε * h))
    model = Model(
        tube_body((r + h / 2) / (r - h / 2), L, A=r - h / 2, along=L / 64, bands=rings),
        (
            Part(
                "wall",
                neo_hookean(G, permittivity=3.0),
                Sheets(1, h),
                natural_stretch=NaturalStretch(hoop=λz**0.5, axial=1 / λz),
            ),
        ),
        (*SLIDING, Support("outer", "axial")),
        electrodes=tuple(Electrode(band.name) for band in rings),
        flow=Flow(Lubrication(n, Fluid(η), Reservoir(-P0 * K), Reservoir((rise - P0) * K), 0.01)),
    )
    waves = tuple(
        LoadWave("voltages", ring.name, Waveform(form=Cosine((i + 0.5) / n), period=2 * T, amplitude=crest))
        for i, ring in enumerate(rings)
    )
    start = {wave.entry: wave.waveform.value(0.0) for wave in waves}
    on = Stage("on", pressure=-P0 * K, voltages=start, steps=6)
    states = reached(
        model, [on, Stage("wave", control="flow", duration=2 * T, time_step=T / 32, waves=waves)]
    )
    first, last = (min(states, key=lambda s: abs(value(s, "time") - k * T)) for k in (1, 2))

    def gained(name):
        return value(last, name) - value(first, name)

    assert gained("volume out of the upper end") / (A0 * L) == pytest.approx(pumped, abs=5e-4)
    energy = A0 * K * L
    assert gained("work on the fluid") / energy == pytest.approx(power, rel=0.03)
    assert gained("viscous loss") / energy == pytest.approx(loss, rel=0.03)
    stored = gained("strain energy") + gained("stored electrical energy")
    assert gained("electrical energy put in") - stored == pytest.approx(power * energy, rel=0.03)


def test_the_softest_mode_keeps_the_volumes():
    path = Path(
        soft_tube(Closed(), Closed()),
        [Stage("fill", pressure=2e-3, steps=2), Stage("wait", control="flow", duration=0.1, steps=1)],
    )
    path.follow()
    path.system.assemble_residual()
    path.system.factorise()
    coupled = CoupledNewton(path.newton, path.problem.model.flow)
    assert coupled.held_modes() == 0
    mode, alone = coupled.softest_held(), softest_mode(path.system)
    held, free = (np.linalg.norm(coupled.ports.derivatives()[1].T @ m.vector.array) for m in (mode, alone))
    assert held < 1e-6 * free
    assert mode.stiffness > alone.stiffness > 0
    # The smallest quotient vᵀKv/vᵀMv of motions that keep the volumes, as forces on the part cause them.
    forces, motion, product = (path.system.vector() for _ in range(3))
    for numbers in np.random.default_rng(1).standard_normal((20, forces.getLocalSize())):
        forces.array_w[:] = numbers
        path.system.mass.product(forces, product)
        path.system.zero_fixed(product)
        coupled._solve_held(product, motion)
        work = product.dot(motion)
        path.system.mass.product(motion, forces)
        assert work / motion.dot(forces) >= mode.stiffness * (1 - 1e-9)
