#!/bin/sh
# rooms.sh: the rooms of decide stand in DEVELOPERS.md in an order, and none includes what stands
# below it. Without that a newcomer who opens one must read them all.
cd "$(dirname "$0")/.." || exit 1
rooms=$(sed -n '/^## The rooms of `decide`/,/^## Where/s/^| `\([a-z]*\)` |.*/\1/p' DEVELOPERS.md)
n=0

# say WELL TEXT: one line of the test anything protocol
say() {
    n=$((n + 1))
    if [ "$1" = yes ]; then echo "ok $n - $2"; else echo "not ok $n - $2"; fi
}

above=
for room in $rooms; do
    above="$above $room"
    well=yes
    for other in $(sed -n 's/^#include "decide\/\([a-z]*\)\/.*/\1/p' "src/decide/$room"/*.[ch] | sort -u); do
        case " $above " in
        *" $other "*) ;;
        *)
            well=no
            echo "# src/decide/$room includes files of $other, which does not stand above it"
            ;;
        esac
    done
    for root in $(sed -n 's/^#include "decide\/\([a-z_]*\)\.h".*/\1/p' "src/decide/$room"/*.[ch] | sort -u); do
        case $root in
        arena | steps | work) ;;
        *)
            well=no
            echo "# src/decide/$room includes $root.h"
            ;;
        esac
    done
    say $well "$room includes only rooms above it"
done

# in both: those that are told of, and those that are there
told=$(printf '%s\n' "$rooms" | sort)
there=$(for d in src/decide/*/; do basename "$d"; done | sort)
[ "$told" = "$there" ] && well=yes || well=no
[ $well = yes ] || echo "# DEVELOPERS.md tells of" $told "but there are" $there
say $well "every room is told of"
echo "1..$n"
