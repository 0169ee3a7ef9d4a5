#!/bin/sh
# Assess every piece in sample_images/: the photos of one piece are NAME_1.jpg, NAME_2.jpg ... Results go to out/NAME.
# Exit status: the worst that was met.
set -eu
cd "$(dirname "$0")/.."
worst=0
for first in sample_images/*_1.jpg; do
    [ -f "$first" ] || { echo "sample_images/ holds no photo NAME_1.jpg" >&2; exit 1; }
    piece=${first%_1.jpg}
    name=$(basename "$piece")
    set -- "$piece"_[0-9]*.jpg
    printf '\n=== %s (%d photos)\n' "$name" $#
    status=0
    .venv/bin/grainassay look "$@" --out "out/$name" || status=$?
    if [ "$status" -gt "$worst" ]; then worst=$status; fi
done
printf '\nReports, evidence pictures and JSON documents:\n'
find out -type f | sort | sed 's/^/  /'
exit "$worst"
