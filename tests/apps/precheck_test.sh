#!/bin/sh
# precheck on simulated first motions: what is right agrees, what is wrong is found and named, what design
# and analyse make of it.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"

# the axis of the data set, at a quarter of its rate
sed 's/^loop_rate_hz .*/loop_rate_hz = 1000/' "$TUNE_SOURCE/datasets/heron-flat/first-motions.ini" >"$scratch/motions.ini"
book=$scratch/book
# wrong SECTION LINE...: the description with a section [mismatch], simulated into $book
wrong() {
    { cat "$scratch/motions.ini"; echo '[mismatch]'; printf '%s\n' "$@"; } >"$scratch/wrong.ini"
    rm -rf "$book"
    run 0 simulate "$scratch/wrong.ini" "$book"
}
# answers NAME ANSWER: the answer of the check in $scratch/out
answers() { json "[c['answer'] for c in d['checks'] if c['name'] == '$1'] == ['$2']"; }
# only NAMES: these checks disagree and no other
only() { json "[c['name'] for c in d['checks'] if c['answer'] == 'disagrees'] == '$1'.split()"; }

# ---- an axis that is what the logbook says
check 'first motions are simulated' run 0 simulate "$scratch/motions.ini" "$book"
check 'nothing disagrees' run 0 precheck "$book"
check 'within 80 columns' fits
check 'a table' out_has 'check                    stated              measured  answer'
check 'cautions' out_has 'one person at the emergency stop'
check 'a weight must be locked' out_has 'lock or pin the axis before a weight'
check 'signs assumed' out_has 'positive torque raises the position'
check 'scales assumed' out_has '18.4 N m for one unit'
check 'as JSON' run 0 precheck --json --quiet "$book"
check 'nothing else' is_json
check 'nothing on standard error' err_empty
for name in counts-per-turn encoder-sign torque-sign torque-per-unit inertia commutation index-repeatability \
    stopping-distance following-error limit-low limit-high; do
    check "$name agrees" answers $name agrees
done
check 'the weight is held with negative torque' json "any('holds with negative torque' in c['text'] for c in d['checks'])"
check 'within 4 std of the truth' json "all(abs(c['measured']['value'] - t) < 4 * c['measured']['std'] for c in d['checks'] \
    for n, t in [('counts-per-turn', 268435456), ('torque-per-unit', 18.4), ('inertia', 820)] if c['name'] == n)"
check 'the file is the answer' cmp -s "$scratch/out" "$book/results/precheck.json"
check 'again' run 0 precheck "$book"
check 'taken again' err_has 'precheck.json is fresh'
check 'with one thread' run 0 precheck --threads 1 --out "$scratch/one" "$book"
check 'the same bytes' cmp -s "$scratch/one/precheck.json" "$book/results/precheck.json"
sed -i 's/^inertia_kg_m2 .*/inertia_kg_m2 = 500/; s/^inertia_std_kg_m2 .*/inertia_std_kg_m2 = 30/' "$book/axis.ini"
check 'another expectation' run 1 precheck --json "$book"
check 'makes it anew' err_has 'precheck.json is made anew'
check 'the inertia disagrees alone' only inertia
check 'gravity and inclination are told' json "any('g = 9.79420 m/s^2' in n and 'inclined by 31.2 deg' in n for n in d['notes'])"
check 'some logs only' run 0 precheck --json --log move "$book"
check 'the others are not tested' answers torque-sign 'not tested'
check 'with what to do' json "all(c['advice'] for c in d['checks'] if c['answer'] == 'not tested')"

check 'pulses alone' run 1 precheck --json --log pulse-0 "$book"
check 'tell no side' answers torque-sign 'not tested'
check 'but that a loop has the right sign' json "any('a loop has the right sign' in c['text'] for c in d['checks'])"
check 'coasts one way' run 1 precheck --json --log coast-west --log pulse-0 "$book"
check 'tell no friction' answers friction 'not tested'
check 'and no stopping distance with scales that are not tested' answers stopping-distance 'not tested'
awk '/^\[/ { none = /load-none/ } !(none && /^load_arm_m/)' "$book/axis.ini" >"$scratch/ini" && cp "$scratch/ini" "$book/axis.ini"
check 'no weight needs no arm' run 0 precheck --json --log load-12kg --log load-none "$book"
check 'and is compared' answers torque-per-unit agrees
awk '/^\[/ { with = /load-12kg/ } !(with && /^load_arm_m/)' "$book/axis.ini" >"$scratch/ini" && cp "$scratch/ini" "$book/axis.ini"
check 'a weight does' run 3 precheck "$book"
check 'which is said' err_has 'load_arm_m'
sed 's/^load_kg = 12/load_kg = 0/' "$scratch/motions.ini" >"$scratch/forgotten.ini"
rm -rf "$book"
check 'a weight that was forgotten' run 0 simulate --log load-12kg --log load-none --log pulse-0 "$scratch/forgotten.ini" "$book"
awk '/^\[/ { with = /load-12kg/ } { if (with && /^load_kg/) print "load_kg = 12"; else print }' "$book/axis.ini" >"$scratch/ini" &&
    cp "$scratch/ini" "$book/axis.ini"
