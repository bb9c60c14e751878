#!/bin/sh
# A sweep in the pieces of a short trace buffer: pieces that go on from each other are one record, short
# sweeps of their own are estimated together; logs of two rates are no pointing.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/whole
run 0 simulate --quiet --log sweep-south "$small" "$book" || { echo 'Bail out! no logbook'; exit 1; }
check 'the whole sweep' run 0 identify --quiet "$book"

# cut ROWS GAP DIR: the sweep in pieces of ROWS rows, GAP rows lost between
cut_log() {
    mkdir -p "$3/logs"
    gzip -dc "$book/logs/sweep-south.csv.gz" | awk -v rows="$1" -v gap="$2" -v to="$3/logs/buf-" '
        NR == 1 { header = $0; next }
        { k = (NR - 2) % (rows + gap); name = to int((NR - 2) / (rows + gap)) + 1 ".csv" }
        k == 0 { print header >name }
        k < rows { print >name }'
    sed 's,logs/sweep-south.csv.gz,logs/buf-*.csv,' "$book/axis.ini" >"$3/axis.ini"
}
cut_log 2300 0 "$scratch/pieces"
check 'eleven pieces' [ -f "$scratch/pieces/logs/buf-11.csv" ]
check 'identified' run 0 identify --quiet "$scratch/pieces"
check 'said to be one record' out_has 'Logs sweep-south.1 to sweep-south.11 go on from each other'
for file in frf-south.csv model-south.csv; do
    check "the same bytes in $file" cmp -s "$book/results/$file" "$scratch/pieces/results/$file"
done
check 'the same plant' json \
    "d['pointings'][0]['plant'] == __import__('json').load(open('$book/results/identify.json'))['pointings'][0]['plant']" \
    "$scratch/pieces/results/identify.json"
check 'every piece among the inputs' json \
    'len(d["inputs"]) == 12 and sum(i["rows"] for i in d["inputs"][1:]) == 25000' \
    "$scratch/pieces/results/identify.json"
check 'inspect judges them as one' run 0 inspect --quiet --json "$scratch/pieces"
check 'with all rows' json '[(l["name"], l["last"], l["rows"]) for l in d["logs"]] == [("sweep-south.1", "sweep-south.11", 25000)]'
check 'and every file' json 'sum(i["rows"] for i in d["inputs"][1:]) == 25000 and len(d["inputs"]) == 12'
check 'as the whole log' run 0 inspect --quiet --json "$book"
check 'with the same findings' json \
    'd["logs"][0]["findings"] == __import__("json").load(open("'"$scratch"'/pieces/results/inspect.json"))["logs"][0]["findings"]'
sed -i '100s/,/,x/' "$scratch/pieces/logs/buf-4.csv"
check 'a piece that cannot be read' run 1 inspect --quiet --json "$scratch/pieces"
check 'is told by itself, between the others' json \
    '[(l["name"], l["last"], l["rows"], l["findings"][0]["name"] == "unreadable" if l["findings"] else False) for l in d["logs"]] [1][:3] == ("sweep-south.4", "sweep-south.4", 0) and [l["last"] for l in d["logs"]] == ["sweep-south.3", "sweep-south.4", "sweep-south.11"]'
rm -f "$scratch"/pieces/logs/*
check 'no piece there: exit 3' run 3 identify --quiet "$scratch/pieces"
check 'and its place' err_has 'file = logs/buf-*.csv: no file of the logbook has such a name'

# ---- short sweeps of their own, a second of quiet around each
sed '/^\[log/,$d' "$small" >"$scratch/short.ini"
for i in 1 2 3 4 5 6 7 8 9 10 11 12; do
    cat <<EOF >>"$scratch/short.ini"
[log buf-$i]
kind = sweep
pointing = south
ramp_arcsec_per_s = 300
duration_s = 6.5
sweep_from_hz = 1
sweep_to_hz = 100
amplitude_nm = 10
quiet_before_s = 0.5
quiet_after_s = 1
fade_s = 0.2
position_limit_arcsec = 200
speed_limit_arcsec_per_s = 250
EOF
done
run 0 simulate --quiet "$scratch/short.ini" "$scratch/short"
check 'twelve short sweeps' run 0 identify --quiet --json "$scratch/short"
check 'are estimated together' json 'd["pointings"][0]["logs"] == 12'
# the truth stands in the description; 4 std
check 'both modes, none invented, within four std of the truth' json \
    'len(d["pointings"][0]["plant"]["modes"]) == 2 and all(abs(m[k]["value"] - t) < 4 * m[k]["std"] for m, truth in zip(d["pointings"][0]["plant"]["modes"], ((22, 0.012, 0.2), (61, 0.01, 0.05))) for k, t in zip(("frequency_hz", "damping_ratio", "gain"), truth))'
check 'and the inertia' json \
    'abs(d["pointings"][0]["plant"]["inertia_kg_m2"]["value"] - 100) < 4 * d["pointings"][0]["plant"]["inertia_kg_m2"]["std"]'

check 'no doubt about their width' json 'not any("without quiet" in n for n in d["notes"])'
sed 's/^quiet_.*//' "$scratch/short.ini" >"$scratch/unquiet.ini"
run 0 simulate --quiet "$scratch/unquiet.ini" "$scratch/unquiet"
check 'without quiet ends' run 0 identify --quiet --json "$scratch/unquiet"
check 'the modes are as good' json \
    'len(d["pointings"][0]["plant"]["modes"]) == 2 and all(abs(m[k]["value"] - t) < 4 * m[k]["std"] for m, truth in zip(d["pointings"][0]["plant"]["modes"], ((22, 0.012, 0.2), (61, 0.01, 0.05))) for k, t in zip(("frequency_hz", "damping_ratio", "gain"), truth))'
check 'the response alone is doubted' json 'any("a sweep of 6.5 s begins or ends without quiet" in n for n in d["notes"])'

# ---- two rates at one pointing
gzip -dc "$scratch/short/logs/buf-2.csv.gz" | awk 'NR % 2' | gzip -c >"$scratch/slow.csv.gz"
mv "$scratch/slow.csv.gz" "$scratch/short/logs/buf-2.csv.gz"
rm -rf "$scratch/short/results"
for stated in no yes; do
    check "two rates, stated: $stated: exit 3" run 3 identify --quiet "$scratch/short"
    check 'says so' err_has 'the logs of pointing south have different rates'
    check 'names the one' err_has 'logs/buf-1.csv.gz 1000 Hz'
    check 'and the other' err_has 'logs/buf-2.csv.gz 500 Hz'
    check 'nothing is left' sh -c "! ls '$scratch/short/results' 2>/dev/null | grep ."
    awk '{ print } /^\[log buf-2\]/ { print "sample_rate_hz = 500" }' "$scratch/short/axis.ini" >"$scratch/ini"
    mv "$scratch/ini" "$scratch/short/axis.ini"
done
done_testing
