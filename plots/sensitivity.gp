# sensitivity.gp - |S| and |T| of every pointing against frequency, with the limit on |S|.
# Reads loop-1.csv ... loop-N.csv, pointings.csv, limits.csv; writes plot.svg.
# SPDX-License-Identifier: GPL-3.0-or-later
cd ARG1
load 'common.gp'

stats 'pointings.csv' using (1) skip 1 name 'N' nooutput
n = int(N_records)
array names[n]
stats 'pointings.csv' using (names[int($0) + 1] = strcol(1), 1) skip 1 nooutput
stats 'limits.csv' using (peak = $1, 1) skip 1 nooutput
limited = (peak > 1)
stats 'loop-1.csv' using 1 skip 1 name 'F' nooutput

# the key stands above, in as many columns as the longest name allows; the picture grows with it
longest = 20
do for [i = 1:n] { longest = strlen(names[i]) > longest ? strlen(names[i]) : longest }
columns = int(780.0 / (50.0 + 8.5 * longest))
columns = columns < 1 ? 1 : columns
rows    = (n + 1 + columns - 1) / columns
height  = 570 + 24 * rows
y(px)   = 1.0 - px / (1.0 * height)
set terminal svg size 900,height font 'sans-serif,14' background rgb 'white' dynamic enhanced
set output 'plot.svg'

set multiplot
set lmargin at screen 0.09
set rmargin at screen 0.985
set logscale x
set xrange [F_min:F_max]
set format x ''
set ytics 10
set mytics 2

set tmargin at screen y(20 + 24 * rows)
set bmargin at screen y(270 + 24 * rows)
peaks = 10.0
do for [i = 1:n] {
    stats sprintf('loop-%d.csv', i) using (db($4)) skip 1 name 'S' nooutput
    stats sprintf('loop-%d.csv', i) using (db($5)) skip 1 name 'T' nooutput
    peaks = S_max > peaks ? S_max : peaks
    peaks = T_max > peaks ? T_max : peaks
}
set yrange [-60:peaks + 2]
set ylabel 'Sensitivity |S| (dB)' offset 0.6
set key at screen 0.09, screen y(4) left top horizontal maxcols columns
plot for [i = 1:n] sprintf('loop-%d.csv', i) using 1:(db($4)) skip 1 with lines lt i title names[i], \
     (limited ? db(peak) : NaN) with lines lc rgb ink lw 1.3 dt (7,4) \
        title (limited ? sprintf('limit of |S|: %.1f dB', db(peak)) : '')
unset key

set tmargin at screen y(285 + 24 * rows)
set bmargin at screen y(510 + 24 * rows)
set format x '%g'
set xlabel 'Frequency (Hz)' offset 0, 0.3
set ylabel 'Complementary |T| (dB)' offset 0.6
plot for [i = 1:n] sprintf('loop-%d.csv', i) using 1:(db($5)) skip 1 with lines lt i
unset multiplot
unset output
