#!/bin/sh
# Logs that tell too little, misspelt columns, logs without their injected signal, and which log --log may name.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"

# make BOOK LOG AMPLITUDE EXTRA SEED: a book with one sweep
make() {
    sed "s/^amplitude_nm = .*/amplitude_nm = $3/" "$small" >"$scratch/it.ini"
    printf '%s\n' "$4" >>"$scratch/it.ini"
    "$quietaxis" simulate --quiet --log "$2" --seed "$5" "$scratch/it.ini" "$1" >"$scratch/made" 2>&1 ||
        { cat "$scratch/made"; exit 1; }
}

# join BOOK OTHER LOG POINTING: that sweep of OTHER as the log `again` of BOOK
join() {
    cp "$2/logs/$3.csv.gz" "$1/logs/again.csv.gz"
    printf '[log again]\nkind = sweep\nfile = logs/again.csv.gz\npointing = %s\nangle_deg = -20\n' "$4" >>"$1/axis.ini"
}

# rename BOOK OLD NEW: the header of its sweep-south with another name
rename() {
    gzip -dc "$1/logs/sweep-south.csv.gz" | sed "1s/$2/$3/" | gzip >"$scratch/renamed" && mv "$scratch/renamed" "$1/logs/sweep-south.csv.gz"
}

# words TEXT: it stands in standard output, wherever the lines break
words() { tr -s '\n ' '  ' <"$scratch/out" | grep -qF -e "$1" || { sed 's/^/# out: /' "$scratch/out"; false; }; }
no_words() { ! tr -s '\n ' '  ' <"$scratch/out" | grep -qF -e "$1"; }

make "$scratch/good" sweep-south 10 '' 7
make "$scratch/weak" sweep-south 0.1 '' 8

# ---- one weak log of a pointing
for order in good-weak weak-good; do
    cp -r "$scratch/${order%-*}" "$scratch/$order"
    join "$scratch/$order" "$scratch/${order#*-}" sweep-south south
    left=again
    [ "$order" = weak-good ] && left=sweep-south
    check "$order: the pointing stands without the weak log" run 0 identify "$scratch/$order"
    check 'which is named, with the reason' words "Log $left is left out of pointing south: the log is unfit: no usable response"
    check 'one sweep is used' out_has '1 sweep,'
    check 'it stands in the file' json "len(d['left_out']) == 1 and '$left' in d['left_out'][0] and all(i['rows'] > 0 for i in d['inputs'] if i['path'] != 'axis.ini')" \
        "$scratch/$order/results/identify.json"
done
cp "$scratch/good-weak/results/identify.json" "$scratch/first.json"
check 'an earlier result serves again' run 0 identify "$scratch/good-weak"
check 'with the same bytes' cmp -s "$scratch/first.json" "$scratch/good-weak/results/identify.json"
check 'alone it is refused' run 3 identify "$scratch/weak"
check 'with what to mind before sweeping harder' err_has 'A sweep moves the axis: local law'
check 'to the end' err_has 'how hard it may be driven'
check 'a log that is wrong is refused, whatever stands' sh -c "cp -r '$scratch/good-weak' '$scratch/wrong' && sed -i '/^\[log again\]/a torque_sign = -1' '$scratch/wrong/axis.ini' && cp '$scratch/good/logs/sweep-south.csv.gz' '$scratch/wrong/logs/again.csv.gz'"
check 'as a torque of the other sign' run 3 identify "$scratch/wrong"
check 'is' err_has 'torque-sign'

# ---- one pointing that fails
cp -r "$scratch/good" "$scratch/two"
join "$scratch/two" "$scratch/weak" sweep-south north
check 'the other pointing stands' run 0 identify "$scratch/two"
check 'and is the only one' json "[p['name'] for p in d['pointings']] == ['south']" "$scratch/two/results/identify.json"
check 'the one that fails is named' words 'Pointing north is left out, and nothing here holds there: the log is unfit'
check 'the requirement is met where there is a plant' run 0 design "$scratch/two"
check 'a design says so beside its margins' words '! Pointing north is left out'
check 'and in the file of the gains' grep -q 'Pointing north is left out' "$scratch/two/results/controller.ini"

# ---- none that stands
sed '/^\[log sweep-south\]/a trouble_stuck = position\ntrouble_stuck_s = 8' "$small" >"$scratch/stuck.ini"
run 0 simulate --quiet --log sweep-south "$scratch/stuck.ini" "$scratch/stuck"
check 'no pointing stands' run 4 identify --accept stuck-channel --accept coherence-low "$scratch/stuck"
check 'the reasons of inspect are told' err_has 'Inspect finds stuck-channel'
check 'friction, ramp and limits' err_has 'sweep on a ramp faster than the sweep'
check 'the caution' err_has 'a tenth of the amplitude first'

# ---- misspelt columns
cp -r "$scratch/good" "$scratch/typo"
rename "$scratch/typo" excitation_nm excitatoin_nm
check 'a misspelt excitation' run 0 inspect "$scratch/typo"
check 'is found' words "logs/sweep-south.csv.gz, line 1, column 2: 'excitatoin_nm' may be misspelt, no excitation is logged"
check 'with what to do' words 'excitation = "excitatoin_nm"'
check 'asks for care' json "d['logs'][0]['verdict'] == 'with care' and d['logs'][0]['findings'][0]['name'] == 'column-misspelt'" \
    "$scratch/typo/results/inspect.json"
check 'identify says it' run 0 identify "$scratch/typo"
check 'in its notes' words "'excitatoin_nm' may be misspelt"
check 'and what it did instead' words 'Pointing south: no injected signal is logged in sweep-south: estimated there from torque to position, directly'
sed -i '/^\[log sweep-south\]/a excitation = "excitatoin_nm"' "$scratch/typo/axis.ini"
check 'mapped as told' run 0 identify "$scratch/typo"
check 'it is indirect' out_has 'indirect'
check 'and nothing is missed' no_words 'no injected signal'
rename "$scratch/typo" torque_nm torqe_nm
check 'a misspelt torque is refused' run 3 identify "$scratch/typo"
check 'with a guess' err_has "did you mean 'torqe_nm'?"
check 'and the place' err_has 'sweep-south.csv.gz:1:3:'

cp -r "$scratch/good" "$scratch/mixed"
join "$scratch/mixed" "$scratch/good" sweep-south south
rename "$scratch/mixed" excitation_nm motor_temp_c
check 'one sweep without its injected signal' run 0 identify "$scratch/mixed"
check 'is told, and which has it' words 'no injected signal is logged in sweep-south: estimated there from torque to position, directly: biased wherever a closed loop answers to disturbances; with the injected signal in again.'
check 'another column is no slip' no_words 'misspelt'

# ---- which logs may be named
run 0 simulate --quiet --log quiet "$small" "$scratch/good"
check 'a hold is none to identify from' run 2 identify --log quiet "$scratch/good"
check 'said so' err_has 'kind = hold'
check 'with those that are' err_has 'expected sweep-south'
check 'beside a sweep neither' run 2 identify --log sweep-south --log quiet "$scratch/good"
check 'nor is a sweep of a pointing not asked for' run 2 identify --log sweep-south --pointing north "$scratch/two"
check 'as told' err_has 'the log sweep-south is of pointing south'
check 'a sweep is one' run 0 identify --log sweep-south "$scratch/good"
check 'design may name the quiet log' sh -c "'$quietaxis' design --quiet --log quiet '$scratch/good' >'$scratch/out' 2>'$scratch/err'; [ \$? -le 1 ]"
run 0 identify --help
check 'help says so' out_has 'this sweep or table alone'
done_testing
