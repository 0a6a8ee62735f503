# SPDX-License-Identifier: MIT
"""Stored charge and energy of a run beside published limits, and the cautions every report carries."""

from dataclasses import dataclass

import numpy as np

from annelid.results.folder.tables import PathTable
from annelid.solver.model import quantities as q

SECOND_HAND = "second-hand quotation, not read in the standard itself"

CAUTIONS = (
    "High voltage kills. Supplies for such actuators can deliver a lethal current, and the part, its cables "
    "and the supply keep charge after they are switched off: discharge through a resistor and check with a "
    "meter before touching anything.",
    "For research only. This is a calculation, not a medical device and not a proof of safety or of "
    "conformity with any standard.",
    "Local codes and the practice of licensed engineers and clinicians come first. Limits quoted here must "
    "be checked against the standards themselves, in the edition in force.",
    "Breakdown strength scatters between sheets and falls with defects, humidity, heat and time; a margin "
    "computed from one number is no more certain than that number.",
)


@dataclass(frozen=True)
class PublishedLimit:
    """A limit of a standard or a paper.

    Attributes:
        source: Standard and clause, or paper.
        text: Its content.
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
        "scope read; thresholds not seen",
    ),
    PublishedLimit(
        "Smart Materials and Structures 26 (2017) 115007",
        "Discharge limits for flat and cylindrical dielectric actuators on the body.",
        "abstract read only",
    ),
)

CURRENT_NOTE = (
    "A charge limit does not limit the continuous current of the supply, which must be limited separately. "
    "Charge and energy are those of the modelled part alone, without cables and supply."
)


@dataclass(frozen=True)
class StoredCharge:
    """The largest values along a path, and how they compare with the limits.

    Attributes:
        voltage: Largest voltage of an electrode, kV.
        charge: Largest total charge, uC.
        energy: Largest stored electrical energy, mJ.
        within: Whether the limit that applies at this voltage is met; ``None`` where none applies.
        text: The comparison in a sentence.
    """

    voltage: float
    charge: float
    energy: float
    within: bool | None
    text: str


def stored_charge(table: PathTable) -> StoredCharge | None:
    """Compare the stored charge and energy with the limits of IEC 60335-1, 8.1.4 as quoted.

    Returns:
        The comparison; ``None`` where the path has no voltage.
    """
    voltage = max((_largest(table, name) for name in table.loads if name.startswith("voltage")), default=0.0)
    if voltage == 0.0:
        return None
    units = table.display
    charge, energy = _largest(table, q.CHARGE.name), _largest(table, q.ELECTRICAL_ENERGY.name)
    stored = (
        f"At up to {units.show('voltage', voltage)} the part stores at most {units.show('charge', charge)} "
    )
    stored += f"and {units.show('energy', energy)}. "
    if voltage > 15.0:
        return _compared(
            voltage, charge, energy, energy <= 350.0, stored + "Above 15 kV the energy counts: ", "350 mJ"
        )
    if voltage >= 0.45:
        text = stored + "From 450 V to 15 kV the charge counts: "
        return _compared(voltage, charge, energy, charge <= 45.0, text, "45 µC")
    text = stored + "Below 450 V the quoted charge limit does not apply."
    return StoredCharge(voltage, charge, energy, None, text)


def _compared(
    voltage: float, charge: float, energy: float, within: bool, text: str, limit: str
) -> StoredCharge:
    verdict = f"{'below' if within else 'ABOVE'} the {limit} quoted, second-hand, from IEC 60335-1, 8.1.4."
    return StoredCharge(voltage, charge, energy, within, text + verdict)


def _largest(table: PathTable, name: str) -> float:
    values = np.abs(table.columns.get(name, np.zeros(1)))
    return float(np.max(values[np.isfinite(values)], initial=0.0))
