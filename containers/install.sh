#!/bin/sh
# SPDX-License-Identifier: MIT
# The three steps of the installation in an image, as root on Debian 13: sh install.sh system|packages|project
set -eu

case "$1" in
system) # the packages that cases/run/preflight.py checks; a test compares the two lists
    apt-get update
    DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends gcc libc6-dev libegl1 libgl1 \
        libglu1-mesa libxcursor1 libxft2 libxinerama1 python3 python3-venv
    rm -rf /var/lib/apt/lists/*
    ;;
packages)
    python3 -m venv /opt/annelid/venv
    /opt/annelid/venv/bin/pip install --no-cache-dir --disable-pip-version-check --require-hashes \
        -r /opt/annelid/requirements.txt
    ;;
project) # setuptools is among the locked packages, so nothing is downloaded
    /opt/annelid/venv/bin/pip install --disable-pip-version-check --no-index --no-deps --no-build-isolation \
        /opt/annelid/source
    rm -rf /opt/annelid/source
    ;;
*)
    echo "install.sh: \"$1\" is not a step; give system, packages or project" >&2
    exit 2
    ;;
esac
