# SPDX-License-Identifier: MIT
"""Stored charge and energy of a run compared with published limits, and the cautions of every report."""

from dataclasses import dataclass

import numpy as np

from annelid.results.folder.tables import PathRecord
from annelid.solver.model import quantities as q

SECOND_HAND = "quoted from a secondary source; the standard was not read"

CAUTIONS = (
    "High voltage kills. Supplies for such actuators can deliver a lethal current, and the part, its cables "
    "and the supply stay charged after they are switched off. Discharge them through a resistor, and check "
    "with a meter before you touch anything.",
    "For research only. This calculation is neither a medical device nor a proof of safety or of conformity "
    "with any standard.",
    "Local regulations and the practice of licensed engineers and clinicians take precedence. Check the "
    "limits quoted here against the current editions of the standards.",
    "Breakdown strength varies between sheets and decreases with defects, humidity, temperature and time. A "
    "margin computed from one value of the strength is only as reliable as this value.",
)


@dataclass(frozen=True)
class PublishedLimit:
    """A limit of a standard or a paper.

    Attributes:
        source: Standard and clause, or paper.
        text: Content of the limit.
        status: Whether the source was read.
    """

    source: str
    text: str
    status: str


LIMITS = (
    PublishedLimit(
        "IEC 60335-1, 8.1.4 (protective impedance)",
        "450 V to 15 kV: discharge at most 45 µC; above 15 kV: energy at most 350 mJ; 42.4 V to 450 V: "
        "capacitance at most 0.1 µF; current at most 2 mA d.c. or 0.7 mA peak a.c. Discharge measured with a "
        "non-inductive resistor of 2000 ohm.",
        SECOND_HAND,
    ),
    PublishedLimit(
        "IEC 60601-1, 8.4.2 c)",
        "Accessible contacts: at most 42.4 V peak a.c. or 60 V d.c., else the touch current of 8.7.3 c).",
        SECOND_HAND,
    ),
    PublishedLimit(
        "IEC 60601-1, 8.7.3 and table 3",
        "Patient leakage current a.c., normal condition / single fault: type BF 100 / 500 µA, type CF "
        "10 / 50 µA; touch current 100 / 500 µA; type CF d.c. 10 / 50 µA.",
        SECOND_HAND,
    ),
    PublishedLimit(
        "Audio-type touch limits (text of IEC 60065)",
        "35 V peak or 60 V d.c.; 0.7 mA peak or 2.0 mA d.c., measuring network of IEC 60990.",
        SECOND_HAND,
    ),
    PublishedLimit(
        "IEC 60479-2:2019",
        "Covers unidirectional impulses and capacitor discharges of 0.1 to 10 ms.",
        "the scope was read; the thresholds were not available",
    ),
    PublishedLimit(
        "Smart Materials and Structures 26 (2017) 115007",
        "Discharge limits for flat and cylindrical dielectric actuators on the body.",
        "only the abstract was read",
    ),
)

CURRENT_NOTE = (
    "These limits do not cover the continuous current of the supply, which must be limited separately. "
    "Charge and energy are those of the modelled part alone, without cables and supply."
)


@dataclass(frozen=True)
class StoredCharge:
    """The largest stored charge and energy along a path, compared with the limits.

    Attributes:
        voltage: Largest voltage of an electrode, kV.
        charge: Largest total charge, uC.
        energy: Largest stored electrical energy, mJ.
        within: Whether the limit for this voltage is met; ``None`` if no limit applies.
        text: The comparison as text.
    """

    voltage: float
    charge: float
    energy: float
    within: bool | None
    text: str


def stored_charge(table: PathRecord) -> StoredCharge | None:
    """Compare the stored charge and energy with the quoted limits of IEC 60335-1, 8.1.4.

    Returns:
        The comparison; ``None`` if no voltage is applied.
    """
    voltage = max((_largest(table, name) for name in table.loads_of("voltage").values()), default=0.0)
    if voltage == 0.0:
        return None
    units = table.display
    charge, energy = _largest(table, q.CHARGE.name), _largest(table, q.ELECTRICAL_ENERGY.name)
    stored = f"{units.show('charge', charge)} and {units.show('energy', energy)}"
    text = f"At voltages up to {units.show('voltage', voltage)} the part stores at most {stored}. "
    if voltage > 15.0:
        text += "Above 15 kV the limit is on the energy, which is "
        return _compared(voltage, charge, energy, energy <= 350.0, text, "350 mJ")
    if voltage >= 0.45:
        text += "From 450 V to 15 kV the limit is on the charge, which is "
        return _compared(voltage, charge, energy, charge <= 45.0, text, "45 µC")
    text += "Below 450 V the quoted limit on the charge does not apply."
    return StoredCharge(voltage, charge, energy, None, text)


def _compared(
    voltage: float, charge: float, energy: float, within: bool, text: str, limit: str
) -> StoredCharge:
    source = "IEC 60335-1, 8.1.4 (quoted from a secondary source)"
    text += f"{'below' if within else 'ABOVE'} the {limit} of {source}."
    return StoredCharge(voltage, charge, energy, within, text)


def _largest(table: PathRecord, name: str) -> float:
    values = np.abs(table.columns.get(name, np.zeros(1)))
    return float(np.max(values[np.isfinite(values)], initial=0.0))
