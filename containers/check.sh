#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# Builds the image, runs a library case in it on one and on two processors, and compares the numbers with those of .venv.
# If Slurm is installed, it also runs a study on a cluster of one node whose jobs run in the image.
#   containers/check.sh [OPTION OF buildah build ...]
# It needs buildah and .venv (make demo; make test for the study). Set BUILDAH_ISOLATION=chroot if containers cannot be
# nested, and PYTHON to use another interpreter outside the image.
set -euo pipefail
cd "$(dirname "$0")/.."

image=localhost/annelid
case=cuff
python=${PYTHON:-$PWD/.venv/bin/python}
work=$(mktemp -d)
container=
finish() {
    rm -rf "$work"
    if [ -n "$container" ]; then buildah rm "$container" >/dev/null; fi
}
trap finish EXIT

buildah build -f containers/Containerfile -t "$image" "$@" .
container=$(buildah from --pull-never "$image")
inside() { buildah run -v "$work:/work" --env ANNELID_CACHE=/work/cache "$container" -- "$@"; }

inside annelid run "$case" /work/inside
inside annelid run "$case" /work/on_two --ranks 2 --no-report
"$python" -m annelid run "$case" "$work/outside" --no-report
for run in inside on_two; do
    "$python" containers/same_numbers.py "$work/$run" "$work/outside"
done
test -s "$work/inside/report.html"
if command -v slurmctld >/dev/null; then # a study on a cluster of one node, with its jobs in the image
    ANNELID_CONTAINER=$container "$python" -m pytest -q tests/cluster/test_in_image.py
fi
echo "the numbers of the image agree with those of this machine"
