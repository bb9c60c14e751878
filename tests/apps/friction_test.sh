#!/bin/sh
# A strong sweep at rest on an axis with friction: inertia, delay and every resonance are marked, the cause and the
# cure told, the gains doubted; on a ramp nothing of it.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"

# make BOOK RAMP LOGS...: small.ini with seals that rub, swept on this ramp
make() {
    book=$scratch/$1
    sed "s/^ramp_arcsec_per_s = 300/ramp_arcsec_per_s = $2/; /^position_limit/d; /^speed_limit/d" "$small" >"$scratch/it.ini"
    printf '\n[friction]\ncoulomb_nm = 0.8\nbreakaway_nm = 2\nstribeck_arcsec_per_s = 25\nbristle_nm_per_rad = 2e4\nbristle_nm_s_per_rad = 200\n' >>"$scratch/it.ini"
    shift 2
    "$quietaxis" simulate --quiet "$@" "$scratch/it.ini" "$book" >"$scratch/made" 2>&1 || { cat "$scratch/made"; exit 1; }
}
south="d['pointings'][0]['plant']"
said() { tr -s '\n ' ' ' <"$scratch/out" | grep -qF -e "$1"; }
marked() { grep -E "^  (inertia|delay|viscous|resonance|no resonance) " "$scratch/out" >"$scratch/rows"; [ -s "$scratch/rows" ] && ! grep -v " $1" "$scratch/rows"; }

make rest 0 --log sweep-south
check 'swept at rest, no quiet log' run 0 identify "$book"
check 'everything is doubtful' marked !
check 'the cause is told' said 'the axis turns back for'
check 'and that nobody looked for friction' said 'without a quiet log'
check 'and the cure' said 'ramp faster by'
check 'and its caution' said 'emergency stop first'
check 'once' [ "$(tr '\n' ' ' <"$scratch/out" | grep -o 'and every resonance are' | wc -l)" -eq 1 ]
check 'on the record' json "$south['rigid_body']['verdict'] == 'doubtful' and all(m['verdict'] == 'doubtful' for m in $south['modes'])" \
    "$book/results/identify.json"
check 'the inertia is indeed wrong' json "abs($south['inertia_kg_m2']['value'] - 100) > 5 * $south['inertia_kg_m2']['std']" \
    "$book/results/identify.json"

make quiet 0 --log sweep-south --log quiet
check 'with a quiet log' run 0 identify "$book"
check 'friction is seen' said 'and there is friction'
check 'a design' run 0 design "$book"
check 'gains come with the doubt' json "any('every resonance are doubtful' in t for t in d['doubts'])" \
    "$book/results/design.json"
check 'said to who asks' said 'every resonance are'

make ramp 2000 --log sweep-south --log quiet
check 'on a fast ramp' run 0 identify "$book"
check 'nothing is marked' [ -z "$(grep -E '^  (inertia|delay|viscous|no resonance) .* [?!]' "$scratch/out")" ]
check 'nor on the record' json "'rigid_body' not in $south" "$book/results/identify.json"
check 'and the inertia is right' json "abs($south['inertia_kg_m2']['value'] - 100) < 1" "$book/results/identify.json"
done_testing
