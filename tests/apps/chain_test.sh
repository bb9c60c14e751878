#!/bin/sh
# The whole chain on a small simulated axis: every command, its answer, files, reuse, exit codes.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/dec
results=$book/results

# ---- simulate
check 'simulate writes a logbook' run 0 simulate --log sweep-south --log sweep-north --log quiet "$small" "$book"
check 'its table fits 80 columns' fits
check 'axis.ini names the logs' grep -q '^\[log sweep-north\]' "$book/axis.ini"
check 'logs are compressed tables with header' sh -c "gzip -dc '$book/logs/quiet.csv.gz' | head -n 1 | grep -qx time_s,excitation_nm,torque_nm,position_arcsec,target_arcsec"
check 'the truth stands aside' json 'd["pointings"][1]["plant"]["modes"][0]["frequency_hz"] == 22 * 1.02 and len(d["logs"]) == 3' "$book/truth.json"
check 'counts of the encoder survive' sh -c "gzip -dc '$book/logs/quiet.csv.gz' | awk -F, 'NR > 1 { n = \$4 / (1296000 / 67108864); d = n - int(n + (n < 0 ? -0.5 : 0.5)); if (d > 1e-3 || d < -1e-3) bad = 1 } END { exit bad }'"
check 'a log that is there already is refused' run 2 simulate --log quiet "$small" "$book"
check 'and named with its line in axis.ini' err_has 'axis.ini:'
run 0 simulate --log quiet --seed 8 "$small" "$scratch/other"
run 0 simulate --log quiet --threads 2 "$small" "$scratch/same"
check 'another seed gives another log' sh -c "! cmp -s '$book/logs/quiet.csv.gz' '$scratch/other/logs/quiet.csv.gz'"
check 'the same seed gives the same log, whatever is made with it' cmp "$book/logs/quiet.csv.gz" "$scratch/same/logs/quiet.csv.gz"

# ---- inspect
check 'inspect finds the logs fit' run 0 inspect "$book"
check 'and its table fits' fits
check 'it writes inspect.json' json 'len(d["logs"]) == 3 and d["logs"][0]["rows"] == 25000 and d["logs"][0]["channels"]["position"] and not d["logs"][0]["channels"]["sky"]' "$results/inspect.json"
check 'the error of the hold log is told' json 'd["logs"][2]["error_rms_arcsec"] > 1 and d["logs"][0]["error_rms_arcsec"] is None' "$results/inspect.json"

# ---- identify
check 'identify finds the plant' run 0 identify "$book"
check 'and its table fits' fits
check 'signs and scales assumed are told' out_has 'positive torque raises the position'
check 'modes stand within 5 sigma of the truth' json 'all(abs(m["frequency_hz"]["value"] - f) < 5 * m["frequency_hz"]["std"] for p, fs in zip(d["pointings"], [[22, 61], [22.44, 61]]) for m, f in zip(p["plant"]["modes"], fs))' "$results/identify.json"
check 'covariance is whole and symmetric' json 'all(len(p["plant"]["covariance"]) == len(p["plant"]["parameter_order"]) and all(abs(r[j] - p["plant"]["covariance"][j][i]) <= 1e-12 * abs(r[j]) + 1e-300 for i, r in enumerate(p["plant"]["covariance"]) for j in range(len(r))) for p in d["pointings"])' "$results/identify.json"
check 'the response lies beside it' sh -c "head -n 1 '$results/frf-south.csv' | grep -qx frequency_hz,real_rad_per_nm,imag_rad_per_nm,std_rad_per_nm,dof,coherence"
check 'and the one estimated with the model' sh -c "head -n 1 '$results/assisted-south.csv' | grep -qx frequency_hz,real_rad_per_nm,imag_rad_per_nm,std_rad_per_nm,dof,coherence && grep -q assisted-south.csv '$results/identify.json'"
check 'modes are followed over the pointings' json '[(t["found"], [p["finding"] for p in t["points"]]) for t in d["tracks"]] == [(2, ["found", "found"])] * 2 and all(p["frequency_hz"] == d["pointings"][i]["plant"]["modes"][k]["frequency_hz"] for k, t in enumerate(d["tracks"]) for i, p in enumerate(t["points"]))' "$results/identify.json"
check 'two pointings check no law' json 'd["interpolation"]["verdict"] == "unchecked"' "$results/identify.json"
check 'the table of modes is printed' out_has 'Modes over pointings'
check 'a second time it is taken again, and said so' run 0 identify "$book"
check 'in words' err_has 'identify.json is fresh and taken again'
check 'quiet is quiet' run 0 identify --quiet "$book"
check 'not a word' err_empty
check 'json alone on standard output' run 0 identify --json "$book"
check 'and nothing else' is_json
check 'it is the file' cmp "$scratch/out" "$results/identify.json"
check 'one pointing alone' run 0 identify --pointing south --out "$scratch/south" --json "$book"
check 'is one' json '[p["name"] for p in d["pointings"]] == ["south"]'

