# SPDX-License-Identifier: MIT
"""Studies of a plain tube under pressure, of a second a run, or of as long as its steps take."""

from plain_tube import BARE


def tables(steps):
    return BARE | {"stages": [{"name": "fill", "pressure": "5 mmHg", "steps": steps}]}


def pressures(*values):
    return {
        "key": "stages.fill.pressure",
        "name": "pressure",
        "values": [f"{value} mmHg" for value in values],
    }
