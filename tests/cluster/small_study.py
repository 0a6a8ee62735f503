# SPDX-License-Identifier: MIT
"""Studies of a plain tube under pressure; a run takes about a second, or more with many steps."""

from plain_tube import BARE


def tables(steps):
    return BARE | {"stages": [{"name": "fill", "pressure": "5 mmHg", "steps": steps}]}


def pressures(*values):
    return {
        "key": "stages.fill.pressure",
        "name": "pressure",
        "values": [f"{value} mmHg" for value in values],
    }
