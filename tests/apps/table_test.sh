#!/bin/sh
# Tables of frequency responses among the logs: inspect judges them, identify says that it leaves them out.
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

check 'inspect takes them' run 0 inspect "$book"
check 'our own table' out_has 'response of the plant, 1'
check 'and a loop' out_has 'response of the open loop, 1.5 to 100 Hz'
check 'a coherence that is low' out_has 'coherence-low: the median coherence of the table is only 0.600'
check 'a sign that is doubtful' out_has 'torque-sign: over the lowest octave'
check 'within 80 columns' fits
check 'as JSON' run 0 inspect --json --quiet "$book"
check 'kind, rows, band and of what' json \
    '[(l["kind"], l["rows"], l["of"], l["band_hz"], l["verdict"]) for l in d["logs"][2:]] == [("response", 3, "loop", [1.5, 100], "fit"), ("response", 2, "plant", [1, 2], "with care")]'
check 'our own is fit' json 'd["logs"][1]["verdict"] == "fit" and d["logs"][1]["rows"] == len(open("'"$book"'/logs/own.csv").readlines()) - 1'
check 'no record has a band' json '"band_hz" not in d["logs"][0]'
check 'their rows stand among the inputs' json '[i["rows"] for i in d["inputs"]][-2:] == [3, 2]'
cp "$book/results/inspect.json" "$scratch/first.json"
check 'again: the earlier answer' run 0 inspect "$book"
check 'is taken' cmp -s "$scratch/first.json" "$book/results/inspect.json"
sed 's/^of = loop//' "$book/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$book/axis.ini"
check 'another meaning' run 0 inspect "$book"
check 'is another answer' out_has 'response of the plant, 1.5 to 100 Hz'

section bad south '' >>"$book/axis.ini"
check 'a bad table is unfit: exit 1' run 1 inspect "$book"
check 'with its place' out_has 'unreadable: line 4, column 1'
rm "$book/results/identify.json"
check 'identify leaves them out' run 0 identify "$book"
check 'and says so' out_has 'Log loop holds a table of responses'
done_testing
