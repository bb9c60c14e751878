#!/bin/sh
# verify on logs whose figures are known in closed form, without any sweep.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/book
mkdir -p "$book/logs"

# 10 whole periods of 0.3 arcsec on a drift of 0.02 arcsec/s, 15 arcsec/s ramp: rms 0.3/sqrt 2
awk 'BEGIN { print "time_s,torque_nm,position_arcsec,target_arcsec,sky_arcsec"
    for (i = 0; i < 10000; i++) { t = i / 1000; e = 0.3 * sin(6.283185307179586 * t)
        printf "%.3f,%.9f,%.9f,%.9f,%.9f\n", t, sin(i), 15 * t + 0.02 * t + e, 15 * t, 15 * t + 3 * e } }' >"$book/logs/track.csv"
# a step of 20 arcsec at 1 s, approached with a time constant of 0.2 s:
# within 0.5 arcsec for good after 0.2 ln 40 = 0.7378 s
awk 'BEGIN { print "time_s,torque_nm,position_arcsec,target_arcsec"
    for (i = 0; i < 4000; i++) { t = i / 1000; target = t < 1 ? 0 : 20
        printf "%.3f,%.9f,%.9f,%.9f\n", t, sin(i), t < 1 ? 0.001 * sin(i) : 20 - 20 * exp(-(t - 1) / 0.2), target } }' >"$book/logs/step.csv"

ini() {
    cat >"$book/axis.ini" <<INI
[axis]
name = altitude
[drive]
loop_rate_hz = 1000
[requirement]
jitter_rms_arcsec = $1
jitter_of = $2
settle_arcsec = 0.5
settle_s = $3
[log track]
kind = track
file = logs/track.csv
[log step]
kind = step
file = logs/step.csv
INI
}

ini 0.22 encoder 1
check 'both met' run 0 verify --json --quiet "$book"
check 'rms about a straight line is amplitude over sqrt 2' json 'abs(d["logs"][0]["measured_rms_arcsec"] - 0.3 / 2 ** 0.5) < 1e-3'
# the line of least squares takes a share of the sine: slope -6 A / (pi k^2 T) for k periods in T = 10 s
check 'drift is that of position - target' json 'abs(d["logs"][0]["drift_arcsec_per_s"] - 0.02 + 12 * 0.3 / (2 * 3.141592653589793 * 10 * 10)) < 1e-4'
check 'the sky is three times it' json 'abs(d["logs"][0]["sky_rms_arcsec"] - 0.9 / 2 ** 0.5) < 3e-3'
check 'the step settles after 0.2 ln 40 s' json 'abs(d["logs"][1]["settle_s"] - 0.7378) <= 0.001'
check 'nothing is foretold without sweeps' json 'd["logs"][0]["predicted_rms_arcsec"] is None and any("no sweeps" in n for n in d["notes"])'
check 'two requirements judged' json '[(r["name"], r["met"]) for r in d["requirement"]] == [("jitter_rms_arcsec", True), ("settle_s", True)]'
ini 0.2 encoder 1
check 'jitter missed: exit 1' run 1 verify --quiet "$book"
check 'said so' out_has 'missed at track'
ini 0.22 sky 1
check 'jitter of the sky missed: exit 1' run 1 verify --quiet "$book"
cut -d, -f1-4 "$book/logs/track.csv" >"$book/logs/nosky.csv"
sed 's/track.csv/nosky.csv/' "$book/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$book/axis.ini"
check 'what cannot be judged is not met' run 1 verify --quiet "$book"
check 'and said' out_has 'no sky column'
ini 0.22 encoder 0.7
check 'settling missed: exit 1' run 1 verify --quiet "$book"
check 'its log named' out_has 'missed at step'
check 'one log alone' run 0 verify --log track --quiet --json "$book"
check 'is one' json '[l["name"] for l in d["logs"]] == ["track"]'
check 'with a word about what it does not show' json 'any("settle_s is not judged" in n for n in d["notes"])'
sed 's/^settle_arcsec.*//' "$book/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$book/axis.ini"
check 'settle_s without settle_arcsec cannot be judged: exit 1' run 1 verify --quiet "$book"
check 'and said' out_has 'settle_s cannot be judged in log step'
ini 0.22 encoder 1
cut -d, -f1-3 "$book/logs/step.csv" >"$book/logs/notarget.csv"
sed 's/step.csv/notarget.csv/' "$book/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$book/axis.ini"
check 'nor can it without a target: exit 1' run 1 verify --json --quiet "$book"
check 'in the answer, too' json '[r["met"] for r in d["requirement"]] == [True, False]'
ini 0.22 encoder 1
sed '/^.log step/,$d' "$book/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$book/axis.ini"
check 'nor without any step log: exit 1' run 1 verify --quiet "$book"
check 'and said' out_has 'settle_s is stated, but no log of kind step shows it'
ini 0.22 encoder 1
sed '/^.log track/,/^.log step/{/^.log step/!d}' "$book/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$book/axis.ini"
check 'jitter without any log that shows it: exit 1' run 1 verify --quiet "$book"
check 'and said' out_has 'jitter_rms_arcsec is stated, but no log'
ini 0.22 encoder 1
run 0 verify --quiet "$book"
sed 's/^loop_rate_hz.*/&\ntorque_limit_nm = 0.99/' "$book/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$book/axis.ini"
"$quietaxis" verify "$book" >"$scratch/out" 2>"$scratch/err"
check 'another torque limit is another question' sh -c "! grep -q 'verify.json is fresh' '$scratch/err'"

# ---- how columns are read is said
sed 's/torque_nm,position_arcsec/torque_nm,motor_angle_rad/' "$book/logs/track.csv" | awk -F, -v OFS=, 'NR > 1 { $3 = sprintf("%.15g", -$3 * 4.84813681109536e-06) } 1' >"$book/logs/rad.csv"
cat >"$book/axis.ini" <<INI
[axis]
name = altitude
[drive]
loop_rate_hz = 1000
[log track]
kind = track
file = logs/rad.csv
position = motor_angle_rad
position_sign = -1
INI
check 'a mapped column' run 0 inspect --quiet "$book"
check 'is listed with its unit' out_has 'position <- motor_angle_rad [rad]'
check 'and others by their role' out_has 'torque, position <-'
check 'verify tells sign and column' run 0 verify --quiet --json "$book"
check 'in words' json 'any("Log track: position is read from column motor_angle_rad [rad], sign -1" in n for n in d["notes"])'
echo 'position_unit = arcsec' >>"$book/axis.ini"
run 1 inspect --quiet --json "$book" # position and target differ by that factor
check 'a unit against the name of the column is doubted' json 'any("one of them is wrong" in n for n in d["notes"]) and d["logs"][0]["columns"]["position"] == {"column": "motor_angle_rad", "unit": "arcsec"}'
ini 0.22 encoder 0.7
check 'analyse without sweeps: what needs none' run 1 analyse "$book"
check 'says so' err_has 'no sweep'
check 'does the rest' out_has '== verify =='
done_testing
