# Sourced by the other programs here: finds a Python, keeps .venv in step with a lock, sets `python` to its interpreter.
#
#   environment run    what busim needs to run (requirements.txt); an environment made for developers will do as well
#   environment dev    what its tests need too (requirements-dev.txt)
#
# The environment is made anew when the lock or pyproject.toml changed, so that a fresh clone and an old one test the
# same versions. Nothing but Python 3.11+ with venv is taken from the machine. Where byte-code is kept, a
# module is compiled on its first use.

top=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
venv="$top/.venv"
python="$venv/bin/python"
export PIP_DISABLE_PIP_VERSION_CHECK=1 PYTHONUTF8=1
plain_path=$PATH # what find_python searches: the interpreter to build from is never the one in .venv
export PATH="$venv/bin:$PATH"

find_python() { # prints the first interpreter that is new enough and can make environments
    local candidate PATH=$plain_path
    for candidate in ${PYTHON:-} python3 python3.13 python3.12 python3.11 python3.14 python; do
        if "$candidate" -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; then
            "$candidate" -c 'import sys; print(sys.executable)'
            return 0
        fi
    done
    cat >&2 <<'TEXT'
busim needs Python 3.11 or newer with its venv module, and found none.
On Debian or Ubuntu: apt-get install python3 python3-venv
If one stands elsewhere, name it: PYTHON=/path/to/python3.11 and the same command again.
TEXT
    return 1
}

stamp() { # what an environment of kind $1 must have been made from
    local lock=requirements.txt
    [ "$1" = run ] || lock=requirements-dev.txt
    echo "$1 $(cksum <"$top/$lock") $(cksum <"$top/pyproject.toml") $top"
}

stands() { # whether .venv works and was made from what stamp $1 says
    [ -f "$venv/made-from" ] && [ "$(cat "$venv/made-from")" = "$(stamp "$1")" ] && "$python" -c '' 2>/dev/null
}

environment() { # $2, if given, is started as soon as .venv has a pip, beside the installation
    local kind=$1 lock=requirements.txt found how="--quiet"
    [ "$kind" = run ] || lock=requirements-dev.txt
    if stands "$kind" || { [ "$kind" = run ] && stands dev; }; then
        return 0
    fi
    found=$(find_python) || exit 1
    case "$found" in
        "$venv"/*) # the active environment is the one to be replaced
            found=$("$found" -c 'import os, sys; print(os.path.realpath(getattr(sys, "_base_executable", sys.executable)))')
            ;;
    esac
    echo "Making .venv from $lock with $("$found" --version) (once; needs the network)" >&2
    "$found" -m venv --clear "$venv"
    [ -z "${2:-}" ] || "$2"
    [ -n "${PYTHONDONTWRITEBYTECODE:-}" ] || how="$how --no-compile"
    # shellcheck disable=SC2086
    "$python" -m pip install $how --require-hashes -r "$top/$lock"
    # shellcheck disable=SC2086
    "$python" -m pip install $how --no-deps --no-build-isolation -e "$top"
    stamp "$kind" >"$venv/made-from"
}

compiled_needs() { # prints the Debian packages without which nothing can be compiled for the interpreter $1
    command -v cc >/dev/null || printf ' gcc libc6-dev'
    "$1" -c 'import os, sysconfig, sys
sys.exit(not os.path.exists(sysconfig.get_path("include") + "/Python.h"))' || printf ' python3-dev'
}

compiled_core() { # puts busim with the compiled core into $compiled; $1 is the level of the C compiler's optimisation
    local sources
    compiled="$venv/compiled-$1"
    sources="$(stamp dev) $(find busim tools/compiled_core.py -type f ! -name '*.pyc' -exec cksum {} + | sort | cksum)"
    [ "$(cat "$compiled/made-from" 2>/dev/null)" != "$sources" ] || return 0
    echo "Compiling the core" >&2
    rm -rf "$compiled"
    BUSIM_COMPILED=1 BUSIM_OPTIMISATION=$1 "$python" -m pip install --quiet --no-deps --no-build-isolation \
        --no-compile --target "$compiled" "$top"
    echo "$sources" >"$compiled/made-from"
}
