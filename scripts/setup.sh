# Shared by start and check; needs $here (the folder of the project). Sourced, never run.

unset PYTHONHOME
export PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_NO_INPUT=1 PIP_ROOT_USER_ACTION=ignore PIP_USER=0

lock_for() {
    case $1 in run) echo requirements.lock ;; dev) echo requirements-dev.lock ;; esac
}

# True when .venv was completed for exactly this Python, folder, lock and pyproject.toml. setup.py
# writes the same bytes as its very last act, so anything half made is never taken for ready.
is_ready() {
    [ -x "$here/.venv/bin/python" ] && [ -f "$here/.venv/ready-$1" ] &&
        {
            "$here/.venv/bin/python" -V
            echo "$here"
            cat "$here/$(lock_for "$1")" "$here/pyproject.toml"
        } 2>/dev/null | cmp -s - "$here/.venv/ready-$1"
}

# Prints the first Python that is new enough.
find_python() {
    for name in python3 python3.14 python3.13 python3.12 python3.11; do
        if "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; then
            echo "$name"
            return 0
        fi
    done
    echo "mustwright: needs Python 3.11 or newer (as python3, python3.11, ... on PATH), found" \
        "$(python3 -V 2>&1 || echo none)" >&2
    return 1
}

# Makes or completes .venv; everything it says goes to stderr.
set_up() {
    python=$(find_python) || exit 1
    "$python" "$here/scripts/setup.py" "$1" >&2 || exit 1
}
