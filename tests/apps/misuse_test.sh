#!/bin/sh
# Help, misuse, files that are not there, folders that cannot be written.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
commands='new simulate precheck inspect identify design predict verify report analyse'

check 'help: exit 0' run 0 --help
check 'on standard output' out_has 'quietaxis COMMAND'
check 'nothing on standard error' err_empty
check 'version' run 0 --version
for c in $commands; do
    run 0 --help
    check "$c is listed" out_has "  $c "
    check "$c --help: exit 0" run 0 "$c" --help
    check "$c --help holds a runnable example" grep -q "^  quietaxis $c " "$scratch/out"
    check "$c --help tells the exit codes" out_has 'Exit: 0'
    check "$c --help fits 80 columns" fits
    check "$c without arguments is misuse" run 2 "$c"
    check "$c points to its help" err_has "quietaxis $c --help"
    check "$c keeps standard output clean" out_empty
done

check 'no command is misuse' run 2
check 'told on standard error' err_has 'quietaxis COMMAND'
check 'an unknown command is misuse' run 2 tune x
check 'and named' err_has 'tune'
check 'a slip of the finger is understood' run 2 desing x
check 'but only told' err_has 'did you mean design?'
check 'so is one in an option' run 2 identify --thread 2 x
check 'told too' err_has 'did you mean --threads?'
check 'a far word is not guessed at' sh -c "! '$quietaxis' tune x 2>&1 | grep -q 'did you mean'"
check 'a missing argument is named' run 2 identify
check 'by its name' err_has 'LOGBOOK is missing'
check 'the second one, too' run 2 simulate "$small"
check 'by its name' err_has 'DIR is missing'
echo 'time_s,position_arcsec' >"$scratch/log.csv"
check 'a log is no logbook' run 2 identify "$scratch/log.csv"
check 'and told what one is' err_has 'LOGBOOK is a folder with axis.ini'
check 'an unknown option is misuse' run 2 identify --fast x
check 'and named' err_has '--fast'
check 'an option of another command is misuse' run 2 identify --seed 3 x
check 'an option without its value' run 2 identify --out
check 'an option with an empty value' run 2 identify --out= x
check 'a flag with a value' run 2 identify --json=yes x
check 'threads must be a number' run 2 identify --threads many x
check 'and not 0' run 2 identify --threads 0 x
check 'a word too many' run 2 identify a b
check 'an empty name' run 2 identify ''

check 'a logbook that is not there' run 2 identify "$scratch/nothing"
check 'named, with the system reason' err_has 'No such file'
check 'message begins with the program' grep -q '^quietaxis: ' "$scratch/err"
check 'no JSON after an error' run 2 identify --json "$scratch/nothing"
check 'nothing at all' out_empty

check 'new writes a logbook' run 0 new "$scratch/book"
check 'with a folder for logs' [ -d "$scratch/book/logs" ]
for key in $(sed -n '/^## 2/,/^## 4/p' "$TUNE_SOURCE/docs/formats.md" | grep -E '^\| `|^`\[' | sed -E 's/^(`\[[^:]*:[^|]*|\| ([^|]*) \|).*/\1/' |
    grep -oE '`[A-Za-z0-9_]+`' | tr -d '\140' | sed 's/^ROLE/torque/; s/^biquadN/biquad1/; s/^NAME_/kp_/' | sort -u); do
    grep -qE "^(; )?$key +=" "$scratch/book/axis.ini" && continue
    echo "# not in the template: $key"
    touch "$scratch/key-missing"
done
check 'every key of the formats stands in it' [ ! -e "$scratch/key-missing" ]
mkdir "$scratch/full"
# left out: what goes with another kind of log, another form of the drive's gains, or in place of its neighbour
awk '/^; \[/ || /^; [a-z0-9_]+ *=/ { sub("^; ", "") }
    /^(of|notch_width|velocity_integral|position_rate_hz|position_divider|kp_digits) / { next }
    /^[a-z0-9_]+ *= *(;|$)/ { key = $1
        print key " = " (key == "other_axis_state" ? "holding" : key == "loop_rate_hz" ? 1000 : key ~ /zeta/ ? 0.5 : 100); next }
    { print }' "$scratch/book/axis.ini" >"$scratch/full/axis.ini"
