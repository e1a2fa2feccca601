# Sourced by deploy/run, deploy/test and deploy/lock: finds a Python and makes the environment.
#
#   ARROWLOFT_PYTHON  the Python to use (3.11 or newer); found by itself otherwise
#   ARROWLOFT_VENV    the folder of the environment; .venv in the checkout otherwise
#
# Afterwards ROOT is the checkout, VENV the environment and PYTHON its interpreter.
# Of scripts started at once, one makes the environment; the others wait for it.

set -euo pipefail
unset CDPATH PYTHONPATH PYTHONHOME PYTHONSTARTUP PYTHONUSERBASE VIRTUAL_ENV
unset PIP_TARGET PIP_PREFIX PIP_ROOT PIP_REQUIRE_VIRTUALENV
export PYTHONNOUSERSITE=1 PIP_USER=0 PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_NO_INPUT=1

ROOT="$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)"
VENV="${ARROWLOFT_VENV:-$ROOT/.venv}"
[[ $VENV == /* ]] || VENV="$PWD/$VENV"
PYTHON="$VENV/bin/python"
BASE_PYTHON=""
CHILD=""

say() { printf 'arrowloft: %s\n' "$*"; }

die() {
    printf 'arrowloft: %s\n' "$*" >&2
    exit 1
}

# Runs a command so that a signal is answered at once, not after the command's end.
attended() {
    local status=0
    "$@" &
    CHILD=$!
    wait "$CHILD" || status=$?
    CHILD=""
    return "$status"
}

# stop_child SIGNAL: ends the attended command, waits for it, and reports nothing.
stop_child() {
    [[ -n $CHILD ]] || return 0
    kill -s "$1" "$CHILD" 2>/dev/null || true
    wait "$CHILD" 2>/dev/null || true
    CHILD=""
}

trap 'stop_child TERM; exit 130' INT
trap 'stop_child TERM; exit 143' TERM HUP

python_is_new_enough() {
    "$1" -I -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1
}

# Sets BASE_PYTHON. Each candidate is run: a name on the path may be an empty shim.
find_python() {
    seek_python || die "no Python 3.11 or newer found; install one, or name it in ARROWLOFT_PYTHON"
}

seek_python() {
    [[ -z $BASE_PYTHON ]] || return 0
    local candidate
    if [[ -n ${ARROWLOFT_PYTHON:-} ]]; then
        python_is_new_enough "$ARROWLOFT_PYTHON" ||
            die "ARROWLOFT_PYTHON=$ARROWLOFT_PYTHON is not a Python 3.11 or newer; correct or unset it"
        BASE_PYTHON="$ARROWLOFT_PYTHON"
        return 0
    fi
    for candidate in python3.13 python3.12 python3.11 python3; do
        if python_is_new_enough "$candidate"; then
            BASE_PYTHON="$candidate"
            return 0
        fi
    done
    return 1
}

version_of() { "$1" -I -c 'import sys; print(sys.version)'; }

# Whether the environment's interpreter runs, and is the one that was asked for.
venv_is_usable() {
    [[ -f $VENV/pyvenv.cfg ]] && python_is_new_enough "$PYTHON" || return 1
    [[ -z ${ARROWLOFT_PYTHON:-} ]] && return 0
    find_python
    [[ $(version_of "$PYTHON") == "$(version_of "$BASE_PYTHON")" ]]
}

# digest TEXT FILE...: of the text and the files' contents.
digest() {
    "$PYTHON" -I -c 'import hashlib, pathlib, sys
whole = hashlib.sha256(sys.argv[1].encode())
for name in sys.argv[2:]:
    whole.update(pathlib.Path(name).read_bytes())
print(whole.hexdigest())' "$@"
}

lock_of() {
    case $1 in
        run) printf '%s\n' "$ROOT/deploy/requirements.lock" ;;
        test) printf '%s\n' "$ROOT/deploy/requirements-test.lock" ;;
    esac
}

stamp_of() {
    case $1 in
        # The path belongs to it: the environment points at this checkout's sources.
        project) digest "$ROOT" "$ROOT/pyproject.toml" "$ROOT/service/arrowloft/__init__.py" ;;
        *) digest "" "$(lock_of "$1")" ;;
    esac
}

stamp_is_current() {
    [[ -f $VENV/stamp-$1 && $(<"$VENV/stamp-$1") == "$(stamp_of "$1")" ]]
}

write_stamp() { stamp_of "$1" >"$VENV/stamp-$1"; }

new_venv() {
    find_python
    if [[ -e $VENV && ! -f $VENV/pyvenv.cfg && -n $(ls -A "$VENV" 2>&1) ]]; then
        die "$VENV is there and is not a Python environment; move it, or name another in ARROWLOFT_VENV"
    fi
    say "making $VENV"
    local output
    output=$(mktemp)
    if ! attended "$BASE_PYTHON" -I -m venv --clear "$VENV" >"$output" 2>&1; then
        local reason
        reason=$(grep -v '^[[:space:]]*$' "$output" | tail -n 1 || true)
        rm -f "$output"
        die "$BASE_PYTHON could not make $VENV (is its venv package installed?): $reason"
    fi
    rm -f "$output"
}

# pip_install WHAT ARGUMENTS...: quiet; one line where it fails.
pip_install() {
    local what=$1 log="$VENV/setup.log" reason advice
    shift
    attended "$PYTHON" -I -m pip install --quiet "$@" >"$log" 2>&1 && return 0
    reason=$(grep -E '^ *ERROR: ' "$log" | head -n 1 | sed 's/^ *ERROR: //' | cut -c 1-200 || true)
    advice="all that pip said is in $log"
    # Every locked version exists: an index that knows none of them is not the index.
    if grep -qE 'from versions: none|NewConnectionError|Timeout|ProxyError|SSLError' "$log"; then
        die "$what could not be installed: the package index was not reached (no network?); $advice"
    fi
    die "$what could not be installed: ${reason:-pip failed}; $advice"
}

install_locked() {
    say "installing what $(basename "$(lock_of "$1")") names"
    pip_install "the locked packages" --require-hashes -r "$(lock_of "$1")"
    write_stamp "$1"
    # The test lock holds the runtime's packages too, in the same versions.
    [[ $1 != test ]] || write_stamp run
}

install_project() {
    # The build backend is in the lock, so that nothing is fetched without its hash.
    pip_install "arrowloft" --no-index --no-deps --no-build-isolation --editable "$ROOT"
    write_stamp project
}

# lock_file_9 PYTHON TEXT: locks what descriptor 9 is open on. The lock is the open file's, not the
# process's: this shell holds it until it closes the file or ends, however it ends.
lock_file_9() {
    # macOS has no flock command; Python locks everywhere.
    attended "$1" -I -c 'import fcntl, sys
try:
    fcntl.flock(9, fcntl.LOCK_EX | fcntl.LOCK_NB)
except BlockingIOError:
    print(sys.argv[1], flush=True)
    fcntl.flock(9, fcntl.LOCK_EX)' "$2"
}

hold_environment() {
    local beside="${VENV%/}.lock" python=$PYTHON
    # The environment's own interpreter may be the one that another script is replacing.
    if seek_python || ! venv_is_usable; then
        find_python
        python=$BASE_PYTHON
    fi
    mkdir -p "$(dirname "$VENV")" 2>/dev/null || true
    { : >>"$beside"; } 2>/dev/null ||
        die "$beside could not be written; name another place in ARROWLOFT_VENV"
    exec 9>>"$beside"
    lock_file_9 "$python" "$(say "waiting for another script that is making $VENV")" ||
        die "$beside could not be locked; see whether its file system has locks"
}

release_environment() { exec 9>&-; }

is_set_up() { venv_is_usable && stamp_is_current "$1" && stamp_is_current project; }

# setup run|test: the environment with the locked packages and this checkout in it.
setup() {
    # Nothing to make, nothing to wait for: the environment may lie where nothing can be written.
    is_set_up "$1" && return 0
    hold_environment
    if ! venv_is_usable || ! { stamp_is_current "$1" || stamp_is_current run; }; then
        new_venv
    fi
    stamp_is_current "$1" || install_locked "$1"
    stamp_is_current project || install_project
    release_environment
}
