# SPDX-License-Identifier: MIT
"""Tables of loads that follow waves in time."""

from typing import Annotated, Any

from pydantic import BeforeValidator

from annelid.cases.schema.base import Choice, Duration, Limit, Number, Table, Time, Whole
from annelid.solver.model.loads import LOAD_KINDS
from annelid.solver.model.waveforms import DIRECTIONS

FORMS = ("trapezoid", "square", "raised cosine", "sine", "table", "file")


def _as_tuple(value: Any) -> Any:
    return (value,) if isinstance(value, str) else value


Entries = Annotated[tuple[str, ...], BeforeValidator(_as_tuple, json_schema_input_type=str | tuple[str, ...])]


class WaveTable(Table):
    """A load, or the loads of a row of electrodes one after another, that follows a wave in time."""

    load: Annotated[str, Choice([kind.key for kind in LOAD_KINDS])] = "voltage"
    """Kind of load, a key of stages, for example "voltage" or "pressure"."""
    on: Entries = ()
    """What the load acts on, in the order of "up": the electrodes, surfaces or obstacles. The wave goes from
    one to the next. Leave it out for the pressure in the lumen."""
    form: Annotated[str, Choice(FORMS)] = "trapezoid"
    """One period: "trapezoid" rises, stays and falls; "square" rises and falls within rise; "raised cosine"
    is a smooth pulse; "sine" goes to both sides; "table" has its own points, "file" those of a CSV file."""
    amplitude: Limit | None = None
    """Height of the wave above the offset, for example "3 kV"; not with a table."""
    offset: Limit | None = None
    """Load before and between the pulses; default: 0. Not with a table."""
    period: Duration | None = None
    """Duration of one cycle; of a table its last time."""
    duty: Number | None = None
    """Part of the period that a pulse takes, with rise and fall; default: 0.5, for a raised cosine 1."""
    rise: Duration | None = None
    """Time in which a pulse rises; default: 5 % of the period."""
    fall: Duration | None = None
    """Time in which a trapezoid falls; default: that in which it rises."""
    times: tuple[Time, ...] = ()
    """Times of the points of a table, from "0 s"."""
    values: tuple[Limit, ...] = ()
    """Loads at these times."""
    path: str | None = None
    """CSV file of form = "file", with the columns "time [s]" and the load with its unit, such as
    "voltage [kV]" or "pressure [MPa]"; the resolved case contains its points."""
    wavelength: Number | None = None
    """Distance between successive waves, in entries of on; the delay from one to the next is
    period/wavelength. Default: the number of entries."""
    delay: Time | None = None
    """Delay from one entry to the next, instead of wavelength."""
    direction: Annotated[str, Choice(DIRECTIONS)] = "up"
    """"up" follows the order of on, "down" the reverse order."""
    start: Time = 0.0
    """Time in the stage at which the first cycle begins."""
    cycles: Whole | None = None
    """Number of cycles of each entry; default: until the end of the stage."""
