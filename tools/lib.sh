# lib.sh: what the commands in this folder share. Source it; it changes nothing by itself.

say() { printf '%s\n' "$*" >&2; }

# need KIND...: installs the packages of tools/packages of these kinds that are missing.
need() {
    command -v dpkg-query >/dev/null 2>&1 || {
        say "This machine has no Debian packages; install what tools/packages lists by hand."
        return 0
    }
    missing=
    for kind in "$@"; do
        for package in $(sed -n "s/^$kind //p" "$here/packages"); do
            dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q 'ok installed' ||
                missing="$missing $package"
        done
    done
    [ -n "$missing" ] || return 0
    as_root=
    if [ "$(id -u)" != 0 ]; then
        command -v sudo >/dev/null 2>&1 || {
            say "Missing packages:$missing"
            say "Become root, or install them with: apt-get install$missing"
            return 1
        }
        as_root=sudo
    fi
    say "Installing:$missing"
    $as_root env DEBIAN_FRONTEND=noninteractive apt-get update -qq
    # shellcheck disable=SC2086
    $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq \
        --no-install-recommends $missing >/dev/null
}

# help_on WORD: for -h or --help, prints the comment at the head of the tool that was called, and ends.
help_on() {
    case $1 in
    -h | --help)
        sed -n '2,/^[^#]/s/^# \{0,1\}//p' "$0"
        exit 0
        ;;
    esac
}
