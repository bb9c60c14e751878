#!/bin/sh
# design --bound from the sweeps on: the bold gains beside the least jitter of any controller.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/book
bound=$book/results/design.json
sed -e '/^\[log sweep-north\]/,/^\[log quiet\]/{/^\[log quiet\]/!d}' -e 's/^max_biquads.*/max_biquads = 0/' "$small" >"$scratch/axis.ini"

check 'one pointing' run 0 simulate --quiet "$scratch/axis.ini" "$book"
check 'a design, and the least beside it' run 0 design --bound "$book"
check 'within 80 columns' fits
check 'in words' out_has 'linear controller of the encoder does better'
check 'the bold gains are judged, and not below it' json 'd["goal"] != "bold" and [(b["pointing"], b["controller"]) for b in d["bound"]] == [("south", "bold")] and all(b["ratio"] > 1 - b["spread"] and b["spread"] < 0.01 for b in d["bound"])' "$bound"
check 'under their own limits' json 'd["bound"][0]["peak_sensitivity_limit"] == 1.8 and d["bound"][0]["noise_torque_limit_nm"] > 0' "$bound"
cp "$bound" "$scratch/without.json"
sed -i 's/^max_biquads.*/max_biquads = 2/' "$book/axis.ini"
check 'with two biquads' run 0 design --bound "$book"
# the same limits: the least does not know how the controller is built, but for the search's spread
check 'the least stays' sh -c 'exec /usr/bin/python3 -c "
import json, sys
a, b = (json.load(open(p))[\"bound\"][0] for p in sys.argv[1:])
same = a[\"noise_torque_limit_nm\"] == b[\"noise_torque_limit_nm\"]
sys.exit(not same or not abs(b[\"least_rms_arcsec\"] / a[\"least_rms_arcsec\"] - 1) <= a[\"spread\"] + b[\"spread\"])" "$@"' sh \
    "$scratch/without.json" "$bound"
check 'and the gains come nearer' sh -c 'exec /usr/bin/python3 -c "
import json, sys
a, b = (json.load(open(p))[\"bound\"][0] for p in sys.argv[1:])
print(\"#\", a[\"ratio\"], b[\"ratio\"])
sys.exit(not 1 - b[\"spread\"] < b[\"ratio\"] < a[\"ratio\"])" "$@"' sh "$scratch/without.json" "$bound"
done_testing
