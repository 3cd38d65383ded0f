#!/bin/sh
# rooms.sh: no stage includes what comes after it, and the rooms of a stage stand in DEVELOPERS.md in
# an order, of which none includes what stands below it. Without that a newcomer who opens one must
# read them all.
cd "$(dirname "$0")/.." || exit 1
n=0

# say WELL TEXT: one line of the test anything protocol
say() {
    n=$((n + 1))
    if [ "$1" = yes ]; then echo "ok $n - $2"; else echo "not ok $n - $2"; fi
}

# included ROOM PATTERN: what of it the room's files include, each once
included() {
    find "src/$stage/$1" -name '*.[ch]' -exec sed -n "s/^ *# *include *[\"<]$2.*/\\1/p" {} + | sort -u
}

# stage NAME OWN: OWN are headers of the stage itself that its rooms may include
stage() {
    stage=$1 own=$2
    rooms=$(awk -v head="### The rooms of \`$stage\`" \
        '/^#/ { here = $0 == head } here && /^\| `/ { gsub("`", "", $2); print $2 }' DEVELOPERS.md)
    above=
    for room in $rooms; do
        above="$above $room"
        well=yes
        for other in $(included "$room" "$stage\/\([a-z0-9_]*\)\/"); do
            case " $above " in
            *" $other "*) ;;
            *)
                well=no
                echo "# src/$stage/$room includes files of $other, which does not stand above it"
                ;;
            esac
        done
        for up in $(included "$room" "\(\.\.\/[^\">]*\)"); do
            well=no
            echo "# src/$stage/$room includes $up; name files from src on"
        done
        for root in $(included "$room" "$stage\/\([a-z0-9_]*\)\.h[\">]"); do
            case " $own " in
            *" $root "*) ;;
            *)
                well=no
                echo "# src/$stage/$room includes $root.h"
                ;;
            esac
        done
        say $well "$stage/$room includes only rooms above it"
    done

    # in both: those that are told of, and those that are there
    told=$(printf '%s\n' "$rooms" | sort)
    there=$(for d in "src/$stage"/*/; do basename "$d"; done | sort)
    [ "$told" = "$there" ] && well=yes || well=no
    [ $well = yes ] || echo "# DEVELOPERS.md tells of" $told "but in $stage there are" $there
    say $well "every room of $stage is told of"
}

# Data flows one way: no stage includes what comes after it. The linker does not tell as long as
# nothing there is called.
stages="base sky shot survey decide render output cli"
after=" $stages "
for stage in $stages; do
    after=${after#* $stage}
    well=yes
    for other in $(included . "\([a-z]*\)\/") $(included . "daywheel\/\([a-z]*\)\.h"); do
        case "$after" in
        *" $other "*)
            well=no
            echo "# src/$stage includes files of $other, which comes after it"
            ;;
        esac
    done
    say $well "$stage includes only stages before it"
done

stage decide "arena steps work"
stage render ""
stage output ""
echo "1..$n"
