#!/bin/sh
# Makes .venv from the locks, on a machine that has nothing but Python 3.11 or later, pip and make.
#
#     sh scripts/setup.sh [base|dev|tools]
#
# base (the default) holds what running, building and testing need; dev adds the linters and the browser driver;
# tools stops after fetching uv, which is all that scripts/lock.sh needs. A second run with nothing changed does nothing.
# Why each step is as it is: docs/decisions/0002-locks-and-bare-set-up.md.
set -eu
what=${1:-base}
case $what in
base | dev | tools) ;;
*)
    echo "set-up: there is no set-up named $what; say base, dev or tools." >&2
    exit 2
    ;;
esac
cd "$(dirname "$0")/.."
here=$(pwd -P)

. scripts/settings.sh

say() { printf 'set-up: %s\n' "$*"; }
hash_of() { cat "$@" | "$python" -c 'import hashlib, sys; print(hashlib.sha256(sys.stdin.buffer.read()).hexdigest())'; }
same() { [ -f "$1" ] && [ "$(cat "$1")" = "$2" ]; }

# 1. uv, from pip, into a folder of its own: a system Python refuses packages, and --target needs no environment.
tools_wanted=$(hash_of requirements-uv.lock)
if ! same .tools/.stamp "$tools_wanted" || ! .tools/bin/uv --version >/dev/null 2>&1; then
    say "fetching uv into .tools"
    rm -rf .tools
    "$python" -m pip install --quiet --no-deps --require-hashes --target .tools -r requirements-uv.lock
    printf '%s\n' "$tools_wanted" >.tools/.stamp
fi
uv=.tools/bin/uv
if [ "$what" = tools ]; then exit 0; fi

# 2. The environment. It belongs to one interpreter and one folder (its scripts hold both as full paths).
made_for="$here $python $("$python" -c 'import sys; print(sys.version)' | tr '\n' ' ')"
if ! same .venv/.made-for "$made_for" || ! .venv/bin/python -c '' 2>/dev/null; then
    say "making .venv with $("$python" --version)"
    "$uv" --quiet venv --no-project --clear --python "$python" .venv
    printf '%s\n' "$made_for" >.venv/.made-for
fi

# 3. What the locks name, each file checked against its hash; then Evenhand itself, built by what the lock brought.
install_lock() {
    wanted=$(hash_of "$1")
    if same ".venv/.have-$1" "$wanted"; then return 0; fi
    say "installing $1"
    "$uv" --quiet pip install --python .venv/bin/python --require-hashes -r "$1"
    printf '%s\n' "$wanted" >".venv/.have-$1"
}
install_lock requirements.lock
if ! same .venv/.have-evenhand "$(hash_of pyproject.toml)" || ! [ -x .venv/bin/evenhand ]; then
    say "installing evenhand"
    "$uv" --quiet pip install --python .venv/bin/python --no-deps --no-build-isolation -e .
    hash_of pyproject.toml >.venv/.have-evenhand
fi
if [ "$what" = dev ]; then install_lock requirements-dev.lock; fi
