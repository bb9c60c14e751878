#!/bin/sh
# A real record through the program: the motor bench of FdiTools (W. Ohnishi, T. Beauduin, Hori-Fujimoto
# Lab, MIT licence), a motor and a load inertia on a flexible coupling under a periodic current.
# Known of it, from independent fits of this and of a second record: antiresonance 54.1 Hz and resonance
# 76.3 Hz seen from the motor, the resonance alone from the load; allowed is 0.3 Hz (model).
# Skipped unless TUNE_OPEN_DATA names the folder of open data.  SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
record=${TUNE_OPEN_DATA:-/nonexistent}/motor-bench/multisine.csv
if [ ! -r "$record" ]; then
    echo '1..1'
    echo 'ok 1 - motor bench # SKIP TUNE_OPEN_DATA does not hold motor-bench/multisine.csv'
    exit 0
fi

# side NAME COLUMN SIGN: a logbook of the bench seen from one side
side() {
    mkdir -p "$scratch/$1"
    cp "$record" "$scratch/$1/"
    cat >"$scratch/$1/axis.ini" <<INI
[axis]
site = Motor bench
name = other
configuration = $1 side
[drive]
loop_rate_hz = 2500
torque_per_unit_nm = 1 ; the torque constant is not known: everything comes out per ampere
[log multisine]
kind = sweep
file = multisine.csv
torque = current_a
torque_unit = a
excitation = current_reference_a
excitation_unit = a
position = $2
position_unit = rad
position_sign = $3
INI
}
side motor motor_angle_rad 1
side load load_angle_rad -1

check 'identify from the motor side' run 0 identify --quiet "$scratch/motor"
check 'the table fits' fits
check 'identify as JSON' run 0 identify --quiet --json "$scratch/motor"
check 'resonance at 76.3 Hz and no other' json '[abs(m["frequency_hz"]["value"] - 76.3) < 0.3 for m in d["pointings"][0]["plant"]["modes"]] == [True]'
check 'antiresonance at 54.1 Hz and no other' json '[abs(z["frequency_hz"]["value"] - 54.1) < 0.3 for z in d["pointings"][0]["plant"]["antiresonances"]] == [True]'
check 'coherence as known: median above 0.999' json 'd["pointings"][0]["frf"]["median_coherence"] > 0.999'
check 'the misfit is told' json 'any("Reduced chi-square beyond chance" in n for n in d["notes"])'
check 'identify from the load side' run 0 identify --quiet --json "$scratch/load"
check 'the same resonance alone' json '[abs(m["frequency_hz"]["value"] - 76.3) < 0.3 for m in d["pointings"][0]["plant"]["modes"]] == [True] and d["pointings"][0]["plant"]["antiresonances"] == []'
# both sides as one axis with two sensors; for two inertias r = -1/g, and gain times r is -1
side both motor_angle_rad 1
printf 'load_position = load_angle_rad\nload_position_unit = rad\nload_position_sign = -1\n' >>"$scratch/both/axis.ini"
check 'identify from both sides' run 0 identify --quiet --json "$scratch/both"
check 'the load moves against the motor; that the model misses it is told' json '(m := d["pointings"][0]["plant"]["modes"][0])["payload_ratio_from"] == "load encoder" and m["payload_ratio"]["value"] + 3 * m["payload_ratio"]["std"] < -0.5 and d["pointings"][0]["second_sensor"]["doubtful"]'
check 'as two inertias do, to 2 %' json 'abs((s := d["pointings"][0]["second_sensor"]["sum_gain_ratio"])["value"] + 1) < min(0.02, 3 * s["std"])'
check 'design, without any requirement' run 0 design --quiet --json "$scratch/motor"
check 'every proposal stable' json 'all(m["stable"] for c in d["controllers"] for m in c["margins"])'
check 'a disturbance nobody measured is told' json 'not d["disturbance"]["measured"] and any("stated by default" in n for n in d["notes"])'
check 'predict tells no interval where it has none' run 0 predict --quiet --json "$scratch/motor"
check 'but a null with a note' json 'd["interval_95_arcsec"] == [None, None] and d["interval_95_arcsec_note"] == "undefined"'
if command -v gnuplot >/dev/null; then
    check 'report' run 0 report --quiet "$scratch/motor"
else
    pass 'report # SKIP gnuplot is not installed'
fi
side load load_angle_rad 1
check 'the load angle with its sign left as logged is refused' run 3 identify --quiet "$scratch/load"
check 'a sign is named as the cause' err_has 'position_sign'
done_testing
