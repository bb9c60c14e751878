# modes.gp - change of every mode's frequency, and of the inertia, with the angle, with error bars.
# Reads mode-1.csv ... mode-N.csv (angle, change, std; degrees and percent), labels.csv, axis.csv;
# writes plot.svg.  SPDX-License-Identifier: GPL-3.0-or-later
cd ARG1
load 'common.gp'

stats 'labels.csv' using (1) skip 1 name 'N' nooutput
n = int(N_records)
array names[n]
stats 'labels.csv' using (names[int($0) + 1] = strcol(1), 1) skip 1 nooutput
stats 'axis.csv' using (other = $1, 1) skip 1 nooutput

columns = 5
rows    = (n + columns - 1) / columns
height  = 400 + 24 * rows
y(px)   = 1.0 - px / (1.0 * height)
set terminal svg size 900,height font 'sans-serif,14' background rgb 'white' dynamic enhanced
set output 'plot.svg'

low = 1e9
high = -1e9
least = 0.0
most = 0.0
do for [i = 1:n] {
    stats sprintf('mode-%d.csv', i) using 1 skip 1 name 'A' nooutput
    low  = A_min < low ? A_min : low
    high = A_max > high ? A_max : high
    stats sprintf('mode-%d.csv', i) using ($2 - $3) skip 1 name 'L' nooutput
    stats sprintf('mode-%d.csv', i) using ($2 + $3) skip 1 name 'H' nooutput
    least = L_min < least ? L_min : least
    most  = H_max > most ? H_max : most
}
pad = 0.06 * (high - low)
gap = most - least > 1e-3 ? 0.08 * (most - least) : 1e-3
# neighbours stand a little aside, so that bars at one angle do not cover each other
aside(i) = (i - 0.5 * (n + 1)) * 0.06 * pad

set lmargin at screen 0.09
set rmargin at screen 0.985
set tmargin at screen y(20 + 24 * rows)
set bmargin at screen y(340 + 24 * rows)
set xrange [low - pad:high + pad]
set yrange [least - gap:most + gap]
set xlabel (other > 0 ? 'Angle of the other axis (deg)' : 'Angle (deg)') offset 0, 0.3
set ylabel 'Change (%)' offset 0.6
set xzeroaxis lt 1 lc rgb '#888888' lw 0.7
set key at screen 0.09, screen y(4) left top horizontal maxcols columns
set pointsize 0.6
set bars 0.6
plot for [i = 1:n] sprintf('mode-%d.csv', i) using ($1 + aside(i)):2:3 skip 1 with yerrorlines lt i pt 7 title names[i]
unset output
