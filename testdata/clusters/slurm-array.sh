#!/bin/sh
#SBATCH --job-name=coursegauge
#SBATCH --array=1-8
#SBATCH --cpus-per-task=1
#SBATCH --mem=1G
# sbatch slurm-array.sh PHOTOS SCHEDULE OUT: inspects a part of the photos in
# each task of the array. Then, with JOB the number that sbatch said:
# sbatch --dependency=afterok:JOB --wrap 'coursegauge merge OUT/part-* --out OUT/whole'
coursegauge inspect "$1" --schedule "$2" --out "$3/part-$SLURM_ARRAY_TASK_ID" \
	--shard "env/$SLURM_ARRAY_TASK_COUNT" --jobs "${SLURM_CPUS_PER_TASK:-1}"
test $? -le 1 # 1 says that a photo was refused; the part is done nevertheless
