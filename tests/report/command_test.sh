#!/bin/sh
# `report` on a small simulated axis: written whole, the same bytes again, honest about what is missing.
# SPDX-License-Identifier: GPL-3.0-or-later
. "$TUNE_SOURCE/tests/apps/apps.sh"
book=$scratch/dec
page=$book/results/report.html
page_has() { grep -qF -e "$1" "$page"; }
page_lacks() { ! grep -qF -e "$1" "$page"; }
# the system without gnuplot: an empty PATH but for what run needs, which is built into the shell
without_gnuplot() {
    old=$PATH
    PATH=$scratch/nothing
    "$quietaxis" report "$book" >"$scratch/out" 2>"$scratch/err" </dev/null
    code=$?
    PATH=$old
    [ "$code" -eq 2 ]
}

run 0 simulate --quiet --log sweep-south --log quiet "$small" "$book"
check 'report does all the earlier steps' run 0 report "$book"
check 'prints the name of the page, nothing else' sh -c "echo '$page' | cmp - '$scratch/out'"
check 'judges what is designed and predicted, and says that nothing was measured' \
    page_has 'designed and predicted; not measured yet.'
check 'carries the cautions' page_has 'Nothing was written to a drive.'
check 'names its inputs' page_has 'logs/sweep-south.csv.gz'
check 'holds no path of this machine' page_lacks "$scratch"
cp "$page" "$scratch/first.html"
check 'report again, as json' run 0 report --json --threads 1 "$book"
check 'lists the page' json 'd["files"] == ["report.html"]'
check 'and gives the same bytes' cmp "$page" "$scratch/first.html"

check 'without gnuplot it is refused' without_gnuplot
check 'with what to install' err_has 'apt-get install gnuplot-nox'
check 'nothing is printed' out_empty
check 'and the earlier page stays whole' cmp "$page" "$scratch/first.html"

check 'a bold design with its bound' run 0 design --bold --bound --quiet "$book"
check 'is kept by report' run 0 report "$book"
check 'as it is' err_has 'design.json is fresh'
check 'and said to be' err_has 'the design stays bold'
check 'its bound stands on the page' page_has 'The least jitter any linear controller'
check 'another number of modes, and it is made anew' run 0 report --modes 2 "$book"
check 'anew' err_has 'design.json is made anew'
check 'in the same way' json 'd["goal"] == "bold" and d["bound"]' "$book/results/design.json"
check 'design alone makes it calm' run 0 design --quiet "$book"
check 'which report keeps, too' run 0 report "$book"
check 'without a bound' page_lacks 'The least jitter any linear controller'
check 'unless it is asked for' run 0 report --bold "$book"
check 'the bold one' json 'd["goal"] == "bold"' "$book/results/design.json"
run 0 design --quiet "$book"

printf '[controller]\nkp_nm_per_rad = 16123\nki_nm_per_rad_s = 3e4\nkd_nm_s_per_rad = 1.8e3\nderivative_filter_hz = 60\n' \
    >"$scratch/mine.ini"
check 'gains from outside' run 0 report --controller "$scratch/mine.ini" "$book"
check 'stand on the page' page_has '<td>16123</td>'
check 'with their margins' page_has 'Margins of the gains the prediction is for'
check 'a controller file that is not there' run 2 report --controller "$scratch/none.ini" "$book"
echo 'kp = 1' >"$scratch/faulty.ini"
check 'a faulty controller file' run 3 report --controller "$scratch/faulty.ini" "$book"

# a limit on noise torque follows from the continuous rating, so that goes too
sed '/^\[log quiet\]/,$d; /^\[requirement\]/,/^$/d; /^torque_continuous_nm/d' "$book/axis.ini" >"$scratch/axis.ini"
cp "$scratch/axis.ini" "$book/axis.ini"
check 'without a quiet log and a requirement' run 0 report "$book"
check 'nothing is judged' page_has 'Not judged: the logbook states no requirement'
check 'the disturbance is called an assumption' page_has 'under an assumed disturbance'
check 'a logbook that is not there' run 2 report "$scratch/nowhere"
done_testing
