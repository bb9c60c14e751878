#!/bin/sh
# Tables of frequency responses among the logs: inspect judges them, identify takes them in the place of
# sweeps or holds them against these; whole jobs on tables alone.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/book
run 0 simulate --quiet --log sweep-south "$small" "$book" || { echo 'Bail out! no logbook'; exit 1; }
check 'a response to read back' run 0 identify --quiet "$book"
cp "$book/results/frf-south.csv" "$book/logs/own.csv"
cat >"$book/logs/loop.csv" <<'EOF'
Analyser;Z 4
frequency_hz;gain_db;phase_deg
1,5;20;-170
10;0,1;-135
100;-30;-200
EOF
printf 'frequency_hz,real_rad_per_nm,imag_rad_per_nm,coherence\n1,1e-6,0,0.5\n2,1e-6,-1e-8,0.6\n' >"$book/logs/spring.csv"
printf 'frequency_hz,real,imag\n1,1,2\n3,1,2\n2,1,2\n' >"$book/logs/bad.csv"
cp "$book/axis.ini" "$scratch/axis.ini"
section() { printf '\n[log %s]\nkind = response\nfile = logs/%s.csv\npointing = %s\n%s\n' "$1" "$1" "$2" "$3"; }
{ cat "$scratch/axis.ini"; section own south ''; section loop south 'of = loop'; section spring north ''; } >"$book/axis.ini"

check 'inspect takes them, and finds two too short' run 1 inspect "$book"
check 'as they are' out_has 'too-short: the table has 3 points only, at least 16 are needed'
check 'our own table' out_has 'response of the plant, 1'
check 'and a loop' out_has 'response of the open loop, 1.5 to 100 Hz'
check 'a coherence that is low' out_has 'coherence-low: the median coherence of the table is only 0.600'
check 'a sign that is doubtful' out_has 'torque-sign: over the lowest octave'
check 'within 80 columns' fits
check 'as JSON' run 1 inspect --json --quiet "$book"
check 'kind, rows, band and of what' json \
    '[(l["kind"], l["rows"], l["of"], l["band_hz"], l["verdict"]) for l in d["logs"][2:]] == [("response", 3, "loop", [1.5, 100], "unfit"), ("response", 2, "plant", [1, 2], "unfit")]'
check 'our own is fit' json 'd["logs"][1]["verdict"] == "fit" and d["logs"][1]["rows"] == len(open("'"$book"'/logs/own.csv").readlines()) - 1'
check 'no record has a band' json '"band_hz" not in d["logs"][0]'
check 'their rows stand among the inputs' json '[i["rows"] for i in d["inputs"]][-2:] == [3, 2]'
cp "$book/results/inspect.json" "$scratch/first.json"
check 'again: the earlier answer' run 1 inspect "$book"
check 'is taken' cmp -s "$scratch/first.json" "$book/results/inspect.json"
sed 's/^of = loop//' "$book/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$book/axis.ini"
check 'another meaning' run 1 inspect "$book"
check 'is another answer' out_has 'response of the plant, 1.5 to 100 Hz'

section bad south '' >>"$book/axis.ini"
check 'a bad table is unfit: exit 1' run 1 inspect "$book"
check 'with its place' out_has 'unreadable: line 4, column 1'

# ---- beside sweeps -------------------------------------------------------------------------------
cp "$scratch/axis.ini" "$book/axis.ini"
rm -rf "$book/results"
section own south '' >>"$book/axis.ini"
check 'identify with a table beside its sweep' run 0 identify "$book"
check 'the sweep wins' out_has 'the plant of south comes from other logs'
check 'and agrees with its own response' out_has 'as chance may'
check 'margins of the measured loop' out_has 'loop as measured, with the gains stated'
check 'with the caution' out_has 'table alone cannot show'
check 'within 80 columns' fits
check 'as JSON' run 0 identify --json --quiet "$book"
check 'estimator, deviation, margins' json \
    'd["pointings"][0]["frf"]["estimator"] == "indirect" and d["tables"][0]["fitted"] is False and 0 < d["tables"][0]["largest_deviation_std"] < 5 and d["tables"][0]["deviates"] is False and 50 < d["tables"][0]["loop_margins"]["phase_margin_deg"]["value"] < 70'
