#!/bin/sh
# Malformed logs and logbooks, end to end: exit code and message of each.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/dec
run 0 simulate --quiet --log sweep-south "$small" "$book"
gzip -dc "$book/logs/sweep-south.csv.gz" >"$scratch/good.csv"
cp "$book/axis.ini" "$scratch/good.ini"

# bad COMMAND...: the log, changed by a filter;  bad_ini COMMAND...: axis.ini likewise
bad() { "$@" <"$scratch/good.csv" >"$book/logs/sweep-south.csv"; }
bad_ini() { "$@" <"$scratch/good.ini" >"$book/axis.ini"; }
# log DESCRIPTION TEXT: identify the logbook; the message holds TEXT
log() {
    sed 's/sweep-south.csv.gz/sweep-south.csv/' "$scratch/good.ini" >"$book/axis.ini"
    check "log: $1: exit 3" run 3 identify --quiet "$book"
    check "log: $1: says $2" err_has "$2"
    check "log: $1: names the file" err_has 'logs/sweep-south.csv'
    check "log: $1: nothing on standard output" out_empty
}
# ini DESCRIPTION TEXT: the same for axis.ini
ini() {
    check "axis.ini: $1: exit 3" run 3 identify --quiet "$book"
    check "axis.ini: $1: says $2" err_has "$2"
    check "axis.ini: $1: names file and line" grep -q 'axis\.ini:[0-9]' "$scratch/err"
}

# ---- logs
bad true
log 'empty' 'empty' 
bad head -n 1
log 'header only' 'row' 
bad sed '100s/,[^,]*$/,/'
log 'a field left empty' 'sweep-south.csv:100:'
bad sed '200s/,[0-9.-]*,/,nan,/'
log 'not a number' 'sweep-south.csv:200:'
bad sed '300s/,[0-9.-]*,/,1e999,/'
log 'too large for a number' 'sweep-south.csv:300:'
bad sed '400s/,[0-9.-]*,/,12x,/'
log 'letters in a number' 'sweep-south.csv:400:'
bad sed '500s/$/,7/'
log 'one field too many' 'sweep-south.csv:500:'
bad sed '600s/,[^,]*$//'
log 'one field too few' 'sweep-south.csv:600:'
bad sed '700,1000d'
log 'many rows missing' 'sweep-south.csv:700:1'
bad sed '700,2000d'
log 'a long gap' 'sweep-south.csv:700:1'
bad awk -F, -v OFS=, 'NR > 800 { $1 -= 0.5 } 1'
log 'time running backwards' 'sweep-south.csv:801:1'
bad awk -F, -v OFS=, 'NR > 1 { $1 = sprintf("%.9f", $1 * 1.01) } 1'
log 'another rate than stated' 'sweep-south.csv:2:1'
bad cut -d, -f1,2,4,5
log 'no torque' 'torque'
bad cut -d, -f1,2,3,5
log 'no position' 'position'
bad sed '1s/position_arcsec/position_furlong/'
log 'a unit nobody knows' 'position'
bad sed '1s/torque_nm/torque_a/'
log 'ampere without a torque constant' 'torque_per_unit_nm'
bad sed '1s/torque_nm/position_arcsec/'
log 'a column twice' 'sweep-south.csv:1'
bad awk -F, -v OFS=, 'NR > 1 { $3 = 0 } 1'
log 'a dead torque channel' 'torque'
bad awk -F, -v OFS=, 'NR > 1 { $4 = 5 } 1'
log 'a dead position channel' 'position'
bad awk -F, -v OFS=, 'NR > 1 { $3 = -$3 } 1'
log 'torque of the wrong sign' 'sign'
bad tr '\n' '\r'
log 'lines ended by CR alone' 'sweep-south.csv:1'
bad awk '{ printf "%s,", $0 }'
log 'one endless line' 'sweep-south.csv:1: '
bad sed '1000s/,/\x00,/'
log 'a zero byte' 'sweep-south.csv:1000:'
bad awk '{ printf "%s", $0; for (i = 0; i < 10000; i++) printf ",0"; print "" } NR == 3 { exit }'
log 'ten thousand columns' 'sweep-south.csv:1:1024: '
bad sed '1100s/,/;/g'
log 'another separator in a row' 'sweep-south.csv:1100:2: '
bad sed '1s/,/;/'
log 'separators mixed in the header' 'sweep-south.csv:1'
bad sh -c "head -c 100000 '$quietaxis'"
log 'a program' 'sweep-south.csv:1: '
bad head -n 40
log 'a handful of rows' 'sweep-south.csv'
bad printf 'PK\003\004 this is no table'
log 'another kind of file' 'sweep-south.csv' 
rm -f "$book/logs/sweep-south.csv"
cp "$scratch/good.ini" "$book/axis.ini"
gzip -c "$scratch/good.csv" | head -c 100000 >"$book/logs/sweep-south.csv.gz"
check 'log: gzip cut off: exit 3' run 3 identify --quiet "$book"
check 'log: gzip cut off: names the file' err_has 'sweep-south.csv.gz'
mkdir "$book/logs/folder"
sed 's/sweep-south.csv.gz/folder/' "$scratch/good.ini" >"$book/axis.ini"
check 'log: a folder: exit 3' run 3 identify --quiet "$book"
check 'log: a folder: told what it is' err_has 'logs/folder: this is a folder'
mkfifo "$book/logs/pipe"
sed 's/sweep-south.csv.gz/pipe/' "$scratch/good.ini" >"$book/axis.ini"
for command in identify inspect; do
    timeout 20 "$quietaxis" $command --quiet "$book" >"$scratch/out" 2>"$scratch/err"
    check "log: a pipe: $command ends with exit 3" [ $? -eq 3 ]
    check "log: a pipe: $command says so" err_has 'logs/pipe: this is a pipe, not a file'
    check "log: a pipe: $command: nothing on standard output" out_empty