# The gains of design.json judged again by evaluate.json, to rounding.
margins_agree() {
    /usr/bin/python3 - "$scratch/design.json" "$scratch/evaluate.json" <<'PY'
import json, sys
d, e = (json.load(open(name)) for name in sys.argv[1:])
calm = [c for c in d["controllers"] if c["name"] == "calm"][0]
given = [c for c in e["controllers"] if c["name"] == "given"][0]
keys = ("phase_margin_deg", "gain_margin_db", "peak_sensitivity")
same = all(abs(a[k]["value"] - b[k]["value"]) < 1e-9 for a, b in zip(calm["margins"], given["margins"]) for k in keys)
sys.exit(not (same and e["recommended"] == "given" and not e["biquads_buy"]))
PY
}

# ---- design
sed 's/^max_biquads.*/&\nrate_limit_deg_per_s = 4/' "$book/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$book/axis.ini"
mkdir -p "$results" && : >"$results/enable-14.ini" && : >"$results/enable-01.ini"
check 'design meets the requirement' run 0 design "$book"
check 'rungs of an earlier, longer ladder are gone' sh -c "[ ! -e '$results/enable-14.ini' ] && grep -q kp_nm_per_rad '$results/enable-01.ini'"
check 'and its table fits' fits
check 'cautions are printed' out_has 'Nothing was written to a drive'
check 'and with --quiet too' run 0 design --quiet "$book"
check 'on standard output' out_has 'Nothing was written to a drive'
check 'present gains first, then proposals, all margins bounded' json '[c["name"] for c in d["controllers"] if not c["between"]] == ["present", "calm", "middle", "bold"] and all(m["phase_margin_deg"]["lower_95"] <= m["phase_margin_deg"]["value"] and m["peak_sensitivity"]["upper_95"] >= m["peak_sensitivity"]["value"] and len(c["margins"]) == 2 for c in d["controllers"] for m in c["margins"])' "$results/design.json"
check 'calm is recommended, less torque the less is dared' json 'd["recommended"] == "calm" and [c["noise_torque_rms_nm"] for c in d["controllers"] if not c["present"]] == sorted(c["noise_torque_rms_nm"] for c in d["controllers"] if not c["present"])' "$results/design.json"
check 'the way up ends at the recommended gains, each rung a file' json 'd["enable"][-1]["gain_db"] == 0 and d["enable"][-1]["kp_nm_per_rad"] == [c for c in d["controllers"] if c["name"] == "calm"][0]["kp_nm_per_rad"] and all(b["gain_db"] - a["gain_db"] <= 3.001 for a, b in zip(d["enable"], d["enable"][1:]))' "$results/design.json"
check 'with cautions, and what to expect' sh -c "grep -q '^; .*emergency stop' '$results/enable-01.ini' && grep -q '^; .*Back to the rung below' '$results/enable-01.ini' && grep -q '^kp_nm_per_rad' '$results/enable-01.ini'"
# (where half the loop rate, 500 Hz, is a crossing, it is one whatever the plant)
check 'every crossing is listed, the worst of a kind is the margin' json 'all(abs(min(abs(x[k]["value"]) for x in m["crossings"] if k in x and x[k]["value"] > 0 or k == "phase_margin_deg" and k in x) - m[k]["value"]) < 1e-9 for c in d["controllers"] for m in c["margins"] for k in ("phase_margin_deg", "gain_margin_db")) and all((x["frequency_hz"]["std"] > 0 or x["frequency_hz"]["value"] == 500) and x["margin_of"] == ("gain" if "gain_margin_db" in x else "phase") for c in d["controllers"] for m in c["margins"] for x in m["crossings"])' "$results/design.json"
check 'above the band of each pointing a harmless mode is told' json '[(b["pointing"], b["stable"], b["harmless_mode_gain"] > 0, b["largest_loop_gain"] < b["loop_gain_limit"]) for b in d["beyond_band"]] == [("south", True, True, True), ("north", True, True, True)] and any("would be harmless at" in n for n in d["notes"]) and d["bound"] == []' "$results/design.json"
check 'tried at every pointing: at rest after all, as quiet as foretold (statistical, 20 %)' json '[t["pointing"] for t in d["trial"]] == ["south", "north"] and all(t[k]["settled"] and t[k]["settling_s"] <= t[k]["given_s"] and not t[k]["ran_away"] for t in d["trial"] for k in ("after_offset", "after_push", "after_large_offset")) and all(abs(t["encoder_rms_arcsec"] / t["expected_rms_arcsec"] - 1) < 0.2 and t["expected_interval_95_arcsec"][0] < t["expected_rms_arcsec"] < t["expected_interval_95_arcsec"][1] for t in d["trial"])' "$results/design.json"
check 'a large offset takes all the torque of the drive, and no more' json 'all(t["after_large_offset"]["saturated_s"] > 0 and t["after_large_offset"]["peak_torque_nm"] == 60 > t["after_offset"]["peak_torque_nm"] for t in d["trial"])' "$results/design.json"
check 'what would help is ranked: as told by the slope, or designed anew' json 'len(d["limits_ranked"]) > 10 and [l["gain"] for l in d["limits_ranked"] if l["designed_anew"] and l["reached"]] == sorted((l["gain"] for l in d["limits_ranked"] if l["designed_anew"] and l["reached"]), reverse=True) and 0 < sum(l["designed_anew"] for l in d["limits_ranked"]) <= 8 and all(abs(l["after_rms_arcsec"] / l["before_rms_arcsec"] - (l["to"] / l["from"]) ** l["slope"]) < 1e-9 for l in d["limits_ranked"] if not l["designed_anew"] and l["reached"])' "$results/design.json"
check 'the ranking starts from the bold gains and their limits' json 'd["limits_ranked_of"] == "bold" and len(d["limits_ranked"]) > 0 and all(0.9 < l["before_rms_arcsec"] / [c["sky_rms_arcsec"] for c in d["controllers"] if c["name"] == "bold"][0] < 1.01 for l in d["limits_ranked"])' "$results/design.json"
check 'half the wind leaves less jitter, but not less than half' json '[0 < l["gain"] < 0.5 for l in d["limits_ranked"] if l["kind"] == "wind" and abs(l["to"] / l["from"] - 0.5) < 1e-12] == [True]' "$results/design.json"
check 'feedforward is the axis as it is (model, 1 %)' json 'abs(d["feedforward"]["inertia_kg_m2"]["value"] / 100 - 1) < 0.01 and d["feedforward"]["advice"]' "$results/design.json"
check 'moves leave the torque their reserve, and ramp as long as the payload swings' json 'd["feedforward"]["has_moves"] and abs(d["feedforward"]["torque_nm"] / (0.7 * 20) - 1) < 1e-9 and abs(d["feedforward"]["jerk_time_s"] * d["feedforward"]["locked_rotor_hz"] - 1) < 0.02 and abs(d["feedforward"]["acceleration_deg_per_s2"] / d["feedforward"]["jerk_time_s"] / d["feedforward"]["jerk_deg_per_s3"] - 1) < 1e-9 and d["feedforward"]["ringing_arcsec"] < 0.2 * d["feedforward"]["step_ringing_arcsec"]' "$results/design.json"
check 'the least jitter where it is asked for' run 0 design --bold --out "$scratch/bold" --json --quiet "$book"
check 'is recommended' json 'd["recommended"] == "bold" and d["goal"] == "bold"'
check 'gains from outside are judged' run 0 design --evaluate "$results/controller.ini" --json --quiet "$book"
cp "$results/evaluate.json" "$results/design.json" "$scratch"
check 'the jitter 95 % of logs stay below is told' json '1 < d["controllers"][-1]["jitter_upper_95_arcsec"] / d["controllers"][-1]["jitter_rms_arcsec"] < 1.5' "$results/evaluate.json"
cp "$book/axis.ini" "$scratch/kept.ini"
sed -i "s/^jitter_rms_arcsec.*/jitter_rms_arcsec = $(/usr/bin/python3 -c 'import json, sys; c = json.load(open(sys.argv[1]))["controllers"][-1]; print(0.5 * (c["jitter_rms_arcsec"] + c["jitter_upper_95_arcsec"]))' "$results/evaluate.json")/" "$book/axis.ini"
check 'a limit within it is met' run 0 design --evaluate "$results/controller.ini" --out "$scratch/near" "$book"
check 'but not for every log' out_has 'some will not'
cp "$scratch/kept.ini" "$book/axis.ini"
check 'and set beside the least of any controller' run 0 design --bound --evaluate "$results/controller.ini" --out "$scratch/bound" "$book"
check 'in 80 columns' fits
check 'in words' out_has 'linear controller of the encoder does better'
check 'no gains are below it' json '[(b["pointing"], b["controller"]) for b in d["bound"]] == [("south", "given"), ("north", "given")] and all(b["ratio"] > 1 - b["spread"] and b["spread"] < 0.05 and abs(b["ratio"] * b["least_rms_arcsec"] / b["rms_arcsec"] - 1) < 1e-9 for b in d["bound"])' "$scratch/bound/evaluate.json"
check 'as the very same were' margins_agree
sed 's/^kp_nm_per_rad.*/kp_nm_per_rad = 1e9/' "$results/controller.ini" >"$scratch/wild.ini"
check 'gains that hold nothing: exit 1' run 1 design --evaluate "$scratch/wild.ini" --out "$scratch/wild" "$book"
check 'run away on the simulated axis, and it says after what' json 'any("runs away after an offset" in l for l in d["limits"])' "$scratch/wild/evaluate.json"
check 'which is a judgement of its own' json '[r["met"] for r in d["requirement"] if r["name"] == "settles"] == [False]' "$scratch/wild/evaluate.json"
check 'and leave the design alone' run 0 design --json "$book"
check 'which is fresh' err_has 'design.json is fresh'
check 'limits and requirement are judged' json 'd["limits"] and all(r["met"] for r in d["requirement"])' "$results/design.json"
check 'the recommended gains are a file with cautions and signs' sh -c "grep -q '^; .*emergency stop' '$results/controller.ini' && grep -q '^; .*ositive torque raises' '$results/controller.ini' && grep -q '^kp_nm_per_rad' '$results/controller.ini'"
check 'loops are tables' sh -c "head -n 1 '$results/loop-north.csv' | grep -qx frequency_hz,loop_real,loop_imag,sensitivity,complementary_sensitivity"

