# SPDX-License-Identifier: MIT
"""``python -m annelid COMMAND``: the command line."""

import sys

from annelid.cases.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
