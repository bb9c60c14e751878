#!/bin/sh
# Every key of axis.ini that enters the identification makes it anew when it changes, and what is built on it.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/dec
ini=$book/axis.ini
run 0 simulate --quiet --log sweep-south --log sweep-north --log quiet "$small" "$book"
check 'a first design' run 0 design --quiet "$book"
check 'and a forecast' run 0 predict --quiet --controller "$book/results/controller.ini" "$book"
check 'nothing changed: fresh' run 0 identify "$book"
check 'in words' err_has 'identify.json is fresh'

# state SECTION KEY VALUE: the key alone changes; another value of the same key replaces the last one
state() {
    awk -v section="[$1]" -v key="$2" -v value="$3" '
        $0 == section { print; print key " = " value; inside = 1; next }
        /^\[/ { inside = 0 }
        inside && $1 == key { next }
        { print }' "$ini" >"$scratch/ini" && mv "$scratch/ini" "$ini"
    grep -qx "$2 = $3" "$ini"
}

# stale SECTION KEY VALUE: states it; the result is made anew, then fresh
stale() {
    check "[$1] $2 = $3 can be stated" state "$1" "$2" "$3"
    check 'identified' run 0 identify "$book"
    check "so $2 makes it anew" err_has 'identify.json is made anew'
}

stale drive travel_limit_deg '-80 80'
check 'the next sweep stays within' json 'abs(d["next_pointing"]["angle_deg"]) <= 80' "$book/results/identify.json"
stale drive travel_limit_deg '-50 50'
check 'and within tighter limits' json 'abs(d["next_pointing"]["angle_deg"]) <= 50' "$book/results/identify.json"
check 'design' run 0 design "$book"
check 'is made anew with it' err_has 'design.json is made anew'
stale 'log sweep-north' other_axis_deg 40
check 'it stands in the result' json 'd["pointings"][1]["other_axis_deg"] == 40' "$book/results/identify.json"
stale 'log sweep-north' other_axis_state braked
check 'it stands in the result' json 'd["pointings"][1]["other_axis_state"] == "braked"' "$book/results/identify.json"
check 'design' run 0 design "$book"
check 'is made anew' err_has 'design.json is made anew'
check 'predict' run 0 predict --controller "$book/results/controller.ini" "$book"
check 'is made anew' err_has 'predict.json is made anew'
stale 'log sweep-north' angle_deg 41
check 'inspect' run 0 inspect --quiet "$book"
stale requirement jitter_of sky
check 'inspect again' run 0 inspect "$book"
check 'so jitter_of makes what it says of the logs anew' err_has 'inspect.json is made anew'
stale requirement jitter_rms_arcsec 0.25
stale drive encoder_lines_per_turn 16384
stale drive torque_limit_nm 61
stale controller kd_nm_s_per_rad 1.81e3
printf '\n[payload]\nratio1_hz = 22\nratio1 = -5\n' >>"$ini"
stale payload payload_accel_arm_m 1.5
stale payload payload_accel_arm_std_m 0.02
stale payload sky_exposure_s 0.5
stale payload ratio1 -5.1
sed 's/^kd_nm.*/kd_nm_s_per_rad = 1.81e3/' "$small" | awk '/^\[/ { on = $0 == "[controller]" } on' >"$book/own.ini"
stale 'log sweep-south' controller own.ini
check 'at last all of it is fresh' run 0 identify "$book"
check 'in words' err_has 'identify.json is fresh'
done_testing
