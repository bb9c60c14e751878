#!/bin/sh
# The enable ladder's tones, from `design` over a log with them to `verify`: the loop that was meant, and others.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/dec
results=$book/results

# tones FROM NAME [FACTOR]: the description with a hold log of that name and the tones of rung FROM (from the end),
# each for three stays of the rung and as large as the ladder asks, times FACTOR
tones() {
    cp "$small" "$scratch/tones.ini"
    /usr/bin/python3 - "$results/design.json" "$1" "$2" "${3:-1}" >>"$scratch/tones.ini" <<'PY'
import json, sys
rung = json.load(open(sys.argv[1]))["enable"][int(sys.argv[2])]
tones = rung["probe_tones"]
print("\n[log %s]\nkind = hold\npointing = south\nduration_s = %g" % (sys.argv[3], 3 * rung["dwell_s"] * (len(tones) + 1)))
for i, t in enumerate(tones, 1):
    print("tone%d_hz = %.9g\ntone%d_nm = %.9g" % (i, t["frequency_hz"], i, float(sys.argv[4]) * t["torque_nm"]))
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

# A log of tones is no log of jitter.
cp "$book/axis.ini" "$scratch/unasked"
printf '\n[requirement]\njitter_rms_arcsec = 0.2\n' >>"$book/axis.ini"
check 'jitter is not judged by a log of tones: exit 1' run 1 verify --json --quiet "$book"
check 'and it is said' json 'any("no log of kind track or hold without a signal injected" in n for n in d["notes"]) and [(r["name"], r["met"]) for r in d["requirement"]] == [("jitter_rms_arcsec", False), ("tones", True)]'
cp "$scratch/unasked" "$book/axis.ini"

# Tones of a sixth: the interval is as wide as the bounds, and nothing is claimed.
tones -2 faint 0.16
check 'a log with faint tones' run 0 simulate --log faint --controller "$scratch/rung.ini" "$scratch/tones.ini" "$book"
check 'cannot be told, and does not count as met' run 1 verify --log faint "$book"
check 'so it says' out_has 'cannot tell at faint'
check 'and what would help' out_has 'times the tone (or'
check 'in 80 columns' fits
check 'in verify.json it is null' json '[(r["name"], r["met"], r["measured"]) for r in d["requirement"]] == [("tones", False, None)] and not any(t["verdict"] == "not as designed" for t in d["logs"][0]["tones"])' "$results/verify.json"

# A hold log that is named is foretold from the quiet log, never from itself.
cp "$small" "$scratch/still.ini"
printf '\n[log still]\nkind = hold\npointing = south\nduration_s = 20\n' >>"$scratch/still.ini"
check 'a hold log without tones' run 0 simulate --log still --controller "$scratch/rung.ini" "$scratch/still.ini" "$book"
check 'named' run 0 verify --log still "$book"
check 'it is foretold from the quiet log' json '[o["value"].split()[0] for o in d["options"] if o["name"] == "quiet log gains"] == ["axis.ini"] and d["logs"][0]["predicted_rms_arcsec"] > 0' "$results/verify.json"
check 'no tones are in its file' json '"tones" not in d["logs"][0] and d["requirement"] == []' "$results/verify.json"

# differs NAME SED WHAT [FACTOR]: what the drive runs differs from what the logbook says it runs.
differs() {
    tones -2 "$1" "${4:-1}"
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
differs twice "$(scaled kp_nm_per_rad 2)$(scaled ki_nm_per_rad_s 2)$(scaled kd_nm_s_per_rad 2)" 'twice the gains'
check 'the name of the log is there' json '[r["where"] for r in d["requirement"]] == ["twice"]' "$results/verify.json"
differs slow "$(scaled kd_nm_s_per_rad 0.4)" 'too little derivative, as of a slip of units'
# A filter that changes |S| by less than the bounds allow for is found with a larger tone only.
differs filter '/^derivative_filter_hz/d' 'a filter left off, with three times the tones' 3
done_testing
