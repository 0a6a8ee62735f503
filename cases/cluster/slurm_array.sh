#!/bin/bash -l
# One array of a study: runs 0 to @last@, each on @ranks@ rank(s). Written by `annelid study --slurm`.
set -e
@modules@
@environment@
exec @command@ "$SLURM_ARRAY_TASK_ID" "${SLURM_ARRAY_JOB_ID:-}"
