#!/bin/bash -l
# Tables and page of a study once its arrays have ended. Written by `annelid study --slurm`.
set -e
@modules@
@environment@
exec @command@
