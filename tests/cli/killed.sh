#!/bin/sh
# killed.sh: killed at random moments and run again, the result is the same to the last byte, and
# nothing half-written ever stands under a final name.
# shellcheck source=tests/cli/lib.sh
. "$(dirname "$0")/lib.sh"

invent shoot --size 300x200 --frames 24 --interval 180 --start 2025-03-28T17:20:00Z \
    --faults "truncated@8"
began=$(date +%s%N)
dw render shoot -o whole --jobs 2
took=$((($(date +%s%N) - began) / 1000000)) # milliseconds; sets only when to kill
ok "uninterrupted" ended 3
wanted=$(sums whole)
papers=$(cd whole && cksum ledger.csv frames.csv facts.json summary.json)

# every frame there is whole: it is one of the frames of the uninterrupted run
frames_are_whole() {
    for frame in "$1"/frames/frame-*; do
        [ -e "$frame" ] || continue
        cmp -s "$frame" "whole/frames/${frame##*/}" || { echo "# $frame"; return 1; }
    done
}

seed=1
draw() { # draw N: sets drawn to 0..N-1, the same in every run of this test (ANSI C's example)
    seed=$(((seed * 1103515245 + 12345) % 2147483648))
    drawn=$((seed / 65536 % $1))
}

stopped=0
for round in $(seq 20); do
    rm -rf "run-$round"
    case $((round % 4)) in
    0) signal=INT number=2 ;;
    2) signal=TERM number=15 ;;
    *) signal=KILL number=9 ;;
    esac
    draw $((took + 50))
    wait_ms=$drawn
    # env resets an ignored SIGINT, which a shell without job control gives to its children
    env --default-signal=INT "$DAYWHEEL" render shoot -o "run-$round" --jobs 2 >/dev/null 2>err &
    pid=$!
    sleep "$(printf '%d.%03d' $((wait_ms / 1000)) $((wait_ms % 1000)))"
    if kill -$signal $pid 2>/dev/null; then
        stopped=$((stopped + 1))
    fi
    wait $pid 2>/dev/null
    ended=$?
    ok "round $round: $signal after $wait_ms ms: whole frames only" frames_are_whole "run-$round"
    # a signal in the first moments ends it silently, one in the last finds nothing to stop
    if grep -q "stopping after" err && ! grep -q "^Took" err; then
        ok "round $round: says how to go on" grep -q "same command again" err
        ok "round $round: ends by the signal" is "$ended" $((128 + number))
    fi
    dw render shoot -o "run-$round" --jobs 2
    ok "round $round: goes on to the same frames" is "$(sums "run-$round")" "$wanted"
    ok "round $round: the same documents" is \
        "$(cd "run-$round" && cksum ledger.csv frames.csv facts.json summary.json)" "$papers"
    ok "round $round: nothing left behind" no_leftovers "run-$round"
done
ok "most runs were really stopped ($stopped of 20)" test "$stopped" -ge 10
done_testing
