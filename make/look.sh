#!/bin/sh
# Assess every piece in sample_images/: its photos are the pictures in its folder. Exit status: the worst that was met.
set -eu
cd "$(dirname "$0")/.."
worst=0
for piece in sample_images/*/; do
    name=$(basename "$piece")
    set --
    for photo in "$piece"*.jpg "$piece"*.jpeg "$piece"*.png; do
        if [ -f "$photo" ]; then set -- "$@" "$photo"; fi
    done
    if [ $# = 0 ]; then continue; fi
    printf '\n=== %s (%d photos)\n' "$name" $#
    status=0
    .venv/bin/python -m service.cli look "$@" --out "out/$name" || status=$?
    if [ "$status" -gt "$worst" ]; then worst=$status; fi
done
printf '\nEvidence pictures and reports:\n'
find out -name '*.html' -o -name '*.jpg' -o -name '*.png' | sort | sed 's/^/  /'
exit "$worst"
