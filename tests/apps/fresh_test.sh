#!/bin/sh
# The same inputs give the same bytes; what is fresh is taken again, what is stale made anew and said so.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/dec
results=$book/results
run 0 simulate --quiet --log sweep-south --log sweep-north --log quiet "$small" "$book"
cp -r "$book" "$scratch/copy"

# ---- bytes
check 'two threads' run 0 design --threads 2 --quiet "$book"
check 'one thread, identified beforehand' run 0 identify --threads 1 --quiet "$scratch/copy"
check 'designed from the file' run 0 design --threads 1 --quiet "$scratch/copy"
for f in identify.json design.json controller.ini frf-south.csv model-north.csv plant-south.json loop-south.csv; do
    check "$f is the same to the byte" cmp "$results/$f" "$scratch/copy/results/$f"
done

# ---- stale
gzip -dc "$scratch/copy/logs/sweep-north.csv.gz" | sed '$d' | gzip >"$scratch/short.gz"
mv "$scratch/short.gz" "$scratch/copy/logs/sweep-north.csv.gz"
check 'a changed log is noticed' run 0 identify "$scratch/copy"
check 'and named' err_has 'identify.json is made anew: logs/sweep-north.csv.gz has changed'
sed 's/^loop_rate_hz.*/&  ; a remark/' "$scratch/copy/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$scratch/copy/axis.ini"
check 'a remark in axis.ini changes nothing' run 0 identify "$scratch/copy"
check 'so the result is fresh' err_has 'identify.json is fresh'
check 'and carries the new hash' json "d['inputs'][0]['sha256'] == '$(sha256sum <"$scratch/copy/axis.ini" | cut -d' ' -f1)'" "$scratch/copy/results/identify.json"
sed 's/^encoder_counts_per_turn.*/encoder_counts_per_turn = 67108860/' "$scratch/copy/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$scratch/copy/axis.ini"
check 'a changed scale is noticed' run 0 identify "$scratch/copy"
check 'and said' err_has 'identify.json is made anew'
echo broken >"$scratch/copy/results/identify.json"
check 'a broken result is made anew' run 0 identify "$scratch/copy"
check 'and said' err_has 'cannot be read'
echo 1,2 >"$scratch/copy/results/frf-south.csv"
check 'a table somebody changed is made anew' run 0 identify "$scratch/copy"
check 'and said' err_has 'frf-south.csv is missing or has been changed'

# ---- what the payload does: assumed, then stated
check 'without word of the payload its ratio is assumed' run 0 predict --quiet --json --controller "$scratch/copy/results/controller.ini" --out "$scratch/pay" "$book"
check 'and the result says so' json "d['payload_ratios'] == 'assumed'"
cp "$scratch/out" "$scratch/assumed.json"
cp -r "$book" "$scratch/stated"
mode=$(sed -n 's/^mode1_hz *= *\([0-9.]*\).*/\1/p' "$small")
printf '\n[payload]\nratio1_hz = %s\nratio1 = 1\n' "$mode" >>"$scratch/stated/axis.ini"
check 'a stated ratio is taken' run 0 predict --quiet --json --controller "$scratch/copy/results/controller.ini" --out "$scratch/pay" "$scratch/stated"
check 'an earlier result with the assumed one is not' json "d['payload_ratios'] == 'stated' and d['sky_rms_arcsec'] != json.load(open('$scratch/assumed.json'))['sky_rms_arcsec']"
sed 's/^ratio1_hz.*/ratio1_hz = 1/' "$scratch/stated/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$scratch/stated/axis.ini"
check 'a ratio for a mode that is not there is refused' run 3 predict --quiet --out "$scratch/pay" "$scratch/stated"
check 'with its frequency' err_has 'a mode at 1 Hz'

# ---- a sweep given as the quiet log
cp -r "$book" "$scratch/sung"
cp "$scratch/sung/logs/sweep-south.csv.gz" "$scratch/sung/logs/quiet.csv.gz"
check 'a quiet log with a signal injected is refused' run 3 predict --quiet --controller "$scratch/copy/results/controller.ini" "$scratch/sung"
check 'in words' err_has 'a signal is injected during this quiet log'

# ---- two at once
"$quietaxis" identify --quiet --pointing south --out "$scratch/both" "$book" >/dev/null 2>"$scratch/err1" & one=$!
"$quietaxis" identify --quiet --pointing south --out "$scratch/both" "$book" >/dev/null 2>"$scratch/err2" & two=$!
wait $one; a=$?
wait $two; b=$?
check 'two programs may write to one folder' [ "$a$b" = 00 ]
check 'the result is whole' json 'd["pointings"][0]["name"] == "south"' "$scratch/both/identify.json"
check 'and nothing half-written is left' sh -c "! ls -A '$scratch/both' | grep part"

# ---- several logs of one pointing
sed '/^\[log sweep-north\]/,/^$/s/^pointing.*/pointing = south/' "$small" >"$scratch/twice.ini"
run 0 simulate --quiet --log sweep-south --log sweep-north "$scratch/twice.ini" "$scratch/twice"
check 'two sweeps of one pointing' run 0 identify --quiet --json "$scratch/twice"
check 'make one plant' json 'len(d["pointings"]) == 1 and d["pointings"][0]["logs"] == 2'
# statistical: twice the data, half the variance; the noise is re-estimated, so within a tenth
check 'surer by sqrt 2' json "abs(d['pointings'][0]['plant']['modes'][0]['frequency_hz']['std'] * 2 ** 0.5 / json.load(open('$scratch/both/identify.json'))['pointings'][0]['plant']['modes'][0]['frequency_hz']['std'] - 1) < 0.15"
done_testing
