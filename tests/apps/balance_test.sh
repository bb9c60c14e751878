#!/bin/sh
# balance: a simulated axis out of balance, what is told of it, the remedy, and the axis once it is mended.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/dec

# describe NM DEG WAY [SPEED]: a declination axis of that out-of-balance, turned at two speeds
describe() {
    cat <<INI
[axis]
site = Heron Flat 0.4 m
name = declination
configuration = bare
latitude_deg = -31.2
[drive]
loop_rate_hz = 500
torque_limit_nm = 100
torque_continuous_nm = 60
encoder_counts_per_turn = 67108864
[controller]
kp_nm_per_rad = 2e4
ki_nm_per_rad_s = 4e4
kd_nm_s_per_rad = 2e3
derivative_filter_hz = 60
[plant]
inertia_kg_m2 = 100
viscous_nm_s_per_rad = 12
delay_s = 0.003
[friction]
coulomb_nm = 4
breakaway_nm = 4.6
stribeck_arcsec_per_s = 30
bristle_nm_per_rad = 1e5
bristle_nm_s_per_rad = 300
[balance]
imbalance_nm = $1
imbalance_deg = $2
offset_nm = 0.2
[disturbance]
seed = 3
wind_rms_nm = 0.1
drive_noise_nm_per_rthz = 0.01
encoder_noise_arcsec = 0.005
[pointing middle]
angle_deg = 10
[log slow]
kind = turn
pointing = middle
move_deg = $3
speed_deg_per_s = 2
acceleration_deg_per_s2 = 4
[log fast]
kind = turn
pointing = middle
move_deg = $3
speed_deg_per_s = 8
acceleration_deg_per_s2 = 4
passes = 3
INI
}
masses() {
    cat <<INI

[slide counterweight]
mass_kg = 20
angle_deg = 15
travel_mm = -60 60
step_mm = 1
[place saddle]
arm_m = 0.4
angle_deg = -80
most_kg = 5
step_kg = 0.1
INI
}

describe 5 70 220 >"$scratch/off.ini"
run 0 simulate --quiet "$scratch/off.ini" "$book"
masses >>"$book/axis.ini"
check 'out of balance: it would move, exit 1' run 1 balance "$book"
check 'in words' out_has 'It starts with'
check 'in 80 columns' fits
check 'with cautions' out_has 'never rely on a'
check 'the numbers are those of the axis (5 %, 2 deg)' json 'abs(d["imbalance_nm"]["value"] / 5 - 1) < 0.05 and abs(d["imbalance_angle_deg"]["value"] - 70) < 2 and abs(d["coulomb_nm"]["value"] / 4 - 1) < 0.05 and abs(d["inertia_kg_m2"]["value"] / 100 - 1) < 0.03 and abs(d["offset_nm"]["value"] - 0.2) < 0.1' "$book/results/balance.json"
check 'within 4 std, and std small' json 'all(abs(d[k]["value"] - t) < 4 * d[k]["std"] < 0.3 * t for k, t in (("imbalance_nm", 5), ("coulomb_nm", 4)))' "$book/results/balance.json"
check 'the verdict and where' json 'd["at_rest_everywhere"] == "no" and d["margin_nm"]["value"] < -0.5 and abs(d["nearest_to_starting_deg"] + 110) < 15' "$book/results/balance.json"
check 'the holding torque is a table' sh -c "head -n 1 '$book/results/balance.csv' | grep -qx angle_deg,holding_nm,holding_std_nm,rest_margin_nm,mended_nm"
# rising minus falling: twice the Coulomb friction; their mean: what holds the axis
check 'what was measured both ways agrees with it (noise of a degree: 0.2 N m)' awk -F, 'FNR == 1 { next } NR == FNR { hold[int($1 + 1000.5)] = $2; next }
    { k = int($1 + 1000.5); d = ($2 - $3) / 2 - 4; h = ($2 + $3) / 2 - hold[k]; n++; if (d * d > 0.04 || h * h > 0.09) bad++ }
    END { exit !(n > 200 && bad < n / 50) }' "$book/results/balance.csv" "$book/results/turns.csv"
check 'the remedy is in steps of what there is' json 'd["worth_moving"] and [r["name"] for r in d["remedies"]] == ["counterweight", "saddle"] and abs(d["remedies"][0]["shift_mm"] - round(d["remedies"][0]["shift_mm"])) < 1e-9 and abs(10 * d["remedies"][1]["add_kg"] - round(10 * d["remedies"][1]["add_kg"])) < 1e-9' "$book/results/balance.json"
check 'a second time it is taken again' run 1 balance --quiet "$book"
check 'byte for byte, whatever the number of threads' sh -c "cp '$book/results/balance.json' '$scratch/first.json' && '$quietaxis' balance --json --threads 1 '$book' 2>/dev/null | cmp - '$scratch/first.json'"

