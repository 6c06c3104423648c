#!/bin/bash
#SBATCH --job-name=tidemark
#SBATCH --cpus-per-task=1
#SBATCH --mem=2G
#SBATCH --requeue
#SBATCH --open-mode=append
#SBATCH --output=tidemark-%A_%a.log
# One part of a batch on each task of a Slurm job array; the tasks are 1 to N, and N is the number of parts.
#
#   sbatch --array=1-100 scripts/cluster/slurm_array.sh INPUT OUT [options of tidemark batch]
#   sbatch --dependency=afterok:JOB --wrap "tidemark merge OUT/part-*/registry.sqlite --out OUT/registry.sqlite"
#
# A task that is killed, preempted or requeued goes on where it was: give the same command again, or
# let Slurm requeue it. The database is written into OUT/part-I. WAL wants a file system with shared
# memory between processes of one machine: local disks and most cluster file systems do, and one task
# writes one database. TIDEMARK names the program (default: tidemark in PATH).
set -u
input=$1
out=$2
shift 2
part=$SLURM_ARRAY_TASK_ID
# Not the count of tasks: --array=2-100 would be 99 parts of another cut than --array=1-100.
if [ "$SLURM_ARRAY_TASK_MIN" -ne 1 ]; then
  echo "slurm_array.sh: the tasks begin at $SLURM_ARRAY_TASK_MIN; give --array=1-N, where N is the number of parts" >&2
  exit 2
fi
"${TIDEMARK:-tidemark}" batch "$input" --out "$out/part-$part" \
  --shard "$part/$SLURM_ARRAY_TASK_MAX" --jobs "${SLURM_CPUS_PER_TASK:-1}" "$@"
code=$?
# 1 = all done, some hips not measured (the table says why): no failure of the task.
[ "$code" -eq 1 ] && exit 0
exit "$code"
