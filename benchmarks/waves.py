# SPDX-License-Identifier: MIT
"""Time of a wave with a viscous fluid: python -m benchmarks.waves; writes results_waves.md.

The library case with eight rings is run with 32 steps a period and three cycles, twice in one process: the
first run compiles what is missing, the second one counts. The linear algebra has one thread.
"""

import tempfile
import time
from pathlib import Path

from annelid.cases.run.environment import prepare

prepare()

from annelid.cases.convert.waves import duration_of  # noqa: E402
from annelid.cases.run.run import run_case  # noqa: E402
from annelid.cases.schema.case import Case  # noqa: E402
from annelid.cases.validate.reading import library_cases, read_case  # noqa: E402
from annelid.results.folder.run_record import open_run  # noqa: E402

STEPS, CYCLES = 32, 3


def wave_case() -> Case:
    """Return the case with these steps and cycles, and elements for about 5,000 unknowns."""
    case = read_case(library_cases()["oesophagus_wave"])
    last = case.stages[-1]
    waves = tuple(wave.model_copy(update={"cycles": CYCLES}) for wave in last.waves)
    last = last.model_copy(update={"steps_per_period": STEPS, "waves": waves, "duration": None})
    last = last.model_copy(update={"duration": duration_of(last)})
    mesh = case.mesh.model_copy(update={"along": 0.87})
    return case.model_copy(update={"stages": (*case.stages[:-1], last), "mesh": mesh})


def main() -> None:
    """Run twice and write the table."""
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for name in ("first", "second"):
            wall, processor = time.perf_counter(), time.process_time()
            run_case(wave_case(), Path(folder) / name)
            rows.append((name, time.perf_counter() - wall, time.process_time() - processor))
        facts = open_run(Path(folder) / "second").summary
    unknowns, states = facts["facts"]["solution"]["unknowns, all"], facts["states"]
    lines = [
        "# Time of a wave with a viscous fluid",
        "",
        f"`oesophagus_wave`, {unknowns} unknowns of the part and 41 of the fluid, {STEPS} steps a period, "
        f"{CYCLES} cycles of each ring, {states} states with their files, one thread.",
        "",
        "| run | wall time [s] | processor time [s] |",
        "|---|---|---|",
        *(f"| {name} | {wall:.1f} | {processor:.1f} |" for name, wall, processor in rows),
        "",
    ]
    (Path(__file__).parent / "results_waves.md").write_text("\n".join(lines))
    print("\n".join(lines))


if __name__ == "__main__":
    main()
