# Makes .venv in the repository's root with the project and some of its extras.
# To be read in by demo/run and tests/run: . demo/setup.sh; make_environment voice,test
# Needs Python 3.11 or newer and pip's package index. Root is used only for what is missing.

say() { printf '%s\n' "$*" >&2; }

# True where packages of the system can be installed without asking anyone.
can_install() { [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; }

_apt_ready=no
apt_install() {
    if [ "$_apt_ready" = no ]; then
        apt-get update -qq >/dev/null || return 1
        _apt_ready=yes
    fi
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" >/dev/null
}

# Prints the first Python that is new enough.
find_python() {
    for name in "${PYTHON:-python3}" python3 python3.13 python3.12 python3.11 python; do
        if command -v "$name" >/dev/null 2>&1 &&
            "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            printf '%s\n' "$name"
            return 0
        fi
    done
    return 1
}

# Makes the bare environment; three ways, since Debian ships venv without its pip.
_new_venv() {
    if "$1" -c 'import ensurepip, venv' 2>/dev/null; then
        "$1" -m venv --clear "$2"
    elif can_install && apt_install python3-venv && "$1" -c 'import ensurepip' 2>/dev/null; then
        "$1" -m venv --clear "$2"
    elif "$1" -m pip --version >/dev/null 2>&1; then
        "$1" -m venv --clear --without-pip "$2" &&
            "$1" -m pip --python "$2/bin/python" install --quiet pip
    else
        say "Python's venv is incomplete. Install it (Debian: apt install python3-venv), then try again."
        return 1
    fi
}

# True where the extras $1 hold all of the extras $2.
_covers() {
    for _extra in $(printf '%s' "$2" | tr ',' ' '); do
        case ",$1," in *",$_extra,"*) ;; *) return 1 ;; esac
    done
}

# True where what is wanted was installed before, with the same pyproject.toml and Python.
_is_installed() {
    for _stamp in "$VENV"/installed-*; do
        if [ -f "$_stamp" ] && _covers "${_stamp##*/installed-}" "$1" &&
            [ "$(cat "$_stamp")" = "$2" ] && "$VENV/bin/python" -P -c 'import assistant' 2>/dev/null; then
            return 0
        fi
    done
    return 1
}

# make_environment EXTRAS: installs the project with EXTRAS, unless that was done already.
# Sets VENV. Expects ROOT to be the repository's root.
make_environment() {
    VENV=$ROOT/.venv
    _python=$(find_python) || {
        say "Python 3.11 or newer is needed and was not found. Install it, or name it: PYTHON=/path/to/python3"
        return 1
    }
    _wanted=$("$_python" -c '
import hashlib, pathlib, sys
text = pathlib.Path(sys.argv[1]).read_bytes() + repr((sys.version, sys.argv)).encode()
print(hashlib.sha256(text).hexdigest())' "$ROOT/pyproject.toml")
    if _is_installed "$1" "$_wanted"; then
        return 0
    fi
    if ! "$VENV/bin/python" -m pip --version >/dev/null 2>&1; then
        say "Making a virtual environment in .venv ..."
        _new_venv "$_python" "$VENV" || return 1
    fi
    say "Installing the project with what it needs ($1) ..."
    "$VENV/bin/python" -m pip install --quiet --disable-pip-version-check -e "$ROOT[$1]" || {
        say "The installation did not succeed; the lines above say why. It is safe to start it again."
        return 1
    }
    printf '%s\n' "$_wanted" >"$VENV/installed-$1"
}
