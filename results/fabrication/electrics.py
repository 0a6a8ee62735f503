# SPDX-License-Identifier: MIT
"""Voltage, charge, energy and discharge of each electrode in the state of the highest voltage."""

import math
from typing import NamedTuple

import numpy as np

from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.state_words import largest_voltage
from annelid.results.folder.tables import PathRecord
from annelid.solver.model import quantities as q

__all__ = ["BLEEDER", "SAFE_VOLTAGE", "StoredElectricity", "stored_electricity"]

BLEEDER = 10.0  # MΩ; an example
SAFE_VOLTAGE = 0.06  # kV d.c.; as quoted in the report's table of published limits


class StoredElectricity(NamedTuple):
    """What one electrode stores.

    Attributes:
        electrode: Its name.
        voltage: kV.
        charge: uC.
        capacitance: C = Q/V, nF.
        energy: ½ Q V, mJ.
        discharge: Time to fall to ``SAFE_VOLTAGE`` through ``BLEEDER``, t = R C ln(V/V_safe), s.
    """

    electrode: str
    voltage: float
    charge: float
    capacitance: float
    energy: float
    discharge: float


def stored_electricity(run: RunRecord) -> tuple[StoredElectricity, ...]:
    """Return what each electrode with a voltage stores; empty without a voltage."""
    table = run.table
    if not largest_voltage(table).any():
        return ()
    row = int(np.argmax(largest_voltage(table)))
    entries = []
    stem = q.ELECTRODE_VOLTAGE_OF.stem
    for name in (n.removeprefix(stem) for n in table.quantities if n.startswith(stem)):
        voltage = abs(_value(table, q.ELECTRODE_VOLTAGE_OF.of(name), row))
        charge = abs(_value(table, q.CHARGE_OF.of(name), row))
        if voltage and math.isfinite(charge):
            entries.append(_stored(name, voltage, charge))
    return tuple(entries)


def _stored(name: str, voltage: float, charge: float) -> StoredElectricity:
    capacitance = charge / voltage
    fall = math.log(max(voltage / SAFE_VOLTAGE, 1.0))
    time = BLEEDER * capacitance * 1e-3 * fall  # MΩ nF = ms
    return StoredElectricity(name, voltage, charge, capacitance, 0.5 * charge * voltage, time)


def _value(table: PathRecord, name: str, row: int) -> float:
    return float(table[name][row]) if name in table.columns else math.nan
