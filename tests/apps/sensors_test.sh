#!/bin/sh
# A second sensor logged in the sweeps tells the payload ratios; without one they are assumed, and what the encoder
# cannot see is said all the same.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"

# the small axis with these lines in [sensors]; its truth: ratios -5 and 0
with_sensors() { { cat "$small"; printf '\n[sensors]\n%s\n' "$1"; } >"$scratch/axis.txt"; }
mode() { printf "%s" "next(m for m in d['pointings'][0]['plant']['modes'] if abs(m['frequency_hz']['value'] - $1) < 1)"; }
# the ratio of the mode at $1 Hz is $2 within 5 std, which is below $3
ratio_is() { json "abs($(mode "$1")['payload_ratio']['value'] - $2) < 5 * $(mode "$1")['payload_ratio']['std'] < 5 * $3"; }

# soft gains, which miss the requirement: exit 1
sed -n '/^\[controller\]/,/^$/p' "$small" >"$scratch/soft.ini"

# ---- none
run 0 simulate --quiet --log sweep-south --log quiet "$small" "$scratch/none"
check 'without a second sensor' run 0 identify "$scratch/none"
check 'what the encoder cannot see is said' out_has 'The encoder cannot see how the payload moves against it.'
check 'and on what it rests' out_has 'the softest spring'
check 'in 80 columns' fits
check 'the result has no ratio' json "$(mode 22)['payload_ratio'] is None and $(mode 22)['payload_ratio_from'] is None" "$scratch/none/results/identify.json"
check 'and assumes the payload' json "(u := d['pointings'][0]['unseen'])['payload'] == 'assumed' and u['static_arcsec_per_nm']['std'] > 0 and len(u['locked_rotor_hz']) > 0" "$scratch/none/results/identify.json"

# ---- an encoder on the payload, and an accelerometer that counts backwards
with_sensors 'load_encoder = yes
load_noise_arcsec = 0.02
accelerometer = yes
accel_arm_m = -0.7'
run 0 simulate --quiet --log sweep-south --log quiet "$scratch/axis.txt" "$scratch/both"
check 'with a load encoder' run 0 identify --json "$scratch/both"
check 'its ratio is the true one' ratio_is 22 -5 0.1
check 'from the load encoder' json "$(mode 22)['payload_ratio_from'] == 'load encoder'"
check 'the unseen rests on it' json "d['pointings'][0]['unseen']['payload'] == 'load encoder'"
check 'the two sensors agree' json "not any('The first is used' in n for n in d['notes'])"
check 'told to a reader' run 0 identify "$scratch/both"
check 'by name' out_has 'identified from the load encoder'
check 'in 80 columns too' fits
check 'the forecast uses it' run 1 predict --json --controller "$scratch/soft.ini" "$scratch/both"
check 'and says so, and how sure' json "d['payload_ratios'] == 'identified' and any('identified from the load encoder' in n and ', std 0.0' in n for n in d['notes'])"

# ---- stated against identified
cp -r "$scratch/both" "$scratch/stated"
sed 's/^\[payload\]/&\nratio1_hz = 22\nratio1 = -2/' "$scratch/both/axis.ini" >"$scratch/stated/axis.ini"
check 'a stated ratio goes before' run 1 predict --json --controller "$scratch/soft.ini" "$scratch/stated"
check 'and the contradiction is told' json "d['payload_ratios'] == 'stated' and any('is stated, the load encoder says -' in n for n in d['notes'])"
check 'the unseen is that of the stated one' json "d['pointings'][0]['unseen']['payload'] == 'stated'" "$scratch/stated/results/identify.json"

# ---- the accelerometer alone
with_sensors 'accelerometer = yes
accel_arm_m = -0.7'
run 0 simulate --quiet --log sweep-south --log quiet "$scratch/axis.txt" "$scratch/accel"
check 'with an accelerometer' run 0 identify --json "$scratch/accel"
check 'its ratio is the true one' ratio_is 22 -5 0.2
check 'from the accelerometer' json "$(mode 22)['payload_ratio_from'] == 'accelerometer'"
grep -v payload_accel_arm_m "$scratch/accel/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$scratch/accel/axis.ini"
check 'without its arm' run 0 identify --json "$scratch/accel"
check 'it is left out, and what to do is said' json "any('payload_accel_arm_m' in n for n in d['notes']) and $(mode 22)['payload_ratio'] is None"

# ---- one column for two roles, and a copy under another name
cp -r "$scratch/none" "$scratch/shared"
sed '/^\[log sweep-south\]/a load_position = "position_arcsec"' "$scratch/none/axis.ini" >"$scratch/shared/axis.ini"
check 'one column for two roles makes a log unfit' run 1 inspect "$scratch/shared"
check 'and identify refuses it' run 3 identify "$scratch/shared"
check 'naming line and both roles' err_has "serves both as position and as load_position"
check 'and the place' err_has '.csv.gz:1:'
check 'and what to do' err_has 'name another with load_position ='

# copied AS: the sweep with its position once more under this name
copied() {
    cp -r "$scratch/none" "$scratch/$1"
    gzip -dc "$scratch/none/logs/sweep-south.csv.gz" | awk -F, -v OFS=, -v name="$1" '
        !at { for (i = 1; i <= NF; i++) if ($i == "position_arcsec") at = i; print $0, name; next } { print $0, $at }' |
        gzip >"$scratch/$1/logs/sweep-south.csv.gz"
}
copied load_position_arcsec
check 'a copy is unfit' run 1 inspect "$scratch/load_position_arcsec"
check 'and told' out_has 'channel-copied'
check 'identify refuses it, too' run 3 identify "$scratch/load_position_arcsec"
check 'with the way around' err_has '--accept channel-copied'
check 'which lets it through' run 0 identify --json --accept channel-copied "$scratch/load_position_arcsec"
check 'on the record' json "any('channel-copied' in a for a in d['accepted'])"

done_testing
