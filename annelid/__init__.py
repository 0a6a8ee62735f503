# SPDX-License-Identifier: MIT
"""Design and check soft tubular dielectric-elastomer actuators.

The packages in here are links to the folders of the same name beside this one.
"""