check 'is no disagreement' run 0 precheck --json "$book"
check 'but not tested' answers torque-per-unit 'not tested'
check 'and told' json "any('no difference between the two load logs' in c['text'] for c in d['checks'])"
check 'in no strange numbers' sh -c '! grep -qi "nan" "$1"' - "$scratch/out"

sed 's/^coast_s = 10/coast_s = 4/' "$scratch/motions.ini" >"$scratch/cut.ini"
rm -rf "$book"
check 'coasts that are cut off' run 0 simulate --log coast-west --log coast-east --log move "$scratch/cut.ini" "$book"
run 0 precheck --json "$book"
check 'tell no friction' json "any(c['name'] == 'friction' and 'still moves at the end' in c['text'] for c in d['checks'])"

# ---- what is wrong
wrong 'torque_sign = -1'
check 'a wrong torque sign' run 1 precheck --json "$book"
check 'is found alone' only torque-sign
check 'what the loop did is not believed' answers limit-high 'not tested'
check 'in words' run 1 precheck "$book"
check 'with a warning' out_has 'Do not close a loop: torque-sign disagrees'
wrong 'torque_factor = 1.41421356'
check 'a wrong torque constant' run 1 precheck --json "$book"
check 'is found alone' only torque-per-unit
check 'rms amperes are named' json "'rms amperes' in d['checks'][3]['advice']"
wrong 'counts_factor = 4'
check 'a wrong encoder scale' run 1 precheck --json "$book"
check 'is found, limits at the most beside it' json "{c['name'] for c in d['checks'] if c['answer'] == 'disagrees'} \
    - {'limit-low', 'limit-high'} == {'counts-per-turn'}"
check 'what was driven with it does not agree' json "not any(c['answer'] == 'agrees' for c in d['checks'] if c['name'] in \
    ('limit-low', 'limit-high', 'following-error', 'stopping-distance', 'index-repeatability'))"
check 'quadrature is named' json "'quadrature' in d['checks'][0]['advice']"
wrong 'counts_factor = 4' 'high_limit_acts = no'
check 'a dead limit beside it' run 1 precheck --json "$book"
check 'is told all the same' answers limit-high disagrees
check 'as the counts are' answers counts-per-turn disagrees
wrong 'low_limit_shift_deg = 1' 'high_limit_acts = no' 'following_error_acts = no'
check 'wrong limits' run 1 precheck --json "$book"
check 'are found each' only 'following-error limit-low limit-high'

# ---- logs that cannot be used
head -c 300 "$book/logs/move.csv.gz" >"$scratch/short" && mv "$scratch/short" "$book/logs/move.csv.gz"
check 'a log cut off' run 1 precheck "$book"
check 'is told' out_has 'Log move (move) is left out'
check 'alone it is no answer' run 3 precheck --log move "$book"
check 'none of them' err_has 'none of the 1 logs of first motions can be used'
rm "$book/logs/move.csv.gz"
check 'a log that is not there' run 2 precheck "$book"
check 'nothing on standard output' out_empty

# ---- design and analyse
{ cat "$small" && cat <<'MORE'
[log pulses]
kind = pulse
pointing = south
pulse_nm = 6
[log move]
kind = move
pointing = south
move_deg = 10
speed_deg_per_s = 2
known_angle_std_deg = 0.01
MORE
} | sed 's/^encoder_counts_per_turn = .*/&\ntorque_per_unit_nm = 2/' >"$scratch/both.ini"
book=$scratch/both
check 'an axis with sweeps and first motions' run 0 simulate "$scratch/both.ini" "$book"
run 0 design --json "$book" || run 1 design --json "$book"
check 'design says what is verified' json "any('Signs and scales verified: torque sign, encoder sign, counts per turn (precheck)' in n for n in d['notes'])"
check 'and what is not' json "any('partly not verified by precheck: torque per unit' in c for c in d['cautions'])"
check 'in the controller file too' grep -q 'Signs and scales verified: torque sign, encoder sign' "$book/results/controller.ini"
check 'precheck was done for it' [ -s "$book/results/precheck.json" ]
sed 's/^known_angle_deg = /&-/' "$book/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$book/axis.ini"
check 'analyse ends with no' run 1 analyse "$book"
check 'precheck among it' out_has '== precheck =='
check 'and warns' err_has 'PRECHECK DISAGREES OR CANNOT BE DONE'
check 'design is made anew and warns' grep -q 'PRECHECK DISAGREES on torque sign, encoder sign' "$book/results/controller.ini"
check 'a logbook without first motions' run 0 simulate --log sweep-south "$small" "$scratch/none"
check 'is no answer' run 3 precheck "$scratch/none"
check 'and says what to log' err_has 'log pulses, a move, a coast'
done_testing
