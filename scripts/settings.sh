# Read by the other scripts, from the project's folder: picks the interpreter and carries pip's settings over to uv.
# Gives $python (a full path) and the environment for pip and uv; stops with one sentence where that cannot be.

stop() { printf 'set-up: %s\n' "$*" >&2; exit 1; }

# The interpreter under any environment that is active, links followed, so that .venv is never built from itself.
python=$("${PYTHON:-python3}" -c '
import os, sys
print(os.path.realpath(getattr(sys, "_base_executable", None) or sys.executable))' 2>/dev/null) ||
    stop "there is no ${PYTHON:-python3} here. Install Python 3.11 or later, or name one: make PYTHON=/path/to/python3.11 ..."
"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' ||
    stop "$("$python" --version) is too old. Install Python 3.11 or later, or name one: make PYTHON=/path/to/python3.11 ..."
"$python" -m pip --version >/dev/null 2>&1 ||
    stop "$python has no pip. Install it (on Debian: apt-get install python3-pip) and try again."

# Settings that send packages elsewhere, or hold versions that are not the lock's, are not for this environment.
unset PIP_CONSTRAINT PIP_PREFIX PIP_TARGET PIP_ROOT PYTHONHOME PYTHONPATH
unset UV_CONSTRAINT UV_OVERRIDE UV_SYSTEM_PYTHON UV_TARGET UV_PREFIX UV_PYTHON
export PIP_USER=0 PIP_REQUIRE_VIRTUALENV=0 PIP_ROOT_USER_ACTION=ignore PIP_DISABLE_PIP_VERSION_CHECK=1
export UV_PYTHON_DOWNLOADS=never UV_NO_PROGRESS=1

# uv does not read pip's settings: hand it the mirror that pip was told to use, and the machine's own certificates.
if [ -z "${UV_DEFAULT_INDEX:-}${UV_INDEX_URL:-}" ]; then
    index=${PIP_INDEX_URL:-$("$python" -m pip config get global.index-url 2>/dev/null || true)}
    if [ -n "$index" ]; then export UV_DEFAULT_INDEX="$index"; fi
fi
if [ -z "${SSL_CERT_FILE:-}" ]; then
    certificates=${PIP_CERT:-$("$python" -m pip config get global.cert 2>/dev/null || true)}
    if [ -n "$certificates" ]; then
        export SSL_CERT_FILE="$certificates"
    elif [ -s /etc/ssl/certs/ca-certificates.crt ]; then
        export UV_SYSTEM_CERTS=true
    fi
fi
