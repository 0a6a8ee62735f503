# SPDX-License-Identifier: MIT
"""The command that checks this installation against published values."""

import argparse
import time

__all__ = ["SELFCHECK_EXAMPLES", "selfcheck_command"]

SELFCHECK_EXAMPLES = """\
Each check computes a small case and compares one number with a published value or a closed form. The first
time takes longer, because equations are compiled. The result is kept for the evidence in reports. The exit
code is 1 if a check fails.
"""
_WIDTHS = (42, 12, 12, 9, 9, 6)


def selfcheck_command(options: argparse.Namespace) -> int:
    """Run the checks and print their table."""
    from annelid.cases.run.environment import require_libraries
    from annelid.cases.selfcheck.run import record, run_checks

    require_libraries()
    begin = time.monotonic()
    _print_row("feature", "published", "computed", "error", "allowed", "")
    results = []
    for result in run_checks():
        check = result.check
        numbers = (
            f"{check.published:.6g}",
            f"{result.value:.6g}",
            f"{result.error:.1e}",
            f"{check.tolerance:.1e}",
        )
        _print_row(check.feature, *numbers, "pass" if result.passed else "FAIL")
        print(f"    {check.quantity}\n    {check.source}; {result.seconds:.1f} s")
        if result.problem:
            print(f"    {result.problem}")
        results.append(result)
    failed = [result.check.feature for result in results if not result.passed]
    path = record(results)
    passed = f"{len(results) - len(failed)} of {len(results)} checks pass"
    print(f"{passed}, in {time.monotonic() - begin:.0f} s; kept in {path}")
    if failed:
        print(f"failed: {', '.join(failed)}")
    return 1 if failed else 0


def _print_row(*cells: str) -> None:
    padded = [
        f"{cells[0]:<{_WIDTHS[0]}}",
        *(f"{c:>{w}}" for c, w in zip(cells[1:], _WIDTHS[1:], strict=True)),
    ]
    print("  ".join(padded).rstrip(), flush=True)
