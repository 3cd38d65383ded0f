#!/bin/sh
# rooms.sh: the rooms of each stage stand in DEVELOPERS.md in an order, and none includes what stands
# below it. Without that a newcomer who opens one must read them all.
cd "$(dirname "$0")/.." || exit 1
n=0

# say WELL TEXT: one line of the test anything protocol
say() {
    n=$((n + 1))
    if [ "$1" = yes ]; then echo "ok $n - $2"; else echo "not ok $n - $2"; fi
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
        for other in $(sed -n "s/^#include \"$stage\/\([a-z_]*\)\/.*/\1/p" "src/$stage/$room"/*.[ch] | sort -u); do
            case " $above " in
            *" $other "*) ;;
            *)
                well=no
                echo "# src/$stage/$room includes files of $other, which does not stand above it"
                ;;
            esac
        done
        for root in $(sed -n "s/^#include \"$stage\/\([a-z_]*\)\.h\".*/\1/p" "src/$stage/$room"/*.[ch] | sort -u); do
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

stage decide "arena steps work"
stage render ""
stage output ""
echo "1..$n"
