#!/bin/sh
# parallel.sh PHOTOS SCHEDULE OUT PARTS: inspects the photos in so many parts,
# as many at a time as there are cores, and merges them into OUT/whole.
# With --sshlogin of parallel the parts run on other machines that see the same folders.
photos=$1 schedule=$2 out=$3 parts=$4

# Status 1 says that a photo was refused; the part is done nevertheless.
seq "$parts" | parallel --halt soon,fail=1 \
	"coursegauge inspect '$photos' --schedule '$schedule' --out '$out/part-{}' --shard '{}/$parts' --jobs 1; test \$? -le 1" &&
	coursegauge merge "$out"/part-* --out "$out/whole"
