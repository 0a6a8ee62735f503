#!/bin/bash -l
# An example of a template for another scheduler, here with PBS directives. Copy it and name the copy in the
# site file (template = "my_array.sh"). cases/cluster/README.md explains the placeholders between @.
#PBS -N annelid
#PBS -J 0-@last@
#PBS -l select=1:ncpus=@ranks@:mpiprocs=@ranks@:mem=@megabytes@mb
#PBS -l walltime=@seconds@
#PBS -q @partition@
set -e
cd @folder@
@modules@
@environment@
exec @command@ "$PBS_ARRAY_INDEX" "${PBS_JOBID:-}"
