#!/bin/sh
# An unfit log stops the work, and --accept FINDING lets it through, on the record.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/book
"$quietaxis" simulate --quiet "$small" "$book" >"$scratch/made" 2>&1 || { cat "$scratch/made"; exit 1; }

# a limit so low that the torque of every log lies beyond it for most of the time
sed -i 's/^torque_limit_nm .*/torque_limit_nm = 0.5/; /^torque_continuous_nm/d' "$book/axis.ini"
check 'the log is unfit' run 1 inspect "$book"
check 'and the finding named' out_has 'torque-saturated'
check 'identify refuses it' run 3 identify "$book"
check 'naming the finding' err_has 'torque-saturated'
check 'and the log' err_has 'logs/'
check 'and the way around' err_has '--accept torque-saturated'
check 'nothing is left' [ ! -e "$book/results/identify.json" ]

check 'accepting another finding does not help' run 3 identify --accept encoder-glitch "$book"
check 'accepting this one does' run 0 identify --accept torque-saturated "$book"
check 'said in the answer' out_has 'is unfit and was accepted (--accept torque-saturated)'
check 'and on the record' json \
    "any('torque-saturated' in a for a in d['accepted']) and {'name': 'accept', 'value': 'torque-saturated'} in d['options']" \
    "$book/results/identify.json"
cp "$book/results/identify.json" "$scratch/first.json"
check 'twice is once' run 0 identify --accept torque-saturated --accept torque-saturated "$book"
check 'the same bytes' cmp -s "$scratch/first.json" "$book/results/identify.json"
check 'without it the earlier result does not serve' run 3 identify "$book"
check 'the later steps take it, too (so low a limit misses the requirement)' run 1 design --bold --accept torque-saturated "$book"
check 'and put it among the cautions' json "any('was accepted' in c for c in d['cautions'])" \
    "$book/results/design.json"
check 'the controller file says so' grep -q 'was accepted' "$book/results/controller.ini"

# an angle frozen for a third of the sweep leaves nothing to make gains from
sed '/^\[log sweep-south\]/a trouble_stuck = position\ntrouble_stuck_s = 8' "$small" >"$scratch/stuck.ini"
run 0 simulate --quiet --log sweep-south "$scratch/stuck.ini" "$scratch/stuck"
check 'what is accepted must still tell something' run 4 design --accept stuck-channel --accept coherence-low "$scratch/stuck"
check 'in words' err_has 'says nearly nothing of the axis'
check 'and no gains come of it' [ ! -e "$scratch/stuck/results/controller.ini" ]

# gains four times too small in axis.ini: what a quiet log tells is wrong by as much
run 0 simulate --quiet --log sweep-south --log quiet "$small" "$scratch/gains"
awk '/^k[pid]_/ { sub(/= */, ""); print $1 " = " $2 / 4; next } { print }' "$scratch/gains/axis.ini" >"$scratch/ini" && cp "$scratch/ini" "$scratch/gains/axis.ini"
check 'no design from a quiet log under other gains than stated' run 3 design --quiet "$scratch/gains"
check 'which says what they were' err_has '4 times kp and ki'
check 'and what to state' err_has 'state the gains that were active'
check 'unless it is accepted' run 0 design --quiet --accept gains-differ "$scratch/gains"

check 'a finding that does not exist is misuse' run 2 identify --accept torque-saturatd "$book"
check 'and the right one guessed' err_has 'did you mean torque-saturated?'
check 'a word far from any' run 2 identify --accept everything "$book"
check 'points to inspect' err_has 'inspect names them'
check 'inspect has nothing to accept' run 2 inspect --accept torque-saturated "$book"
done_testing