done
if [ "$(id -u)" -ne 0 ]; then # root may read anything; the unit tests are nobody for a while
    chmod 0 "$book/logs/sweep-south.csv.gz"
    cp "$scratch/good.ini" "$book/axis.ini"
    check 'log: may not be read: exit 3' run 3 identify --quiet "$book"
    check 'log: may not be read: says so' err_has 'may not be read'
fi
rm -f "$book/logs/sweep-south.csv.gz"
cp "$scratch/good.ini" "$book/axis.ini"
check 'log: not there: exit 2' run 2 identify --quiet "$book"
check 'log: not there: named' err_has 'sweep-south.csv.gz'
check 'no result of any of them is left' sh -c "! ls '$book/results' 2>/dev/null | grep ."

# ---- inspect tells the same as an answer
sed '200s/,[0-9.-]*,/,nan,/' "$scratch/good.csv" | gzip -c >"$book/logs/sweep-south.csv.gz"
check 'inspect: an unreadable log is unfit: exit 1' run 1 inspect --quiet "$book"
check 'inspect: with its place' out_has 'line 200'
check 'inspect: as JSON' run 1 inspect --quiet --json "$book"
check 'inspect: with a finding' json 'd["logs"][0]["verdict"] == "unfit" and d["logs"][0]["findings"][0]["name"] == "unreadable"'

# ---- axis.ini
bad_ini sed 's/^\[drive\]/[motor]/'
ini 'unknown section' 'motor'
bad_ini sed 's/^torque_limit_nm/torque_limt_nm/'
ini 'unknown key' 'torque_limt_nm'
bad_ini sed 's/^torque_limit_nm.*/&\n&/'
ini 'repeated key' 'torque_limit_nm'
bad_ini sed 's/^\[requirement\]/[drive]/'
ini 'repeated section' 'drive'
bad_ini sed 's/^loop_rate_hz .*/loop_rate_hz = fast/'
ini 'a word for a number' 'loop_rate_hz'
bad_ini sed 's/^loop_rate_hz .*/loop_rate_hz = -5/'
ini 'out of range' 'loop_rate_hz'
bad_ini sed 's/^kind .*/kind = wobble/'
ini 'unknown kind' 'wobble'
bad_ini sed 's/^\[log sweep-south\]/[log Sweep South]/'
ini 'a bad log name' 'Sweep South'
bad_ini sed 's/^pointing .*/pointing/'
ini 'a key without value' 'pointing'
bad_ini sed 's/^\[axis\]/[axis/'
ini 'a bracket left open' 'axis'
bad_ini awk '{ print } /^\[log/ { keep = 1 } keep { text = text $0 "\n" } END { printf "%s", text }'
ini 'the same log twice' 'sweep-south'
sed '/^\[log/,$d' "$scratch/good.ini" >"$book/axis.ini"
check 'axis.ini: no log at all: exit 3' run 3 identify --quiet "$book"
sed '/^\[drive\]/,/^$/d' "$scratch/good.ini" >"$book/axis.ini"
check 'axis.ini: no [drive]: exit 3' run 3 identify --quiet "$book"
: >"$book/axis.ini"
check 'axis.ini: empty: exit 3' run 3 identify --quiet "$book"
sed 's/^kind .*/kind = hold/' "$scratch/good.ini" >"$book/axis.ini"
check 'axis.ini: no sweep: exit 3' run 3 identify --quiet "$book"
check 'axis.ini: no sweep: says what to do' err_has 'kind = sweep'
done_testing
