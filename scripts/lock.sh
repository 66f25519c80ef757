#!/bin/sh
# Writes the three locks anew from pyproject.toml, with a hash for every file and no address of any host.
#
#   sh scripts/lock.sh [--upgrade] [--upgrade-package NAME]
#
# Without --upgrade, versions stay as they are where pyproject.toml still allows them.
set -eu
cd "$(dirname "$0")/.."
sh scripts/setup.sh tools
. scripts/settings.sh
compile() {
    lock=$1
    shift
    .tools/bin/uv --quiet pip compile --universal --python-version 3.11 --generate-hashes \
        --no-header --no-emit-index-url --no-emit-find-links --output-file "$lock" "$@" >/dev/null
    if grep -n '://' "$lock"; then
        echo "lock: $lock names an address; it must not." >&2
        exit 1
    fi
    echo "lock: $lock names $(grep -c '==' "$lock") packages"
}
compile requirements.lock pyproject.toml --group build --group test "$@"
compile requirements-dev.lock --constraints requirements.lock --group lint --group browser "$@"
compile requirements-uv.lock --group tools "$@"
