#!/bin/sh
# Prepare .venv from a hashed lock file:  sh make/environment.sh base|dev
#
#   base  what the program needs        (requirements/base.lock)
#   dev   base + teaching, rendering of scenes, tests  (requirements/dev.lock)
#
# A second call is quick: the stamp .venv/.ready says what was installed, for which checkout.
# PYTHON=/path/to/python3 chooses an interpreter. As root, missing Debian packages are installed; otherwise named.
set -eu
cd "$(dirname "$0")/.."
want="${1:-base}"
case "$want" in base | dev) ;; *) echo "usage: sh make/environment.sh base|dev" >&2; exit 2 ;; esac

venv=.venv
stamp=$venv/.ready

say() { printf '%s\n' "set-up: $*" >&2; }
fail() { for line in "$@"; do say "$line"; done; exit 1; }

new_enough() { "$1" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; }

find_python() {
    for candidate in ${PYTHON:-python3 python3.13 python3.12 python3.11}; do
        if command -v "$candidate" >/dev/null 2>&1 && new_enough "$candidate"; then
            command -v "$candidate"
            return 0
        fi
    done
    return 1
}

# Install Debian packages when that is possible without asking; false when it is not.
debian_install() {
    [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1 || return 1
    say "installing system packages: $*"
    { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@"; } >&2
}

can_make_venv() { "$1" -c 'import venv, ensurepip' 2>/dev/null; }

digest() { cat "requirements/$1.lock" pyproject.toml | sha256sum | cut -d' ' -f1; }

# One line per thing that must be unchanged for the environment to count as ready.
ready_lines() {
    printf 'checkout %s\n' "$(pwd -P)"
    printf 'base %s\n' "$(digest base)"
    if [ "$want" = dev ]; then printf 'dev %s\n' "$(digest dev)"; fi
}

is_ready() {
    [ -f "$stamp" ] && [ -x "$venv/bin/python" ] || return 1
    ready_lines | while IFS= read -r line; do grep -qxF "$line" "$stamp" || exit 1; done
}

if is_ready; then exit 0; fi

python=$(find_python) || {
    debian_install python3 python3-venv || true
    python=$(find_python) || fail "no Python 3.11 or newer was found${PYTHON:+ (PYTHON=$PYTHON)}." \
        "Install it, for example as root on Debian 12 or later: apt-get install python3 python3-venv" \
        "or say where it is: make PYTHON=/path/to/python3 ..."
}
if ! can_make_venv "$python"; then
    version=$("$python" -c 'import sys; print("python%d.%d-venv" % sys.version_info[:2])')
    debian_install "$version" || debian_install python3-venv || true
    can_make_venv "$python" || fail "$python cannot make virtual environments." \
        "Install its venv package, for example as root on Debian: apt-get install $version"
fi

# An environment of another checkout, an older Python or a deleted one is of no use: its scripts point elsewhere.
if [ -d "$venv" ] && { ! "$venv/bin/python" -c 'import pip' 2>/dev/null || ! new_enough "$venv/bin/python" ||
        { [ -f "$stamp" ] && ! grep -qxF "checkout $(pwd -P)" "$stamp"; }; }; then
    say "the old $venv does not fit this checkout; making it anew"
    rm -rf "$venv"
fi
if [ ! -d "$venv" ]; then
    say "making $venv with $("$python" -V 2>&1) ($python)"
    "$python" -m venv "$venv"
fi

# Tests of the pages need a browser, the comparison of their scripts Node, the store a PostgreSQL server; without one they are skipped.
if [ "$want" = dev ]; then
    command -v chromium >/dev/null 2>&1 || debian_install chromium ||
        say "no Chromium: tests of the pages in a browser will be skipped"
    command -v node >/dev/null 2>&1 || debian_install nodejs ||
        say "no Node: scripts of the pages will not be compared with the program"
    command -v pg_ctl >/dev/null 2>&1 || ls /usr/lib/postgresql/*/bin/pg_ctl >/dev/null 2>&1 || debian_install postgresql ||
        say "no PostgreSQL: its tests will be skipped"
fi

say "installing requirements/$want.lock (the first time takes some minutes)"
rm -f "$stamp"
"$venv/bin/python" -m pip install --quiet --disable-pip-version-check --require-hashes -r "requirements/$want.lock" >&2 ||
    fail "the packages could not be installed; see the message above." \
        "A connection to a Python package index is needed once; nothing is fetched after that."
PYTHONWARNINGS=ignore "$venv/bin/python" -m pip install --quiet --disable-pip-version-check --no-build-isolation --no-deps --editable . >&2
ready_lines >"$stamp"
say "ready"
