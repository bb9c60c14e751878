#!/bin/sh
# The mark of viscous friction: how much of what is known of it was assumed, from the share in identify.json.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"

# identified FROM VISCOUS: a sweep from that many Hz of an axis with so much friction
identified() {
    rm -rf "$scratch/book"
    sed -e '/^\[log sweep-north\]/,$d' -e "s/^sweep_from_hz.*/sweep_from_hz = $1/" \
        -e "s/^viscous_nm_s_per_rad.*/viscous_nm_s_per_rad = $2/" "$small" >"$scratch/axis.ini"
    run 0 simulate --quiet "$scratch/axis.ini" "$scratch/book" && run 0 identify --quiet "$scratch/book"
}
share() { json "$1" "$scratch/book/results/identify.json"; }
of='d["pointings"][0]["plant"]["fit"]["viscous_prior_share"]'
# marked FORMAT: the line of the friction ends with it, the share in per cent in place of %s
marked() {
    percent=$(/usr/bin/python3 -c 'import json, sys
d = json.load(open(sys.argv[2]))
print("%.0f" % (100 * eval(sys.argv[1])))' "$of" "$scratch/book/results/identify.json")
    # shellcheck disable=SC2059
    out_has "N m s/rad$(printf "$1" "$percent")"
}

check 'hardly any friction: a sweep from 1 Hz does not see it' identified 1 1
check 'by its share' share "$of > 0.5"
check 'it is limited by its prior' marked ', limited by its prior (%s %%)'
check 'and no measurement' out_has 'viscous friction is limited by its prior'
check 'more friction' identified 5 10
check 'is measured, but for a share' share "0.005 <= $of <= 0.5"
check 'which is told' marked ', prior %s %%'
check 'and nothing more is said of it' share 'not any("limited by its prior" in n for n in d["notes"])'
check 'much friction' identified 1 200
check 'is seen all by itself' share "$of < 0.005"
check 'and has no mark' sh -c 'grep -q "viscous .* N m s/rad *$" "$1"' sh "$scratch/out"
done_testing