# ---- predict
check 'predict' run 0 predict "$book"
check 'and its table fits' fits
check 'names its gains' out_has 'results/controller.ini'
check 'design told the same of the line of sight, twist and all' json 'abs([c["line_of_sight_rms_arcsec"] for c in __import__("json").load(open("'"$results"'/design.json"))["controllers"] if c["name"] == "calm"][0] / max(p["sky_rms_arcsec"] for p in d["pointings"]) - 1) < 1e-9' "$results/predict.json"
check 'sources make the true figure in quadrature' json 'abs(sum(s["rms_arcsec"] ** 2 for s in d["sources"]) ** 0.5 / d["true_rms_arcsec"]["value"] - 1) < 0.01' "$results/predict.json"
check 'the spectrum lies beside it' sh -c "head -n 1 '$results/jitter.csv' | grep -qx frequency_hz,measured_psd_arcsec2_per_hz,true_psd_arcsec2_per_hz,measured_cumulative_arcsec,true_cumulative_arcsec"
sed -n '/^\[controller\]/,/^$/p' "$book/axis.ini" >"$scratch/soft.ini"
check 'soft gains miss the requirement: exit 1' run 1 predict --controller "$scratch/soft.ini" "$book"
check 'and it says so' out_has 'missed'

# ---- verify
check 'verify without a log to judge is unusable data' run 3 verify "$book"
run 0 simulate --log tracking --controller "$results/controller.ini" "$small" "$book"
check 'a log added to a logbook names the gains it ran under' grep -qx 'controller = controllers/tracking.ini' "$book/axis.ini"
check 'which are copied' cmp "$results/controller.ini" "$book/controllers/tracking.ini"
check 'verify' run 0 verify "$book"
check 'adding the log left the identification fresh' err_has 'identify.json is fresh'
check 'and its table fits' fits
check 'measured within 20 % of foretold (statistical, 30 s)' json 'abs(d["logs"][0]["measured_rms_arcsec"] / d["logs"][0]["predicted_rms_arcsec"] - 1) < 0.2' "$results/verify.json"
check 'and equal to the truth of the simulation' sh -c "/usr/bin/python3 -c '
import json, sys
t = json.load(open(sys.argv[1])); v = json.load(open(sys.argv[2]))
a = t[\"logs\"][3][\"measured_rms_arcsec\"]; b = v[\"logs\"][0][\"measured_rms_arcsec\"]
sys.exit(abs(a / b - 1) > 1e-4)' '$book/truth.json' '$results/verify.json'"

# ---- analyse
if command -v gnuplot >/dev/null; then
    check 'analyse does it all' run 0 analyse "$book"
    check 'step by step' sh -c "[ \$(grep -c '^== ' '$scratch/out') -eq 6 ]"
    check 'within 80 columns' fits
    check 'and ends with the report' [ -s "$results/report.html" ]
    check 'analyse as JSON' run 0 analyse --json --quiet "$book"
    check 'is one JSON object, naming the files' json 'd["files"][-1] == "report.html" and "verify.json" in d["files"]'
else
    pass 'analyse # SKIP gnuplot is not installed'
fi
check 'no absolute path and no date in any result' sh -c "! grep -l -e \"$scratch\" -e '\"/' -e '20[0-9][0-9]-[0-9][0-9]-[0-9][0-9]' '$results'/*.json"

# ---- what the verdict does not say of itself
cp "$book/axis.ini" "$scratch/kept.ini"
run 0 predict --json --quiet "$book"
limit=$(/usr/bin/python3 -c 'import json, sys
worst = json.load(open(sys.argv[1]))["pointings"]
e = max(p["measured_rms_arcsec"]["value"] for p in worst); s = max(p["sky_rms_arcsec"] for p in worst)
print((e + s) / 2 if s > e else "the sky moves less")' "$scratch/out")
sed "s/^jitter_rms_arcsec.*/jitter_rms_arcsec = $limit/" "$scratch/kept.ini" >"$book/axis.ini"
check 'a limit between encoder and sky is met' run 0 predict --quiet "$book"
check 'at the encoder' out_has 'met at the encoder;'
check 'and what the line of sight does is said' out_has 'more than the limit'
check 'within 80 columns' fits
sed '/^\[requirement\]/,/^$/d' "$scratch/kept.ini" >"$book/axis.ini"
check 'without a requirement the answer is yes' run 0 predict --quiet "$book"
check 'but said to be no judgement' out_has 'no requirement stated: nothing was judged'
check 'design judges the noise torque by its default' run 0 design --quiet --out "$scratch/unasked" "$book"
check 'and says that nothing else was' out_has 'nothing else was judged'
cp "$scratch/kept.ini" "$book/axis.ini"

# ---- requirement out of reach
sed 's/^jitter_rms_arcsec.*/jitter_rms_arcsec = 0.001/' "$book/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$book/axis.ini"
check 'a requirement out of reach: exit 4, no gains' run 4 design "$book"
check 'says what stands in the way, and what is reached' err_has 'is out of reach: the least found is'
check 'and that the gains among the answers are older' err_has 'controller.ini among the answers is of an earlier design'
check 'the nearest where it is asked for: exit 1' run 1 design --bold "$book"
check 'says what is missed' out_has 'Missed: jitter_rms_arcsec'
check 'verify says no too' run 1 verify "$book"
sed 's/^peak_sensitivity.*/noise_torque_rms_nm = 1e-9/' "$book/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$book/axis.ini"
check 'constraints nothing can meet: exit 4' run 4 design "$book"
check 'one sentence says what is in the way' err_has 'noise torque'
check 'nothing on standard output' out_empty
done_testing
