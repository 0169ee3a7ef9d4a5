#!/bin/sh
# Write requirements/base.lock and requirements/dev.lock anew from pyproject.toml (newest versions that agree).
#
# The locks name no host, so any package index that serves these files will do; the hashes cover every file of a
# release, so that they hold on other processors and Python versions too. dev.lock keeps base.lock's versions.
set -eu
cd "$(dirname "$0")/.."
compile() {
    .venv/bin/python -m piptools compile --quiet --upgrade --generate-hashes --allow-unsafe --all-build-deps --strip-extras \
        --no-header --no-annotate --no-emit-index-url --no-emit-trusted-host --no-emit-find-links --no-emit-options "$@" pyproject.toml
}
compile --output-file requirements/base.lock
compile --output-file requirements/dev.lock --constraint requirements/base.lock --extra training --extra scenes --extra dev
