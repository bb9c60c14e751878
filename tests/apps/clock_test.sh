#!/bin/sh
# Faults in the time stamps of a log: what can be repaired is, and a log whose time cannot be relied on is
# refused by whatever would use it, with its place.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/dec
run 0 simulate --quiet "$small" "$book" || { echo 'Bail out! no logbook'; exit 1; }
for log in sweep-south quiet tracking; do
    gzip -dc "$book/logs/$log.csv.gz" >"$scratch/$log.csv"
done

# spoil LOG COMMAND...: the log, changed by a filter
spoil() { log=$1; shift; "$@" <"$scratch/$log.csv" | gzip -c >"$book/logs/$log.csv.gz"; }
mend() { gzip -c <"$scratch/$1.csv" >"$book/logs/$1.csv.gz"; }

# ---- repaired
check 'the good log' run 0 identify --quiet --json --pointing south "$book"
cp "$scratch/out" "$scratch/good.json"
spoil sweep-south sed '2700d; 4000p; 9000s/^[^,]*/0/'
check 'a row missing, a row twice, a wrong stamp: identified all the same' \
    run 0 identify --quiet --json --pointing south --accept stamps-backward "$book"
# one row in 25 000 made up or marked twice moves nothing by more than its std
check 'and as before, within the std' json \
    "all(abs(m['frequency_hz']['value'] - g['frequency_hz']['value']) <= m['frequency_hz']['std'] for p, q in zip(d['pointings'], __import__('json').load(open('$scratch/good.json'))['pointings']) for m, g in zip(p['plant']['modes'], q['plant']['modes']))"
check 'with all its rows' json 'd["inputs"][1]["rows"] == 25000'
mend sweep-south

# ---- refused wherever it would be used: identify, the quiet log of predict, the log of verify
restart() { awk -F, -v OFS=, 'NR > 2000 { $1 = sprintf("%.6f", $1 - 0.5) } 1'; }
faster() { awk -F, -v OFS=, 'NR > 1 { $1 = sprintf("%.9f", $1 * 0.99) } 1'; }
# refused DESCRIPTION PLACE FINDING COMMAND...
refused() {
    what=$1 place=$2 finding=$3; shift 3
    check "$what: exit 3" run 3 "$@"
    check "$what: with its place" err_has "$place"
    check "$what: and the finding" err_has "$finding"
    check "$what: nothing on standard output" out_empty
}
spoil sweep-south restart
refused 'identify: time runs backwards' 'sweep-south.csv.gz:2001:1' stamps-backward identify --quiet "$book"
spoil sweep-south faster
refused 'identify: another rate' 'sweep-south.csv.gz:2:1' rate-differs identify --quiet "$book"
mend sweep-south
spoil quiet restart
refused 'predict: time runs backwards in the quiet log' 'quiet.csv.gz:2001:1' stamps-backward predict --quiet "$book"
spoil quiet faster
refused 'predict: another rate of the quiet log' 'quiet.csv.gz:2:1' rate-differs predict --quiet "$book"
refused 'design: another rate of the quiet log' 'quiet.csv.gz:2:1' rate-differs design --quiet "$book"
mend quiet
spoil tracking restart
refused 'verify: time runs backwards' 'tracking.csv.gz:2001:1' stamps-backward verify --quiet "$book"
spoil tracking faster
refused 'verify: another rate' 'tracking.csv.gz:2:1' rate-differs verify --quiet "$book"
done_testing