# ---- on the page
run 0 simulate --quiet --log sweep-south --log quiet "$small" "$scratch/page"
for log in slow fast; do
    cp "$book/logs/$log.csv.gz" "$scratch/page/logs/"
    printf '\n[log %s]\nkind = turn\nfile = logs/%s.csv.gz\npointing = middle\nsample_rate_hz = 500\n' "$log" "$log" >>"$scratch/page/axis.ini"
done
masses >>"$scratch/page/axis.ini"
check 'report has it' run 0 report "$scratch/page"
check 'verdict' grep -q 'Is the axis in balance?' "$scratch/page/results/report.html"
check 'plot' grep -q 'Torque of the drive against angle' "$scratch/page/results/report.html"
check 'and remedy' grep -q 'along its slide' "$scratch/page/results/report.html"
check 'analyse has the step' run 1 analyse --json --quiet "$scratch/page"
check 'the feedforward takes friction from it' json 'abs(d["feedforward"]["coulomb_nm"] / 4 - 1) < 0.05 and any("slow turns told" in a for a in d["feedforward"]["advice"]) and any("Out-of-balance: at" in a for a in d["feedforward"]["advice"])' "$scratch/page/results/design.json"
check 'in its list' json '"balance.json" in d["files"]'

# ---- mended as said: what the shift and the weight do, by m g x cos(angle - direction)
/usr/bin/python3 - "$book/results/balance.json" >"$scratch/mended" <<'PY'
import cmath, json, math, sys
d = json.load(open(sys.argv[1]))
phi = math.radians(31.2) # normal gravity, GRS80
g = 9.7803267715 * (1 + 0.001931851353 * math.sin(phi) ** 2) / math.sqrt(1 - 0.00669438002290 * math.sin(phi) ** 2)
turn = lambda deg: cmath.exp(1j * math.radians(deg))
pull = 5 * turn(70) + 20 * g * d["remedies"][0]["shift_mm"] / 1e3 * turn(15) + 0.4 * g * d["remedies"][1]["add_kg"] * turn(-80)
print("%.9g %.9g" % (abs(pull), math.degrees(cmath.phase(pull))))
PY
read -r left angle <"$scratch/mended"
check 'what is left lies within the interval told' json "d['remains_95_nm'][0] - 1e-9 <= $left <= d['remains_95_nm'][1]" "$book/results/balance.json"
describe "$left" "$angle" 220 >"$scratch/mended.ini"
run 0 simulate --quiet "$scratch/mended.ini" "$scratch/mended-dec"
check 'the mended axis is at rest: exit 0' run 0 balance "$scratch/mended-dec"
check 'and says so' out_has 'yes, from'
check 'without masses it says how to list them' out_has '[slide NAME]'

# ---- what tells less
sed 's/^name = declination/name = hour-angle/; /^latitude_deg/d' "$book/axis.ini" >"$scratch/nolat.ini"
cp -r "$book" "$scratch/nolat" && cp "$scratch/nolat.ini" "$scratch/nolat/axis.ini"
check 'an hour angle without latitude: numbers, no remedy' run 1 balance "$scratch/nolat"
check 'and why' out_has 'state latitude_deg in [axis]'
check 'none is told' json 'not d["worth_moving"] and not d["remedies"]' "$scratch/nolat/results/balance.json"
describe 5 70 40 >"$scratch/short.ini"
run 0 simulate --quiet "$scratch/short.ini" "$scratch/short"
"$quietaxis" balance "$scratch/short" >"$scratch/out" 2>/dev/null
check 'a short arc is said to be one' out_has 'hardly told apart'
run 0 simulate --quiet --log slow "$scratch/off.ini" "$scratch/one"
gzip -dc "$scratch/one/logs/slow.csv.gz" | awk -F, 'NR == 1 || ($1 > 3 && $1 < 105)' >"$scratch/one/logs/slow.csv"
sed -i 's/slow.csv.gz/slow.csv/' "$scratch/one/axis.ini"
"$quietaxis" balance "$scratch/one" >"$scratch/out" 2>"$scratch/err"
check 'one way only: what cannot be told is not' out_has 'not told apart'
check 'and why' out_has 'one way only'
sed '/^\[log/,$d' "$book/axis.ini" >"$scratch/none.ini"
mkdir "$scratch/none" && { cat "$scratch/none.ini"; printf '[log q]\nkind = hold\nfile = q.csv\n'; } >"$scratch/none/axis.ini"
check 'no turns: exit 3' run 3 balance "$scratch/none"
check 'says what to log' err_has 'turn the axis slowly both ways'
sed 's/^travel_mm.*/travel_mm = 5 60/' "$book/axis.ini" >"$scratch/none/axis.ini"
check 'a slide that stands outside its way: exit 3' run 3 balance "$scratch/none"
check 'is named' err_has 'travel_mm is counted from where the slide stands now'
done_testing
