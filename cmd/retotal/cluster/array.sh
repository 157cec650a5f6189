#!/bin/sh
# One task of a job array: its part of the sites of a batch. RETOTAL is the program, and
# RETOTAL_BATCH the options of the batch, the same for all tasks; retotal gather with them then joins
# the parts. A task that failed is run again by scontrol requeue JOB_TASK, which keeps the array.
#SBATCH --job-name=retotal
#SBATCH --cpus-per-task=1
exec "${RETOTAL:-retotal}" batch --quiet --shard slurm $RETOTAL_BATCH
