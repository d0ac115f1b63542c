#!/bin/sh
# Valleygauge from a checkout. Safe to run again; quick the second time.
#
#   sh app/start.sh demo              install what is needed, read the demo pictures
#   sh app/start.sh test [ARGS]       install what the tests need too, run them (ARGS go to pytest)
#   sh app/start.sh window [FILE]     open the window, with a picture or a job folder
#   sh app/start.sh run ARGS          any other command, for example: run read copy.png --spec harbourside-5
#   sh app/start.sh install [test]    install and stop
#
# What it does to the system: on Debian and Ubuntu it installs missing system packages with apt-get (through sudo where
# you are not root); Python packages go into the folder .venv of this checkout. Nothing else is changed.
set -eu

fail() {
    printf '%s\n' "valleygauge: $*" >&2
    exit 1
}

usage() {
    echo "Say what to do:" >&2
    sed -n '4,8s/^# *//p' "$root/app/start.sh" >&2
    exit 2
}

# One line each: what shows that it is there, then the Debian package that brings it.
# The libraries are those that PySide6's window plug-in and opencv-python name and their wheels do not carry.
run_needs='
libEGL.so.1 libegl1
libGL.so.1 libgl1
libICE.so.6 libice6
libSM.so.6 libsm6
libX11-xcb.so.1 libx11-xcb1
libX11.so.6 libx11-6
libXext.so.6 libxext6
libdbus-1.so.3 libdbus-1-3
libfontconfig.so.1 libfontconfig1
libfreetype.so.6 libfreetype6
libglib-2.0.so.0 libglib2.0-0
libwayland-client.so.0 libwayland-client0
libwayland-cursor.so.0 libwayland-cursor0
libwayland-egl.so.1 libwayland-egl1
libxcb-cursor.so.0 libxcb-cursor0
libxcb-glx.so.0 libxcb-glx0
libxcb-icccm.so.4 libxcb-icccm4
libxcb-image.so.0 libxcb-image0
libxcb-keysyms.so.1 libxcb-keysyms1
libxcb-randr.so.0 libxcb-randr0
libxcb-render-util.so.0 libxcb-render-util0
libxcb-render.so.0 libxcb-render0
libxcb-shape.so.0 libxcb-shape0
libxcb-shm.so.0 libxcb-shm0
libxcb-sync.so.1 libxcb-sync1
libxcb-util.so.1 libxcb-util1
libxcb-xfixes.so.0 libxcb-xfixes0
libxcb-xkb.so.1 libxcb-xkb1
libxcb.so.1 libxcb1
libxkbcommon-x11.so.0 libxkbcommon-x11-0
libxkbcommon.so.0 libxkbcommon0
/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf fonts-dejavu-core
'
# The tests start the real window on a virtual X display.
test_needs='
Xvfb xvfb
xauth xauth
'

