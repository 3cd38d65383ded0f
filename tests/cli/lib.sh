# shellcheck shell=sh
# lib.sh: what the end-to-end suites share. Each script sources it and reports in TAP.
# DAYWHEEL and DAYWHEEL_INVENT name the two programs; meson sets them.
: "${DAYWHEEL:?names the program under test}"
count=0
work=$(mktemp -d)
trap 'chmod -R u+w "$work"; rm -rf "$work"' EXIT
cd "$work" || exit 1

# dw ARGS...: runs daywheel; standard output, standard error and status go to out, err, status.
dw() {
    status=0
    "$DAYWHEEL" "$@" >"$work/out" 2>"$work/err" || status=$?
}

# ok NAME COMMAND...: passes when COMMAND does.
ok() {
    name=$1
    shift
    count=$((count + 1))
    if "$@"; then
        echo "ok $count - $name"
    else
        echo "not ok $count - $name"
        echo "# failed: $*"
        echo "# status ${status:-}"
        sed 's/^/# out: /' "$work/out" 2>/dev/null | head -n 20
        sed 's/^/# err: /' "$work/err" 2>/dev/null | head -n 20
    fi
}

skip() {
    count=$((count + 1))
    echo "ok $count - $1 # SKIP $2"
}

done_testing() {
    echo "1..$count"
}

is() { # is A B: equal texts
    [ "$1" = "$2" ] || { echo "# found '$1', expected '$2'"; false; }
}

# said TEXT...: standard error of the last run holds every TEXT.
said() {
    for text in "$@"; do
        grep -qF -e "$text" "$work/err" || { echo "# does not say '$text'"; return 1; }
    done
}

# ended STATUS TEXT...: the last run ended so and said so.
ended() {
    is "$status" "$1" || return 1
    shift
    said "$@"
}

empty() {
    [ ! -s "$1" ]
}

absent() {
    [ ! -e "$1" ]
}

# invent DIR OPTION...: an invented shoot of small frames.
invent() {
    dir=$1
    shift
    "${DAYWHEEL_INVENT:?names the shoot generator}" --out "$dir" "$@" >/dev/null 2>&1
    rm -rf "$dir/truth" # what is true is not for the program under test
}

# sums DIR [FOLDER]: one checksum of the names and bytes of DIR's frames, or those in FOLDER.
sums() {
    (cd "$1/${2:-frames}" && find . -type f | LC_ALL=C sort | xargs cksum) | cksum
}

# no_leftovers DIR: no temporary file, lock or scratch is left in DIR.
no_leftovers() {
    found=$(find "$1" -name '*.part' -o -name '.part-*' -o -name '.daywheel-lock' -o -name scratch)
    is "$found" ""
}
