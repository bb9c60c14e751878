#!/bin/sh
# Logs of first motions: columns and units of the drive, what axis.ini says of them, what the truth says.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
motions=$TUNE_SOURCE/datasets/heron-flat/first-motions.ini
book=$scratch/book

# wrong SECTION LINE...: the description with a section [mismatch]
wrong() { { cat "$motions"; echo '[mismatch]'; printf '%s\n' "$@"; } >"$scratch/wrong.ini"; }
header() { zcat "$1" | head -n 1; }
# column LOG NUMBER: the column without its header
column() { zcat "$book/logs/$1.csv.gz" | tail -n +2 | cut -d, -f "$2"; }

check 'first motions are simulated' run 0 simulate "$motions" "$book"
check 'within 80 columns' fits
check 'in the units of the drive' [ "$(header "$book/logs/move.csv.gz")" = time_s,torque_a,position_counts,target_counts,enabled_flag ]
check 'the index mark in its log only' [ "$(header "$book/logs/index.csv.gz")" = time_s,torque_a,position_counts,target_counts,enabled_flag,index_flag ]
check 'counts are whole' sh -c '! zcat "$1" | tail -n +2 | cut -d, -f3 | grep -qv "^-\{0,1\}[0-9]*$"' - "$book/logs/pulse-0.csv.gz"
check 'pulses of 40 N m at 18.4 N m per ampere' [ "$(column pulse-0 2 | sort -u | tr '\n' ' ')" = '-2.173913 0 2.173913 ' ]
check 'the index is seen at every pass' [ "$(column index 6 | grep -c 1)" -eq 12 ]
check 'axis.ini has what was expected' grep -q '^\[expected\]' "$book/axis.ini"
check 'and both limits' [ "$(grep -c '^limit_side = ' "$book/axis.ini")" -eq 2 ]
check 'and not the truth' sh -c '! grep -qi "mismatch\|friction" "$1"' - "$book/axis.ini"
check 'the truth has no difference' json \
    "d['mismatch']['counts_factor'] == 1 and d['mismatch']['encoder_sign'] == 1 and d['mismatch']['low_limit_acts']" \
    "$book/truth.json"
check 'the move turned by what it should' json \
    "all(abs(l['motion']['turned_deg'] - 10) < 0.02 and abs(l['motion']['known_angle_deg'] - 10) < 0.06 for l in d['logs'] if l['name'] == 'move')" \
    "$book/truth.json"
check 'the jump of the target tripped the drive' json \
    "all(l['motion']['end'] == 'tripped' for l in d['logs'] if l['name'] == 'move')" "$book/truth.json"
check 'inspect reads them all' run 0 inspect "$book"

run 0 simulate --threads 2 "$motions" "$scratch/again"
check 'the same bytes with two threads' diff -r "$book/logs" "$scratch/again/logs"

# ---- what is wrong shows in the log and in the truth
wrong 'encoder_sign = -1' 'torque_factor = 0.7'
book=$scratch/sign
check 'a wrong sign' run 0 simulate --log pulse-0 --log move --log limit-west "$scratch/wrong.ini" "$book"
check 'pulses look as ever' [ "$(column pulse-0 2 | sort -u | tr '\n' ' ')" = '-2.173913 0 2.173913 ' ]
check 'but the counts go down' [ "$(column pulse-0 3 | sed -n 3000p)" -lt -10000 ]
check 'the loop runs away until the drive trips' json \
    "all(l['motion']['end'] == 'tripped' and l['duration_s'] < 20 for l in d['logs'] if l['kind'] != 'pulse')" "$book/truth.json"
check 'disabled at the end' [ "$(column move 5 | tail -n 1)" = 0 ]
check 'told in the truth' json "d['mismatch']['encoder_sign'] == -1 and d['mismatch']['torque_factor'] == 0.7" \
    "$book/truth.json"

wrong 'high_limit_acts = no' 'following_error_acts = no'
book=$scratch/dead
run 0 simulate --log move --log limit-west --log limit-east "$scratch/wrong.ini" "$book"
check 'a dead limit lets the axis through' json \
    "[round(l['motion']['turned_deg'], 1) for l in d['logs'] if l['kind'] == 'limit'] == [2.0, -1.3]" "$book/truth.json"
check 'a dead trip lets the target jump' json \
    "all(l['motion']['end'] == 'done' and abs(l['motion']['turned_deg'] - 9.6) < 0.2 for l in d['logs'] if l['kind'] == 'move')" \
    "$book/truth.json"
done_testing
