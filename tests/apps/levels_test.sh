#!/bin/sh
# Two sweeps of one pointing: of one level, of two, of an axis that changes between them; and the other axis.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"

# make BOOK AMPLITUDE HZ EXTRA: a book with one sweep at `south`, its first mode at HZ
make() {
    sed "s/^mode1_hz = .*/mode1_hz = $3/; s/^amplitude_nm = .*/amplitude_nm = $2/" "$small" >"$scratch/it.ini"
    printf '%s\n' "$4" >>"$scratch/it.ini"
    "$quietaxis" simulate --quiet --log sweep-south --seed "$5" "$scratch/it.ini" "$1" >"$scratch/made" 2>&1 ||
        { cat "$scratch/made"; exit 1; }
}

# join BOOK OTHER: the sweep of OTHER as a second one of the pointing
join() {
    cp "$2/logs/sweep-south.csv.gz" "$1/logs/again.csv.gz"
    printf '[log again]\nkind = sweep\nfile = logs/again.csv.gz\npointing = south\nangle_deg = -20\n' >>"$1/axis.ini"
}
south="d['pointings'][0]"

make "$scratch/one" 10 22 '' 7
check 'one sweep' run 0 identify "$scratch/one"
check 'says what it cannot say' out_has 'one level of excitation: linearity untested'
check 'null in the file' json "$south['levels']['linearity'] is None and $south['levels']['count'] == 1" \
    "$scratch/one/results/identify.json"
check 'modes have a verdict' json "all('verdict' in m and 'reasons' in m for m in $south['plant']['modes'])" \
    "$scratch/one/results/identify.json"
check 'without the other axis nothing of it' json "'cross' not in $south" "$scratch/one/results/identify.json"

make "$scratch/linear" 5 22 '' 7
make "$scratch/strong" 10 22 '' 8
join "$scratch/linear" "$scratch/strong"
check 'two levels of a linear axis' run 0 identify "$scratch/linear"
check 'are linear' out_has 'linear within'
check 'within what is said' json "$south['levels']['linearity'] == 'linear' and $south['levels']['cause'] == '' and \
all(b['less_than'] < 0.1 for b in $south['levels']['bands'] if b['verdict'] == 'linear')" \
    "$scratch/linear/results/identify.json"
check 'nothing is too wide' fits

make "$scratch/loose" 5 22 '' 7
make "$scratch/softer" 10 21.93 '' 8
join "$scratch/loose" "$scratch/softer"
check 'a mode that falls with level' run 0 identify "$scratch/loose"
check 'is told' out_has 'the axis changes with level, or drifted'
check 'with what would tell which' out_has 'in turn'
check 'in size and in phase' out_has '%, phase by '
check 'and what that points to' out_has 'a loose joint or a gap'
check 'with the mode under it' out_has 'its frequency changes by -0.3'
check 'and in the file' json "$south['levels']['linearity'] == 'changes with level' and \
$south['levels']['modes'][0]['frequency_hz']['changes'] and $south['plant']['modes'][0]['verdict'] == 'with care'" \
    "$scratch/loose/results/identify.json"
check 'whose std covers both' json "$south['plant']['modes'][0]['frequency_hz']['std'] > 0.025" \
    "$scratch/loose/results/identify.json"
check 'in its place of the covariance, too' json "abs($south['plant']['covariance'][3][3] ** 0.5 * \
$south['plant']['modes'][0]['frequency_hz']['value'] / $south['plant']['modes'][0]['frequency_hz']['std'] - 1) < 1e-9" \
    "$scratch/loose/results/identify.json"
check 'nothing is too wide' fits

make "$scratch/drift" 10 22 '' 7
make "$scratch/later" 10 21.956 '' 8
join "$scratch/drift" "$scratch/later"
check 'a mode that drifts between two sweeps of one level' run 0 identify "$scratch/drift"
check 'is told' out_has 'it drifts; std widened'
check 'and covered' json "abs($south['plant']['modes'][0]['frequency_hz']['value'] - 21.978) < \
2 * $south['plant']['modes'][0]['frequency_hz']['std']" "$scratch/drift/results/identify.json"

make "$scratch/cross" 10 22 '[coupling]
mode1_ratio = 0.3
noise_arcsec = 0.01' 7
check 'the other axis logged' run 0 identify "$scratch/cross"
check 'it matters' out_has 'The other axis matters'
check 'how much, where' json "$south['cross']['matters'] and abs($south['cross']['modes'][0]['ratio']['value'] - 0.3) < 0.02 \
and 18 < $south['cross']['at_hz'] < 25" "$scratch/cross/results/identify.json"
check 'its response is a table' [ -s "$scratch/cross/results/cross-south.csv" ]
cp "$scratch/cross/results/identify.json" "$scratch/first.json"
check 'taken again where nothing changed' run 0 identify "$scratch/cross"
check 'the same bytes' cmp -s "$scratch/first.json" "$scratch/cross/results/identify.json"
rm "$scratch/cross/results/cross-south.csv"
check 'made anew where a table is gone' run 0 identify "$scratch/cross"
check 'the same bytes, too' cmp -s "$scratch/first.json" "$scratch/cross/results/identify.json"
check 'the page says it' run 0 report "$scratch/cross"
check 'of the other axis' grep -q 'The other axis:' "$scratch/cross/results/report.html"
done_testing
