#!/bin/sh
# Two logbooks side by side: margins of one axis with the loop of the other closed on its own gains.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
site=$scratch/site
book=$site/dec
mkdir "$site"

# The hour-angle axis shares the mode at 22 Hz: gain g r^2 J2/J1 of the share r = 1.2 on an inertia of 150.
{ sed -e '/^\[log quiet\]/,$d' "$small"
  printf '[coupling]\nmode1_ratio = 1.2\nmode2_ratio = 0.3\nnoise_arcsec = 0.02\n'; } >"$scratch/dec.ini"
sed -e 's/name          = declination/name          = hour-angle/' -e 's/^inertia_kg_m2  .*/inertia_kg_m2 = 150/' \
    -e 's/^mode1_gain .*/mode1_gain = 0.432/' -e 's/^mode2_gain .*/mode2_gain = 0.00675/' \
    -e '/^\[log sweep-north\]/,$d' "$small" >"$scratch/ha.ini"
cat >"$scratch/given.ini" <<'INI'
[controller]
kp_nm_per_rad        = 1.2e5
ki_nm_per_rad_s      = 6e5
kd_nm_s_per_rad      = 5e3
derivative_filter_hz = 100
INI
run 0 simulate --quiet "$scratch/dec.ini" "$book"
sed -i 's/^kind.*= sweep$/&\nother_axis_state = free/' "$book/axis.ini"
evaluate() { run "$1" design --evaluate "$scratch/given.ini" "$book"; }
result=$book/results/evaluate.json

check 'gains are judged' evaluate 0
check 'alone: that nobody knows the other axis is noted' out_has 'no logbook of it lies beside'
check 'and nothing is checked' json 'd["other_axis"]["margins"] == []' "$result"

run 0 simulate --quiet "$scratch/ha.ini" "$site/ha"
check 'beside a logbook' evaluate 0
check 'that is not identified yet, what to do is told' out_has 'quietaxis identify ../ha'
run 0 identify --quiet "$site/ha"
check 'beside one that is' evaluate 0
check 'the check is printed' out_has 'With the loop of hour-angle closed'
check 'and on which gains' out_has 'On its old gains (../ha/axis.ini)'
check 'within 80 columns' fits
check 'soft gains of the other axis change nothing much' json '[m["pointing"] for m in d["other_axis"]["margins"]] == ["south", "north"] and all(m["stable"] and m["modes"] == 2 and abs(m["peak_sensitivity"]["value"] / [x for x in d["controllers"][-1]["margins"] if x["pointing"] == m["pointing"]][0]["peak_sensitivity"]["value"] - 1) < 0.02 for m in d["other_axis"]["margins"]) and d["other_axis"]["gains"] == "../ha/axis.ini" and not d["other_axis"]["gains_proposed"]' "$result"
check 'a second time it is fresh' evaluate 0
check 'and said so' err_has 'evaluate.json is fresh'

# gains of a design of the other axis: read, and noticed
mkdir -p "$site/ha/results"
cp "$scratch/given.ini" "$site/ha/results/controller.ini"
check 'new gains of the other axis: judged anew' evaluate 0
check 'because of them' err_has '../ha/results/controller.ini'
check 'and they are no old ones' out_has 'On the gains of ../ha/results/controller.ini; before:'
sed -e 's/^kp_nm.*/kp_nm_per_rad = 4.8e5/' -e 's/^ki_nm.*/ki_nm_per_rad_s = 2.4e6/' -e 's/^kd_nm.*/kd_nm_s_per_rad = 1.2e4/' \
    "$scratch/given.ini" >"$scratch/tight.ini"
cp "$scratch/tight.ini" "$site/ha/results/controller.ini"
check 'tight gains there' evaluate 0
check 'are known to be felt here' json 'd["other_axis"]["gains"] == "../ha/results/controller.ini" and d["other_axis"]["gains_proposed"] and len(d["other_axis"]["margins"]) == 2 and all(m["stable"] and m["peak_sensitivity"]["upper_95"] > m["peak_sensitivity"]["value"] for m in d["other_axis"]["margins"])' "$result"
check 'by as much as two axes and two loops in one matrix make it' /usr/bin/python3 "$TUNE_SOURCE/tests/apps/site_model.py" \
    "$scratch/dec.ini" "$scratch/ha.ini" "$scratch/given.ini" "$scratch/tight.ini" "$result"
sed -i 's/^kp_nm_per_rad .*/kp_nm_per_rad = 9e6/' "$site/ha/results/controller.ini"
check 'gains that do not hold the other axis' evaluate 0
check 'are told' out_has 'axis is not stable by itself under its gains'

# what lies beside and cannot be read is no matter of this axis, but not passed over in silence
echo 'kp_nm_per_rad = 9e6 Nm' >"$site/ha/results/controller.ini"
check 'a controller file of the other axis that cannot be read does not end the design' evaluate 0
check 'it is not judged, with file, line and reason' json 'd["other_axis"]["margins"] == [] and any("Not judged with the loop of hour-angle closed: ../ha/results/controller.ini, line 1: " in n and "kp_nm_per_rad" in n for n in d["notes"])' "$result"
check 'that, too, is fresh' evaluate 0
check 'as long as it stays so' err_has 'evaluate.json is fresh'
printf '\n%s\n' 'kp_nm_per_rad = 9e6 Nm' >"$site/ha/results/controller.ini"
check 'a fault elsewhere in it' evaluate 0
check 'is told anew' json 'any("controller.ini, line 2: " in n for n in d["notes"])' "$result"
cp "$scratch/given.ini" "$site/ha/results/controller.ini"
cp "$site/ha/results/identify.json" "$scratch/identify.json"
rm "$site/ha/results/identify.json"; mkdir "$site/ha/results/identify.json"
check 'nor does an identification that cannot be read' evaluate 0
check 'which is told' json 'd["other_axis"]["margins"] == [] and any("Not judged with the loop of hour-angle closed: ../ha/results/identify.json: " in n for n in d["notes"])' "$result"
rmdir "$site/ha/results/identify.json"; cp "$scratch/identify.json" "$site/ha/results/identify.json"
mkdir "$site/focus"
sed -e 's/^loop_rate_hz.*/loop_rate_hz = fast/' -e 's/^site .*/site = Heron Flat hut/' "$site/ha/axis.ini" >"$site/focus/axis.ini"
line=$(grep -n '^loop_rate_hz' "$site/focus/axis.ini" | cut -d: -f1)
check 'a logbook beside that cannot be read' evaluate 0
check 'is named, with the reason' json 'len(d["other_axis"]["margins"]) == 2 and any("../focus/axis.ini, line '"$line"': " in n and "fast" in n and "not looked at" in n for n in d["notes"])' "$result"
sed -i 's/= fast/= 1000/' "$site/focus/axis.ini"
check 'its being mended is noticed' evaluate 0
check 'and no longer told' json 'not any("../focus/axis.ini" in n for n in d["notes"])' "$result"
rm -r "$site/focus"

# braked: nothing to learn
cp "$scratch/given.ini" "$site/ha/results/controller.ini"
sed -i 's/^other_axis_state = free/other_axis_state = braked/' "$book/axis.ini"
check 'swept with the other axis braked' evaluate 0
check 'there is nothing to check, and why' out_has 'stood under its brake'
done_testing