check 'crossings rise' json \
    '[c["frequency_hz"]["value"] for c in d["tables"][0]["loop_margins"]["crossings"]] == sorted(c["frequency_hz"]["value"] for c in d["tables"][0]["loop_margins"]["crossings"])'
awk -F, 'BEGIN { OFS = "," } NR > 1 { $2 *= 1.2; $3 *= 1.2 } { print }' "$book/logs/own.csv" >"$scratch/own" && cp "$scratch/own" "$book/logs/own.csv"
check 'a table of another axis' run 0 identify "$book"
check 'is told' out_has 'more than chance'
cp "$book/results/frf-south.csv" "$book/logs/own.csv"
section bad south '' >>"$book/axis.ini"
check 'a table that cannot be read beside a sweep' run 0 identify "$book"
check 'is left out and told' out_has 'Log bad is of no further use'

# one point of coherence 0 in the middle, one at the lower end: left out, and said
awk -F, 'BEGIN { OFS = "," } NR == 2 || NR == 40 { $NF = 0 } NR > 1 { $4 = "" } { print $1, $2, $3, $NF }' "$book/results/frf-south.csv" >"$book/logs/own.csv"
check 'points without coherence' run 0 identify "$book"
check 'are left out, and said' out_has 'margins rest on'
check 'with the gap' out_has 'may hide'
check 'within 80 columns' fits
check 'as JSON' run 0 identify --json --quiet "$book"
check 'the margins are there, one gap inside, the band one point shorter' json \
    'd["tables"][0]["points"] - d["tables"][0]["loop_margins"]["points"] == 2 and d["tables"][0]["loop_margins"]["gaps"] == 1 and d["tables"][0]["loop_margins"]["band_hz"][0] > d["tables"][0]["band_hz"][0] and d["tables"][0]["loop_margins"]["band_hz"][1] == d["tables"][0]["band_hz"][1] and 50 < d["tables"][0]["loop_margins"]["phase_margin_deg"]["value"] < 70'
cp "$book/results/frf-south.csv" "$book/logs/own.csv"

# ---- simulated -----------------------------------------------------------------------------------
{ sed '/^\[log/,$d' "$small"; cat <<'EOF'
[log plant]
kind = response
pointing = south
sweep_from_hz = 1
sweep_to_hz = 200
[log loop]
kind = response
of = loop
pointing = north
sweep_from_hz = 0.5
sweep_to_hz = 300
points = 400
response_noise = 0.003
response_std = none
[log averaged]
kind = response
pointing = north
sweep_from_hz = 1
sweep_to_hz = 200
response_std = coherence
EOF
} >"$scratch/tables.ini"
check 'simulate writes tables' run 0 simulate "$scratch/tables.ini" "$scratch/tables"
check 'and tells their kind' out_has 'response'
check 'inspect takes them' run 0 inspect "$scratch/tables"
check 'identify, too' run 0 identify "$scratch/tables"
check 'measured beside modelled' out_has 'fitted model'
check 'within 80 columns' fits
check 'as JSON' run 0 identify --json --quiet "$scratch/tables"
check 'where the std comes from' json \
    '[(t["of"], t["std_from"], t["fitted"]) for t in d["tables"]] == [("plant", "std", True), ("loop", "scatter", False), ("plant", "coherence", True)]'
check 'resonances within 4 std of the description' json \
    'all(abs(m["frequency_hz"]["value"] - f) < 4 * m["frequency_hz"]["std"] for p, want in zip(d["pointings"], [(22, 61), (22.44, 61)]) for m, f in zip(p["plant"]["modes"], want))'
check 'margins measured and modelled agree within 4 std' json \
    'all(abs(t["loop_margins"][k]["value"] - t["model_margins"][k]) < 4 * t["loop_margins"][k]["std"] for t in d["tables"] for k in ("phase_margin_deg", "gain_margin_db", "delay_margin_s", "peak_sensitivity"))'
