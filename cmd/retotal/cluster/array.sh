#!/bin/sh
# One task of a job array: its part of the sites of a batch. RETOTAL is the program, and
# RETOTAL_BATCH the options of the batch, the same for all tasks; retotal gather with them then
# joins the parts. scontrol requeue JOB_TASK runs a task again and keeps the array as it was.
#SBATCH --job-name=retotal
#SBATCH --cpus-per-task=1
exec "${RETOTAL:-retotal}" batch --quiet --shard slurm $RETOTAL_BATCH
