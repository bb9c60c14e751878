#!/bin/sh
# --modes N: so many resonances within the band, on the record, through all commands that identify.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/book
"$quietaxis" simulate --quiet "$small" "$book" >"$scratch/made" 2>&1 || { cat "$scratch/made"; exit 1; }
all_have="all(len(p['plant']['modes']) == %s for p in d['pointings'])"

check 'by evidence' run 0 identify "$book"
cp "$book/results/identify.json" "$scratch/evidence.json"
check 'nothing of it among the options' json "not any(o['name'] == 'modes' for o in d['options'])" \
    "$book/results/identify.json"
said() { tr -s '\n ' ' ' <"$scratch/out" | grep -qF -e "$1"; }
found=$(/usr/bin/python3 -c "import json, sys; print(len(json.load(open(sys.argv[1]))['pointings'][0]['plant']['modes']))" \
    "$scratch/evidence.json")
check 'without a word of misfit' [ -z "$(grep -F 'Reduced chi-square' "$scratch/out")" ]
check 'one less' run 0 identify --modes $((found - 1)) "$book"
check 'is one less' json "$(printf "$all_have" $((found - 1)))" "$book/results/identify.json"
check 'and on the record' json "{'name': 'modes', 'value': '$((found - 1))'} in d['options']" \
    "$book/results/identify.json"
check 'with both numbers' said "$((found - 1)) resonances, as --modes asks for, where the data show $found"
check 'and the misfit told, a small one too' said 'Reduced chi-square beyond chance'
check 'within 80 columns' fits
check 'on the record, too' json "all(p['plant']['fit']['modes_by_evidence'] == $found for p in d['pointings'])" \
    "$book/results/identify.json"
check 'design goes on' run 0 design --modes $((found - 1)) "$book"
check 'with the doubt' json "any('where the data show $found' in t for t in d['doubts'])" "$book/results/design.json"
check 'as many as there are' run 0 identify --modes "$found" "$book"
check 'is told, and no more' said "$found resonances, as --modes asks for and the data show"
check 'one more' run 0 identify "--modes=$((found + 1))" "$book"
check 'with both numbers' said "where the data show $found: the rest fits"
check 'is one more' json "$(printf "$all_have" $((found + 1)))" "$book/results/identify.json"
check 'without it the earlier result does not serve' run 0 identify "$book"
check 'and the first comes again' cmp -s "$scratch/evidence.json" "$book/results/identify.json"
run 0 design --modes $((found - 1)) "$book"
check 'design identifies with it' json "$(printf "$all_have" $((found - 1)))" "$book/results/identify.json"
check 'and says so' json "any(o['name'] == 'modes' for o in d['options'])" "$book/results/design.json"

check 'none is misuse' run 2 identify --modes 0 "$book"
check 'too many are misuse' run 2 identify --modes 25 "$book"
check 'with the limits' err_has 'from 1 to 24'
check 'a word is misuse' run 2 identify --modes few "$book"
check 'inspect fits nothing' run 2 inspect --modes 3 "$book"
done_testing
