#!/bin/sh
# The enable ladder's tones, from `design` over a log with them to `verify`: the loop that was meant, and others.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/dec
results=$book/results

# tones FROM NAME: the description with a hold log of that name and the tones of rung FROM (from the end), each
# twice as large as the ladder asks: the log is shorter than its stay
tones() {
    cp "$small" "$scratch/tones.ini"
    /usr/bin/python3 - "$results/design.json" "$1" "$2" >>"$scratch/tones.ini" <<'PY'
import json, sys
rung = json.load(open(sys.argv[1]))["enable"][int(sys.argv[2])]
tones = rung["probe_tones"]
print("\n[log %s]\nkind = hold\npointing = south\nduration_s = %g" % (sys.argv[3], 20 * (len(tones) + 1)))
for i, t in enumerate(tones, 1):
    print("tone%d_hz = %.9g\ntone%d_nm = %.9g" % (i, t["frequency_hz"], i, 2 * t["torque_nm"]))
PY
}

run 0 simulate --log sweep-south --log sweep-north --log quiet "$small" "$book"
check 'gains and ladder' run 0 design --json --quiet "$book"
rung=$(/usr/bin/python3 -c 'import json, sys; d = json.load(open(sys.argv[1])); r = d["enable"][-2]; print(r["file"] if isinstance(r["file"], str) else r["file"]["name"])' "$results/design.json")
cp "$results/$rung" "$scratch/rung.ini"

tones -2 meant
check 'a log of that rung with its tones' run 0 simulate --log meant --controller "$scratch/rung.ini" "$scratch/tones.ini" "$book"
check 'adding it leaves the design fresh' run 0 design --quiet "$book"
check 'in words' sh -c "'$quietaxis' design '$book' 2>&1 >/dev/null | grep -q 'design.json is fresh'"
sed '/^\[requirement\]/,/^$/d' "$book/axis.ini" >"$scratch/ini" && cp "$scratch/ini" "$book/axis.ini"
check 'verify: the loop is the one that was meant' run 0 verify "$book"
check 'at every tone' out_has 'as designed'
check 'its rms is not judged' out_has 'is of the tones'
check 'in 80 columns' fits
check 'as verify.json says' json 'len(d["logs"]) == 1 and len(d["logs"][0]["tones"]) >= 2 and all(t["verdict"] == "as designed" and t["bounds"][0] < t["expected"][0] <= t["expected"][1] < t["bounds"][1] for t in d["logs"][0]["tones"]) and d["logs"][0]["measured_rms_arcsec"] is None' "$results/verify.json"
check 'frequencies are those injected' json '[round(t["frequency_hz"], 2) for t in d["logs"][0]["tones"]] == [round(t["frequency_hz"], 2) for t in __import__("json").load(open("'"$results"'/design.json"))["enable"][-2]["probe_tones"]]' "$results/verify.json"
check 'it is a judgement of its own' json '[(r["name"], r["met"]) for r in d["requirement"]] == [("tones", True)]' "$results/verify.json"
check 'the quiet log stays the one under the gains of the logbook' run 0 predict --json --quiet "$book"
check 'by name' json 'd["disturbance"]["log"] == "quiet"'
check 'also where the log is named' run 0 verify --log meant "$book"

# What the drive runs differs from what the logbook says it runs.
differs() {
    tones -2 "$1"
    sed "$2" "$scratch/rung.ini" >"$scratch/wrong.ini"
    check "$3" run 0 simulate --log "$1" --controller "$scratch/wrong.ini" "$scratch/tones.ini" "$book"
    cp "$scratch/rung.ini" "$book/controllers/$1.ini"
    check 'is named: exit 1' run 1 verify --log "$1" "$book"
    check 'not as designed' out_has 'not as designed'
    check 'with what to do' out_has 'Go back a rung, or disable'
}
# scaled KEY K: a sed command that multiplies one gain
scaled() { awk -v key="$1" -v k="$2" '$1 == key { printf "s/^%s.*/%s = %.12g/;", key, key, k * $3 }' "$scratch/rung.ini"; }
differs half "$(scaled kp_nm_per_rad 0.5)$(scaled ki_nm_per_rad_s 0.5)$(scaled kd_nm_s_per_rad 0.5)" 'half the gains, as of a wrong torque constant'
check 'a judgement says by how much' json '[(r["name"], r["met"], r["measured"] > 1) for r in d["requirement"]] == [("tones", False, True)]' "$results/verify.json"
differs slow "$(scaled kd_nm_s_per_rad 0.4)" 'too little derivative, as of a slip of units'
done_testing
