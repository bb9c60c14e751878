#!/bin/sh
# What precheck verified holds for the gains only where the sweeps are of the same axis by the same scales.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/book
# the small axis with first motions of its own
{
    sed 's/^torque_limit_nm.*/&\ntorque_per_unit_nm = 2/' "$small"
    printf '\n[log pulses]\nkind = pulse\npointing = south\npulse_nm = 3\npulses = 6\n'
} >"$scratch/small.ini"
check 'sweeps and pulses of one axis' run 0 simulate --quiet --log sweep-south --log quiet --log pulses "$scratch/small.ini" "$book"
run 0 precheck --quiet "$book"
"$quietaxis" design --quiet --json "$book" >"$scratch/out" 2>"$scratch/err"
check 'one inertia, no doubt' json "not any('times the inertia' in c for c in d['cautions'])"
sed '/^\[log sweep/a torque_scale = 1.41421356\nexcitation_scale = 1.41421356' "$book/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$book/axis.ini"
"$quietaxis" design --quiet --json "$book" >"$scratch/out" 2>"$scratch/err"
check 'sweeps on another scale are found by their inertia' json "any('1.4' in c and 'times the inertia' in c for c in d['cautions'])"
check 'and nothing is called verified' json "not any('scales verified' in n for n in d['notes'])"
done_testing
