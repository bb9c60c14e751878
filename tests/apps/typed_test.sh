#!/bin/sh
# What the drive accepts, from axis.ini to the numbers to type in.  SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
run 0 simulate --quiet --log sweep-south --log sweep-north --log quiet "$small" "$scratch/plain"
run 0 identify --quiet "$scratch/plain"

# variant NAME LINES: a logbook of that name whose [drive] has these lines as well
variant() {
    book=$scratch/$1
    results=$book/results
    cp -r "$scratch/plain" "$book"
    awk -v add="$2" '{ print } $0 == "[drive]" { print add }' "$scratch/plain/axis.ini" >"$book/axis.ini"
}

# typed EXPRESSION: over d, and c, the recommended controller
typed() {
    json "[$1 for c in d['controllers'] if c['name'] == d['recommended']][0]" "$results/design.json"
}

# compiles: controller.h stands alone
compiles() {
    printf '#include "controller.h"\nint main(void) { struct controller_state s = {0}; return controller_step(&s, 0) != 0; }\n' \
        >"$scratch/try.c"
    gcc -std=c11 -Wall -Wextra -Werror -I"$results" -o "$scratch/try" "$scratch/try.c" && "$scratch/try"
}

# ---- nothing stated: no candidate of its own, but the files
check 'a drive that takes anything' run 0 design "$scratch/plain"
results=$scratch/plain/results
check 'prints what to type' out_has 'To type into the drive, in to-type.txt'
check 'within 80 columns' fits
check 'and warns of the numbers without the filters' out_has 'Never without the'
check 'is recommended the proposal itself' typed 'd["recommended"] == "calm" and all("-typed" not in k["name"] for k in d["controllers"])'
check 'its numbers are its gains, the old ones beside them' typed '{n["name"]: n["value"] for n in d["to_type"]["numbers"]}["kp"] == c["kp_nm_per_rad"] and {n["name"]: n["old"] for n in d["to_type"]["numbers"]}["kp"] == 1.6e4'
check 'cautions travel with every file' sh -c "for f in to-type.txt coefficients.csv controller.h; do grep -q 'emergency stop' '$results/'\$f || exit 1; done"
check 'the header compiles' compiles
check 'nothing changed' run 0 design "$scratch/plain"
check 'is fresh' err_has 'design.json is fresh'
echo '# edited' >>"$results/to-type.txt"
check 'a number edited' run 0 design --quiet "$scratch/plain"
check 'is written anew' sh -c "! grep -q '^# edited' '$results/to-type.txt'"
cp "$scratch/plain/axis.ini" "$scratch/kept.ini"
awk '{ print } $0 == "[drive]" { print "kd_step = 50" }' "$scratch/plain/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$scratch/plain/axis.ini"
check 'a step stated' run 0 design "$scratch/plain"
check 'makes the design anew' err_has 'design.json is made anew'
check 'and every kd is a multiple of it' json 'all(abs(n["value"] / 50 - round(n["value"] / 50)) < 1e-9 for n in d["to_type"]["numbers"] if n["name"] == "kd")' "$results/design.json"
cp "$scratch/kept.ini" "$scratch/plain/axis.ini"

# ---- single precision
variant float32 'coefficient_format = float32'
check 'single precision' run 0 design --quiet "$book"
check 'is a candidate behind the one it comes from' json '(lambda n: n[n.index("calm") + 1])([k["name"] for k in d["controllers"]]) == "calm-typed" == d["recommended"]' "$results/design.json"
check 'each coefficient is one of that format' sh -c "grep -v '^#' '$results/coefficients.csv' | /usr/bin/python3 -c '
import struct, sys
rows = [r.split(\",\")[1:] for r in sys.stdin.read().split(\"\\n\")[1:] if r]
sys.exit(not rows or any(struct.unpack(\"f\", struct.pack(\"f\", float(x)))[0] != float(x) for r in rows for x in r))'"
check 'controller.ini holds what is recommended' sh -c "grep -q 'calm-typed' '$results/controller.ini'"
check 'the ladder ends there' typed 'd["enable"][-1]["kd_nm_s_per_rad"] == c["kd_nm_s_per_rad"]'
check 'the header compiles' compiles

# ---- fixed point
variant q428 'coefficient_format = Q4.28'
check 'fixed point' run 0 design --quiet "$book"
check 'in integers' grep -q 'int32_t controller_section' "$results/controller.h"
check 'compiles' compiles
variant q230 'coefficient_format = Q2.30'
check 'too few integer bits for this biquad: exit 1' run 1 design --quiet "$book"
check 'it says so, and what to do' sh -c "tr -s ' \n' ' ' <'$scratch/out' | grep -q 'beyond what Q2.30 holds.*filter_form = notch'"
check 'never in silence' json 'any(r["name"] == "typed" and not r["met"] for r in d["requirement"]) and not d["to_type"]["numbers"]' "$results/design.json"
check 'no file to type from is left' sh -c "! test -e '$results/to-type.txt'"

# ---- notches, steps, units
variant notch "$(printf 'filter_form = notch\nnotch_centre_step = 0.1\nnotch_width_step = 0.1\nnotch_depth_step = 0.5\nlowpass_step = 1')"
check 'notches' run 0 design --quiet "$book"
check 'the biquad has zero and pole at one frequency' typed 'c["biquad1_zero_hz"] > 0 and abs(c["biquad1_zero_hz"] / c["biquad1_pole_hz"] - 1) < 1e-9'
check 'its numbers are typed as the drive takes them' json 'all(abs(n["value"] * 10 - round(n["value"] * 10)) < 1e-9 for n in d["to_type"]["numbers"] if n["name"].startswith("notch"))' "$results/design.json"
check 'without a tail of digits' sh -c "grep '^notch1_width' '$results/to-type.txt' | awk '{ exit length(\$2) > 6 }'"
variant steps "$(printf 'torque_per_unit_nm = 1.5\ngain_torque_unit = a\ngain_angle_unit = deg\nkp_step = 0.5\nki_step = 0.5\nkd_step = 0.05')"
check 'steps and units' run 0 design "$book"
check 'within 80 columns' fits
check 'kp times its unit is the gain: 1.5 N m per A, 57.2957795 deg per rad' typed '[abs(n["value"] * 1.5 * 57.29577951308232 / c["kp_nm_per_rad"] - 1) < 1e-9 and n["unit"] == "A/deg" and n["value"] % 0.5 == 0 for n in d["to_type"]["numbers"] if n["name"] == "kp"] == [True]'
check 'rungs are typed, too' grep -q '^; To type: kp = [0-9.]* A/deg' "$results/enable-01.ini"
variant coarse "$(printf 'kp_step = 30000\nki_step = 200000')"
run 0 design --quiet "$book" || run 1 design --quiet "$book"
check 'rungs lost in the steps are told, as a caution too' json 'any("Cannot be typed" in t for t in d["climbing"]) and any("no way up" in t for t in d["cautions"])' "$results/design.json"
check 'and in their files' grep -q 'CANNOT be typed' "$results/enable-01.ini"
done_testing
