# SPDX-License-Identifier: MIT
"""Errors of the solver, members of the project's one family."""

from annelid.geometry.errors import AnnelidError, InputError

__all__ = ["AnnelidError", "FlowNotFound", "InputError", "NoEquilibrium", "SelfContact"]


class NoEquilibrium(AnnelidError):
    """No equilibrium was found where the caller asked for one; carries the residual and the loads."""


class SelfContact(NoEquilibrium):
    """Walls of the part would pass through each other; carries the place."""


class FlowNotFound(AnnelidError):
    """The flow of a time step was not found; carries the time."""
