#!/bin/sh
# SPDX-License-Identifier: MIT
# Prints the first Python >= 3.12 on this machine; if there is none, it prints nothing and fails.
for python in python3.13 python3.12 python3.14 python3 "$HOME"/.pyenv/versions/3.1[2-9]*/bin/python3 /opt/python*/bin/python3; do
    if "$python" -c 'import sys; sys.exit(sys.version_info[:2] < (3, 12))' >/dev/null 2>&1; then
        command -v "$python"
        exit 0
    fi
done
exit 1