check 'the reduction margin lies below the band of the first' json \
    'd["tables"][0]["loop_margins"]["gain_reduction_margin_db"]["value"] is None and abs(d["tables"][1]["loop_margins"]["gain_reduction_margin_db"]["value"] - d["tables"][1]["model_margins"]["gain_reduction_margin_db"]) < 0.2'
sed 's/^sweep_to_hz = 300/sweep_to_hz = 600/' "$scratch/tables.ini" >"$scratch/faulty.ini"
check 'above half the rate: exit 3' run 3 simulate "$scratch/faulty.ini" "$scratch/faulty"
check 'says so' err_has 'below half the loop rate'
sed 's/^points = 400/duration_s = 4/' "$scratch/tables.ini" >"$scratch/faulty.ini"
check 'a key of another kind: exit 3' run 3 simulate "$scratch/faulty.ini" "$scratch/faulty"
check 'is named' err_has 'duration_s'

# ---- tables alone --------------------------------------------------------------------------------
alone=$scratch/alone
mkdir -p "$alone/logs"
cp "$book/logs/own.csv" "$alone/logs"
sed '/^\[log/,$d' "$scratch/axis.ini" >"$scratch/head"
{ cat "$scratch/head"; section own south ''; } >"$alone/axis.ini"
check 'a logbook of one table' run 0 identify "$alone"
check 'tells where the response comes from' out_has 'table of responses'
check 'and what a table does not tell' out_has 'Tables tell neither the noise'
check 'as JSON' run 0 identify --json --quiet "$alone"
check 'the plant of the description: J 100, 22 and 61 Hz' json \
    'd["pointings"][0]["frf"]["estimator"] == "table" and abs(d["pointings"][0]["plant"]["inertia_kg_m2"]["value"] - 100) < 1 and [round(m["frequency_hz"]["value"]) for m in d["pointings"][0]["plant"]["modes"]] == [22, 61]'
check 'what it does not tell is null' json 'd["pointings"][0]["frf"]["sensor_noise_arcsec"] is None and d["pointings"][0]["frf"]["torque_rms_nm"] is None'
cp "$alone/results/identify.json" "$scratch/first.json"
check 'again: the earlier answer' run 0 identify "$alone"
check 'is taken' cmp -s "$scratch/first.json" "$alone/results/identify.json"
check 'a design' run 0 design "$alone"
check 'a prediction' run 0 predict "$alone"
check 'all of it' run 0 analyse "$alone"
check 'with a report' test -s "$alone/results/report.html"
sed -i '/^torque_/d' "$alone/axis.ini"
check 'no quiet log, no torque rating: exit 3' run 3 design "$alone"
check 'says what is missing' err_has 'take a quiet log (kind = hold)'

# ---- the loop's ----------------------------------------------------------------------------------
# the same response times the gains of small.ini, in dB and degrees, without a std
python3 - "$alone" <<'EOF'
import cmath, csv, math, sys
T = 1e-3
a = 1 - math.exp(-2 * math.pi * 60 * T)
def c(f):
    q = 1 - cmath.exp(-2j * math.pi * f * T)
    return 1.6e4 + 3e4 * T / q + 1.8e3 * a * q / T / (1 - (1 - a) * (1 - q))
rows = [(float(r["frequency_hz"]), float(r["real_rad_per_nm"]) + 1j * float(r["imag_rad_per_nm"]))
        for r in csv.DictReader(open(sys.argv[1] + "/logs/own.csv"))]
def write(name, points, size=lambda x: 20 * math.log10(x)):
    with open(f"{sys.argv[1]}/logs/{name}.csv", "w") as out:
        out.write("frequency_hz,gain_db,phase_deg\n")
        for f, g in points:
            out.write(f"{f:.6f},{size(abs(g)):.6g},{math.degrees(cmath.phase(g)):.5f}\n")
write("loop", [(f, g * c(f)) for f, g in rows])
write("plain", rows)
write("mirrored", [(f, g.conjugate()) for f, g in rows])
write("swirled", [(f, g * (cmath.exp(3j * math.sin(f / 3)) if f > 8 else 1)) for f, g in rows])
write("turned", [(f, (g * c(f)).conjugate()) for f, g in rows])
write("linear", rows, lambda x: x)
write("reversed", [(f, -g) for f, g in rows])
EOF
{ cat "$scratch/head"; section loop south 'of = loop'; } >"$alone/axis.ini"
check 'the open loop, gains known' run 0 identify --json --quiet "$alone"
check 'gives the plant' json \
    'abs(d["pointings"][0]["plant"]["inertia_kg_m2"]["value"] - 100) < 1 and d["tables"][0]["of"] == "loop" and d["tables"][0]["std_from"] == "scatter"'