missing_packages() {
    # reads lines "thing package", prints the packages whose thing is not there
    libraries=$(/sbin/ldconfig -p 2>/dev/null || true)
    while read -r thing package; do
        case $thing in
            '') continue ;;
            /*) [ -e "$thing" ] && continue ;;
            *.so.*) case $libraries in *"$thing "*) continue ;; esac ;;
            *) command -v "$thing" >/dev/null 2>&1 && continue ;;
        esac
        printf '%s ' "$package"
    done
}

install_system() {
    needs=$run_needs
    [ "$1" = test ] && needs=$needs$test_needs
    if [ "$(uname -s)" != Linux ]; then
        return 0
    fi
    packages=$(printf '%s' "$needs" | missing_packages)
    [ -n "$packages" ] || return 0
    if ! command -v apt-get >/dev/null 2>&1; then
        echo "This is not Debian or Ubuntu, so system libraries are left to you; these are looked for and missing (Debian's names): $packages"
        return 0
    fi
    if [ "$(id -u)" = 0 ]; then
        as_root=
    elif command -v sudo >/dev/null 2>&1; then
        as_root=sudo
    else
        fail "system packages are missing and neither root nor sudo is at hand; ask your administrator to run: apt-get install --no-install-recommends $packages"
    fi
    echo "Installing Debian packages with apt-get: $packages"
    # shellcheck disable=SC2086  # the words are meant to split
    {
        $as_root env DEBIAN_FRONTEND=noninteractive apt-get -q update >"$log" 2>&1 </dev/null ||
            fail "apt-get update failed ($(last_word)); check the network, the package sources and that you may use sudo, then run this again."
        $as_root env DEBIAN_FRONTEND=noninteractive apt-get -q install -y --no-install-recommends $packages >"$log" 2>&1 </dev/null ||
            fail "apt-get install failed ($(last_word)); mend that and run this again."
    }
}

last_word() {
    tail -n 1 "$log" 2>/dev/null || true
}

pip_reason() {
    # the last error that is not only pip saying that one of its own steps failed
    sed -n -e '/subprocess-exited/d' -e 's/^ *ERROR: //p' -e 's/^ *error: //p' "$log" | tail -n 1
}

find_python() {
    for candidate in "${PYTHON:-python3}" python3.14 python3.13 python3.12 python3.11; do
        if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; then
            python=$candidate
            return 0
        fi
    done
    if command -v python3 >/dev/null 2>&1; then
        fail "Python 3.11 or newer is needed and python3 here is $(python3 -c 'import platform; print(platform.python_version())'); install a newer one and run this again."
    fi
    fail "Python 3.11 or newer is needed and there is no python3; install it (Debian: apt-get install python3 python3-venv) and run this again."
}

install_python() {
    extra=
    [ "$1" = test ] && extra='[test]'
    # pip is slow even when nothing is to do, so what was installed, where and by which Python is remembered
    here="$root $("$python" -c 'import sys; print(sys.version.replace("\n", " "))')"
    wanted="$(cat pyproject.toml app/start.sh | cksum)"
    if [ ! -x .venv/bin/python ] || [ "$(cat .venv/made-for 2>/dev/null)" != "$here" ]; then
        "$python" -c 'import ensurepip, venv' >/dev/null 2>&1 ||
            fail "Python's venv module is missing; install it (Debian: apt-get install python3-venv) and run this again."
        "$python" -m venv --clear .venv >"$log" 2>&1 ||
            fail "no private Python environment could be made in $root/.venv ($(last_word)); check the disk and your right to write there, then run this again."
        printf '%s\n' "$here" >.venv/made-for
    fi
    [ "$(cat .venv/installed-test 2>/dev/null)" != "$wanted" ] || return 0
    [ "$1" = test ] || [ "$(cat .venv/installed-run 2>/dev/null)" != "$wanted" ] || return 0
    echo "Installing Python packages into $root/.venv (the first time some 300 MB are fetched; this takes a few minutes)."
    .venv/bin/python -m pip install --quiet --disable-pip-version-check --editable ".$extra" >"$log" 2>&1 </dev/null ||
        fail "Python packages could not be installed ($(pip_reason)); check the network and run this again."
    printf '%s\n' "$wanted" >".venv/installed-$1"
}

root=$(cd "$(dirname "$0")/.." && pwd)
[ $# -gt 0 ] || usage
what=$1
shift
cd "$root"

kind=run
case $what in
    demo | window | run) ;;
    test) kind="test" ;;
    install) [ "${1:-}" != test ] || kind="test" ;;
    *) usage ;;
esac

log=$(mktemp)
trap 'rm -f "$log"' EXIT
find_python
install_system "$kind"
install_python "$kind"

rm -f "$log"
trap - EXIT
case $what in
    install) echo "Installed." ;;
    demo) exec .venv/bin/valleygauge demo "$@" ;;
    window) if [ $# -gt 0 ]; then exec .venv/bin/valleygauge open "$@"; else exec .venv/bin/valleygauge; fi ;;
    run) exec .venv/bin/valleygauge "$@" ;;
    test) exec .venv/bin/python -m pytest "$@" ;;
esac
