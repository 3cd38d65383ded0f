#!/bin/sh
# words.sh: what the program says when no frame is touched: help, version, wrong command lines.
# Sources: Command Line Interface Guidelines (clig.dev) and GNU Coding Standards 4.8 for where
# things are printed; the statuses are those that daywheel's manual promises.
# shellcheck source=tests/cli/lib.sh
. "$(dirname "$0")/lib.sh"

dw
ok "no arguments: usage on standard error, status 2" ended 2 "Usage: daywheel"
ok "no arguments: nothing on standard output" empty out
for flag in --help -h help; do
    dw $flag
    ok "$flag: status 0" ended 0
    ok "$flag: on standard output" grep -q "^Usage: daywheel" out
    ok "$flag: standard error is empty" empty err
done
for command in render survey; do
    dw $command --help
    ok "$command --help: status 0" ended 0
    ok "$command --help: on standard output" grep -q "^Usage: daywheel $command" out
    ok "$command --help: has examples" grep -q "^  daywheel $command" out
    cp out first
    dw help $command
    ok "help $command says the same" cmp -s out first
done
dw --version
ok "--version: status 0" ended 0
for library in daywheel LibRaw libtiff libjpeg lcms2 cairo zstd ERFA; do
    ok "--version names $library and a number" grep -qE "^${library}[-a-z]* +[0-9]" out
done
if [ -c /dev/full ]; then
    status=0
    "$DAYWHEEL" --help >/dev/full 2>err || status=$?
    ok "--help onto a full disk is a failure" ended 1 "standard output"
else
    skip "--help onto a full disk is a failure" "there is no /dev/full"
fi

dw rendr shoot -o made
ok "wrong command: nearest one" ended 2 "no command 'rendr'" "daywheel render"
mkdir shoot
dw shoot -o made
ok "command forgotten" ended 2 "daywheel render shoot"
dw --jobs 2 render shoot
ok "option before the command" ended 2 "daywheel render --jobs"
dw render shoot -o made --stedy 1
ok "wrong option: nearest one" ended 2 "--stedy" "--steady" "daywheel render --help"
dw render shoot -o made --site 95,8
ok "latitude 95" ended 2 "--site" "95" "-90 to 90"
dw render shoot -o made --utc-offset +26:00
ok "offset +26:00" ended 2 "--utc-offset" "+26:00" "-14:00 to +14:00"
dw render shoot -o made --size 0x0
ok "size 0x0" ended 2 "--size" "0x0" "16 to 65500"
dw render shoot -o made --twilight -3,-12
ok "twilight in the wrong order" ended 2 "--twilight" "-3,-12" "did you mean -12,-3"
dw render shoot -o made --space p3 --format jpeg
ok "contradiction" ended 2 "--space p3" "--format jpeg"
dw render -o made
ok "no SHOTS" ended 2 "no SHOTS"
dw render shoot
ok "no output" ended 2 "no output folder" "-o out"
printf 'steady = 0.5\nstaedy = 1\n' >my.ini
dw render shoot -o made --settings my.ini
ok "settings file: wrong key with its line" ended 2 "my.ini:2" "staedy" "steady"
dw render shoot -o made --settings none.ini
ok "settings file: not there" ended 2 "none.ini"
ok "nothing was made by any of these" absent made
ok "errors are not on standard output" empty out
# shellcheck disable=SC2016
ok "no colours in a pipe" sh -c '! grep -q "$(printf "\033")" err'

# Completions: what a person gets when pressing the key.
if command -v bash >/dev/null && [ -r "${DAYWHEEL_COMPLETIONS:-}/daywheel" ]; then
    complete_words() {
        bash -c '. "$1"; shift; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _daywheel
                 printf "%s\n" "${COMPREPLY[@]}"' bash "$DAYWHEEL_COMPLETIONS/daywheel" "$@"
    }
    ok "bash: commands" is "$(complete_words daywheel su)" survey
    ok "bash: options" is "$(complete_words daywheel render --ste)" --steady
    ok "bash: options of the command alone" is "$(complete_words daywheel survey --form)" ""
    ok "bash: values" is "$(complete_words daywheel render --format t)" tiff
    ok "bash: values behind =" is "$(complete_words daywheel render --space = rec)" rec2020
    ok "bash: folders" is "$(complete_words daywheel render -o sho)" shoot
else
    skip "bash completion" "bash or the completion file is missing"
fi
for shell in zsh:_daywheel fish:daywheel.fish; do
    if command -v "${shell%:*}" >/dev/null; then
        ok "${shell%:*} reads its completion" "${shell%:*}" -n "$DAYWHEEL_COMPLETIONS/${shell#*:}"
    else
        skip "${shell%:*} reads its completion" "there is no ${shell%:*} here"
    fi
done
if command -v man >/dev/null && [ -r "${DAYWHEEL_MANUAL:-}" ]; then
    man --warnings=all -l -Tutf8 "$DAYWHEEL_MANUAL" >out 2>err
    ok "the manual page has no faults of form" empty err
    ok "the manual page tells the options" grep -q -e "--twilight" out
else
    skip "the manual page" "there is no man here"
fi
done_testing