sed '/^\[controller\]/,/^$/d' "$alone/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$alone/axis.ini"
check 'the open loop, gains not known' run 0 identify "$alone"
check 'gives margins only' out_has 'only its margins'
check 'here they are' out_has 'phase margin'
check 'and no design: exit 3' run 3 design "$alone"
check 'which says why' err_has 'no plant is known'

# ---- tables that cannot be -----------------------------------------------------------------------
refused() { # name, what it says, further keys of its section
    { cat "$scratch/head"; section "$1" south "${3:-}"; } >"$alone/axis.ini"
    check "a table that is $1: exit 3" run 3 identify "$alone"
    check 'says why' err_has "$2"
    check 'and which' err_has "logs/$1.csv"
}
cp "$book/logs/loop.csv" "$alone/logs/short.csv"
sed '/^\[controller\]/,/^$/d' "$scratch/head" >"$alone/axis.ini"
section short south 'of = loop' >>"$alone/axis.ini"
check 'tells neither plant nor margin: exit 3' run 3 identify "$alone"
check 'and why' err_has 'no table tells anything'
refused mirrored 'the phases of the table have the other sign'
refused turned 'the phases of the table have the other sign' 'of = loop'
refused swirled 'no axis answers like this table'
refused own 'an open loop has none' 'of = loop'
# taken for the other kind, where the gains are stated
refused loop 'says of = plant, which gives'
check 'and what the other reading gives' err_has 'of = loop gives an inertia of 99.'
check 'and what to write' err_has 'Write of = loop'
check 'as does design' run 3 design "$alone"
refused plain 'says of = loop, which gives' 'of = loop'
check 'and what to write' err_has 'Write of = plant'
# and where they are not
sed '/^\[controller\]/,/^$/d' "$scratch/head" >"$scratch/gainless"
{ cat "$scratch/gainless"; section loop south ''; } >"$alone/axis.ini"
check 'a loop taken for a plant, gains not known: the torque of the drive tells' run 3 identify "$alone"
check 'by an acceleration no telescope has' err_has 'no telescope axis'
sed '/^torque_limit_nm/d;/^torque_continuous_nm/d' "$scratch/gainless" >"$scratch/torqueless"
{ cat "$scratch/torqueless"; section loop south ''; } >"$alone/axis.ini"
check 'nor the torque' run 0 identify "$alone"
check 'is a very light axis, or that' json "any('that of a very light axis, or the table is of an open loop' in n for n in d['notes'])" "$alone/results/identify.json"
{ cat "$scratch/gainless"; section plain south ''; } >"$alone/axis.ini"
check 'a plant is a plant' run 0 identify "$alone"
check 'and not doubted' [ -z "$(grep -F 'light axis' "$scratch/out")" ]
{ cat "$scratch/gainless"; section plain south 'of = loop'; } >"$alone/axis.ini"
check 'a plant taken for a loop, gains not known' run 0 identify "$alone"
check 'has no crossover' json "any('nowhere in its band does the loop have gain 1' in n for n in d['notes'])" "$alone/results/identify.json"
{ cat "$scratch/torqueless"; printf '[expected]\ninertia_kg_m2 = 100\n\n'; section loop south ''; } >"$alone/axis.ini"
check 'a loop taken for a plant' run 0 identify "$alone"
check 'is not what is expected' out_has 'where [expected] says 100'
refused linear 'see that gain_db is in dB'
refused reversed 'as in a spring'
cp "$book/logs/spring.csv" "$alone/logs"
refused spring 'at least 16 are needed'
{ cat "$scratch/head"; section linear south ''; } >"$alone/axis.ini"
check 'inspect doubts the gain' run 0 inspect "$alone"
check 'by name' out_has 'gain-flat'
done_testing
