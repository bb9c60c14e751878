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

# ---- sensors that are not what the logbook says: $scratch/accel has lost its arm above
# described WORDS...: identify of $scratch/wrong, whose accelerometer is described by these sed commands
described() {
    rm -rf "$scratch/wrong"; cp -r "$scratch/accel" "$scratch/wrong"
    sed 's/^\[payload\]/&\npayload_accel_arm_m = -0.7/' "$scratch/accel/axis.ini" | sed "$1" >"$scratch/wrong/axis.ini"
    run 0 identify --json "$scratch/wrong"
}
check 'as it is' described ''
check 'it is used' json "'second_sensor' in d['pointings'][0] and not d['pointings'][0]['second_sensor']['doubtful']"
check 'with the sign of the arm wrong' described 's/^payload_accel_arm_m.*/payload_accel_arm_m = 0.7/'
check 'the sign is told, with the key' json "any('its sign is the opposite one: payload_accel_arm_m = -0.7' in n for n in d['notes'])"
check 'and its ratios go nowhere' json "'second_sensor' not in d['pointings'][0] and d['pointings'][0]['unseen']['payload'] == 'assumed' and $(mode 22)['payload_ratio'] is None"
check 'the forecast assumes' run 1 predict --json --controller "$scratch/soft.ini" "$scratch/wrong"
check 'and says so' json "d['payload_ratios'] == 'assumed'"
check 'm/s2 read as g' described '/^\[log sweep-south\]/a payload_accel_unit = g'
check 'are told' json "any('payload_accel_unit = m_per_s2' in n for n in d['notes']) and 'second_sensor' not in d['pointings'][0]"
check 'an arm of twice the length' described 's/^payload_accel_arm_m.*/payload_accel_arm_m = -1.4/'
check 'is told with its factor' json "any('it reads 0.5' in n or 'it reads 0.49' in n for n in d['notes']) and 'second_sensor' not in d['pointings'][0]"
check 'a ratio stated for a mode that is not there' described 's/^\[payload\]/&\nratio1_hz = 35\nratio1 = -2/'
check 'is told before design refuses it' json "any('states a ratio for a mode at 35 Hz' in n for n in d['notes'])"

# ---- a load encoder that is late by 3 rows of 1 kHz, and the lag stated
cp -r "$scratch/both" "$scratch/late"
gzip -dc "$scratch/both/logs/sweep-south.csv.gz" | awk -F, -v OFS=, '
    !at { for (i = 1; i <= NF; i++) { if ($i == "load_position_arcsec") at = i; if ($i ~ /^payload_accel/) off = i } $off = "spare"; print; next }
    { late[NR] = $at; if (NR - 3 in late) $at = late[NR - 3]; print }' | gzip >"$scratch/late/logs/sweep-south.csv.gz"
check 'a slow load encoder' run 0 identify "$scratch/late"
check 'is doubtful' out_has 'load encoder: ! doubtful'
check 'every ratio' out_has ' !'
check 'in 80 columns' fits
check 'for what a filter would do' out_has 'of second order: 74.'
check 'in the file' json "d['pointings'][0]['second_sensor']['doubtful']" "$scratch/late/results/identify.json"
check 'told by the forecast' run 1 predict --json --controller "$scratch/soft.ini" "$scratch/late"
check 'too' json "any('payload ratios are doubtful at 1 of 1' in n for n in d['notes'])"
sed -i '/^\[log sweep-south\]/a load_position_delay_samples = 3' "$scratch/late/axis.ini"
check 'with the lag stated' run 0 identify --json "$scratch/late"
check 'it is not doubtful' json "not d['pointings'][0]['second_sensor']['doubtful']"

# ---- a camera of 50 frames per second, each the mean over 20 rows, its exposure not stated
cp -r "$scratch/none" "$scratch/camera"
gzip -dc "$scratch/none/logs/sweep-south.csv.gz" | awk -F, -v OFS=, '
    !at { for (i = 1; i <= NF; i++) if ($i == "position_arcsec") at = i; print $0, "sky_arcsec"; next }
    n == 0 { shown = $at } { sum += $at; if (++n % 20 == 0) { shown = sum / 20; sum = 0 } print $0, shown }' |
    gzip >"$scratch/camera/logs/sweep-south.csv.gz"
check 'frames' run 0 inspect "$scratch/camera"
check 'are told with their rate' out_has 'a camera of 50 frames'
check 'and their exposure asked for' out_has 'sky_exposure_s'

# ---- gains that are not those stated
cp -r "$scratch/none" "$scratch/gains"
sed -i 's/^kp_nm_per_rad.*/kp_nm_per_rad = 3.2e4/; s/^kd_nm_s_per_rad.*/kd_nm_s_per_rad = 3.6e3/; s/^ki_nm_per_rad_s.*/ki_nm_per_rad_s = 6e4/' "$scratch/gains/axis.ini"
check 'gains twice those used' run 0 inspect "$scratch/gains"
check 'are told' out_has 'the gains are not those stated'
check 'no forecast from such a quiet log' run 3 predict --controller "$scratch/soft.ini" "$scratch/gains"
check 'by the forecast too, where they are accepted' run 1 predict --json --accept gains-differ --controller "$scratch/soft.ini" "$scratch/gains"
check 'as a caution' json "any('the gains are not those stated' in n for n in d['notes'])"

# ---- a zero in the right half plane: damping of the antiresonance at 20 Hz is pulled below none by the phase of the
# residue
sed 's/^mode1_zeta .*/mode1_zeta = 0.002/; s/^mode1_gain = .*/&\nmode1_gain_quadrature = 0.02/' "$small" >"$scratch/zero.txt"
run 0 simulate --quiet --log sweep-south "$scratch/zero.txt" "$scratch/zero"
check 'a zero in the right half plane' run 0 identify --json "$scratch/zero"
check 'is told, with what it means' json "any('has negative damping' in n and 'right half plane' in n for n in d['notes'])"
check 'and else not' run 0 identify "$scratch/none"
check 'at all' sh -c "! grep -q 'right half' '$scratch/out'"

# ---- a folder that cannot be written is told before the work
: >"$scratch/file"
check 'a folder under a file' run 2 identify --out "$scratch/file/below" "$scratch/none"
check 'is named' err_has "$scratch/file"

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
