# SPDX-License-Identifier: MIT
"""Why a run of a study has no result."""

from dataclasses import dataclass
from typing import Literal

FailureKind = Literal["crash", "time limit", "memory", "error", "impossible"]


@dataclass(frozen=True)
class Failure:
    """Why a run has no result.

    Attributes:
        kind: Kind of the failure.
        reason: The reason as text, with what the user can do.
        seconds: Time from the start to the failure.
        memory: Largest measured memory in MB.
    """

    kind: FailureKind
    reason: str
    seconds: float = 0.0
    memory: float = 0.0
