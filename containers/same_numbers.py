# SPDX-License-Identifier: MIT
"""Compare the last states of two Run folders; exit code 1 if they differ.

``python containers/same_numbers.py RUN RUN``
"""

import json
import sys
from pathlib import Path

RELATIVE, ABSOLUTE = 1e-6, 1e-9  # the absolute one is for values that are zero up to rounding


def main(first: str, second: str) -> int:
    """Print the quantities that differ; return 1 if there are any, else 0."""
    a, b = (json.loads((Path(run) / "summary.json").read_text()) for run in (first, second))
    x, y = (summary["final_state"]["quantities"] for summary in (a, b))
    if set(x) != set(y) or a["case_hash"] != b["case_hash"] or a["states"] != b["states"]:
        print(f"{first} and {second} are not runs of the same case with the same number of states")
        return 1
    allowed = {name: ABSOLUTE + RELATIVE * abs(x[name]) for name in x}
    different = [name for name in x if abs(x[name] - y[name]) > allowed[name]]
    for name in different:
        print(f"{name}: {x[name]!r} and {y[name]!r}")
    print(f"{first}: {len(x) - len(different)} of {len(x)} quantities agree with {second}")
    return 1 if different else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:3]))