check 'with every key in use it is understood, only its logs are not there' run 2 inspect "$scratch/full"
check 'as told' err_has 'logs/east-45.csv.gz'
check 'new leaves what is there' run 2 new "$scratch/book"
check 'an unfilled logbook is refused' run 3 identify "$scratch/book"
check 'and asks for the loop rate' err_has 'loop_rate_hz'
sed 's/^loop_rate_hz *=/loop_rate_hz = 1000/' "$scratch/book/axis.ini" >"$scratch/ini" && mv "$scratch/ini" "$scratch/book/axis.ini"
check 'filled in, its log is missing' run 2 identify "$scratch/book"
check 'and named' err_has 'logs/east-45.csv.gz'
check 'with its section' err_has '[log east-45]'
check 'axis.ini itself may be named' run 2 identify "$scratch/book/axis.ini"
check 'an unknown log name' run 2 inspect --log nobody "$scratch/book"
check 'is told with those known' err_has 'east-45'
check 'an unknown pointing name' run 2 inspect --pointing nowhere "$scratch/book"
check 'new in a place that cannot be' run 2 new /dev/null/x
check 'new as JSON' run 0 new --json "$scratch/book2"
check 'is JSON' is_json

run 0 simulate --quiet --log sweep-south "$small" "$scratch/dec"
check 'an output folder that cannot be made' run 2 identify --out /dev/null/x "$scratch/dec"
check 'is named' err_has '/dev/null'
check 'another place is offered' err_has '--out DIR'
if [ -d /sys/kernel ]; then
    check 'a folder that may not be made' run 2 identify --out /sys/none/x "$scratch/dec"
    check 'the reason is the first one met' sh -c "! grep -q 'No such file' '$scratch/err'"
fi
check 'the output goes where it is sent' run 0 identify --out "$scratch/deep/er" "$scratch/dec"
check 'whole' json 'd["pointings"]' "$scratch/deep/er/identify.json"
check 'and nowhere else' [ ! -e "$scratch/dec/results" ]
check 'no half-written file is left' sh -c "! ls -A '$scratch/deep/er' | grep -q part"
check 'no gains to predict for: removed from axis.ini' sh -c "sed '/^\\[controller\\]/,/^\$/d' '$scratch/dec/axis.ini' >'$scratch/ini' && mv '$scratch/ini' '$scratch/dec/axis.ini'"
check 'no gains: misuse' run 2 predict "$scratch/dec"
check 'says what to give' err_has '--controller'
check 'a controller that is not there' run 2 predict --controller "$scratch/none.ini" "$scratch/dec"
printf '[controller]\nkp_nm_per_rad = 1e4\nkd = 3\n' >"$scratch/bad.ini"
check 'a faulty controller is unusable data' run 3 predict --controller "$scratch/bad.ini" "$scratch/dec"
check 'named with its line' err_has 'bad.ini:3'
printf '[controller]\nkp_nm_per_rad = 1e8\nki_nm_per_rad_s = 1e9\nkd_nm_s_per_rad = 1e6\n' >"$scratch/wild.ini"
check 'gains that do not hold the axis: no solution' run 4 predict --controller "$scratch/wild.ini" "$scratch/dec"
check 'simulate refuses a description of another axis' sh -c "sed 's/^configuration.*/configuration = other/' '$small' >'$scratch/other.ini'"
check 'and leaves the logbook' run 2 simulate --log quiet "$scratch/other.ini" "$scratch/dec"
check 'simulate without such a log' run 2 simulate --log nobody "$small" "$scratch/dec"
sed '/^torque_limit_nm/d' "$small" >"$scratch/endless.ini"
check 'simulate under gains that run away' run 4 simulate --log quiet --controller "$scratch/wild.ini" "$scratch/endless.ini" "$scratch/wild"
check 'leaves no axis.ini' [ ! -e "$scratch/wild/axis.ini" ]

# ---- Ctrl-C
"$quietaxis" simulate --quiet "$TUNE_SOURCE/datasets/heron-flat/hour-angle.ini" "$scratch/stopped" >"$scratch/out" 2>"$scratch/err" &
pid=$!
sleep 0.5
kill -TERM $pid
wait $pid
code=$?
check 'an interrupt ends it with exit 2' [ $code -eq 2 ]
check 'says so' err_has 'cancelled'
check 'and leaves no logbook behind' [ ! -e "$scratch/stopped/axis.ini" ]
check 'nor half a file' sh -c "! find '$scratch/stopped' -name '*.part' | grep ."
done_testing
