#!/bin/sh
# person.sh: a person's word by options: what --drop and --keep do to a real run, that a later run
# without them forgets, and that settings.ini repeats them.
# shellcheck source=tests/cli/lib.sh
. "$(dirname "$0")/lib.sh"

invent shoot --scene clear --frames 12 --size 90x60 --start 2026-06-21T20:00:00Z --interval 60 \
    --first-number 1
names=$(cd shoot && find . -name '*.DNG' | sort | sed 's/.*\///')
first=$(echo "$names" | sed -n 1p)
third=$(echo "$names" | sed -n 3p)
run() {
    dw survey shoot -o made --site 46.4,8.1 --utc-offset +00:00 --scratch off "$@"
}

use_of() { # use_of FILE: the last field of its row
    grep ",$1," made/ledger.csv | tr -d '\r' | sed 's/.*,//'
}

chosen() { # chosen OPTION: how many rows of the report mark it so
    grep -c "^<tr class=\"chosen\">.*--$1<" made/report.html
}

run
ok "without a word" is "$(use_of "$third")" yes
run --drop "$third"
ok "the report shows what was chosen" is "$(chosen drop) $(chosen steady)" "1 0"
ok "a name is obeyed" is "$status $(use_of "$third") $(use_of "$first")" "0 no yes"
ok "and said" grep -q "by hand" err
ok "no frame shows it" is "$(grep ",$third," made/ledger.csv | cut -d, -f1 | tr -d '"')" ""
cp made/settings.ini repeated.ini
run
ok "without the option it is forgotten" is "$(use_of "$third")" yes
run --settings repeated.ini
ok "settings.ini repeats it" is "$(use_of "$third")" no
from=$(grep ",$third," made/ledger.csv | cut -d, -f3 | cut -c12-16)
run --drop "$from-$from" --keep "$first"
ok "a time is obeyed" is "$(use_of "$third")" no
printf '# marked\n%s\n' "$third" >marks.txt
run --drop @marks.txt
ok "a file is obeyed" is "$(use_of "$third")" no
run --drop @marks.txt --keep "$from-$from"
ok "a name says more than a time" is "$(use_of "$third")" no
run --drop @marks.txt --keep "$third"
ok "contradiction" ended 2 "--drop" "--keep" "$third"
sed "s/\(,$first,.*,\)yes/\1no/" made/ledger.csv >edited && cp edited made/ledger.csv
run --keep "$first"
ok "an option stands above the ledger" is "$(use_of "$first")" yes
run --drop nothing.DNG
ok "a name that means nothing" ended 2 "--drop" "nothing.DNG"
run --drop "X$third"
ok "the nearest name" ended 2 "did you mean $third"
run --drop 11:11-11:12
ok "a time that means nothing" ended 2 "no shot was taken then"
run --drop @none.txt
ok "a file that is not there" ended 2 "none.txt"
dw render shoot -o new --site 46.4,8.1 --drop nothing.DNG
ok "wrong words are said before the long work" is "$status $(ls new 2>/dev/null)" "2 "
done_testing
