# loop.gp - the open loop of every pointing in the complex plane, around the point -1.
# Reads loop-1.csv ... loop-N.csv, pointings.csv, limits.csv, marks.csv; writes plot.svg.
# SPDX-License-Identifier: GPL-3.0-or-later
cd ARG1
load 'common.gp'

stats 'pointings.csv' using (1) skip 1 name 'N' nooutput
n = int(N_records)
array names[n]
stats 'pointings.csv' using (names[int($0) + 1] = strcol(1), 1) skip 1 nooutput
stats 'limits.csv' using (peak = $1, 1) skip 1 nooutput
limited = (peak > 1)

# the key stands to the right; the picture is as wide as the longest name needs
longest = 16
do for [i = 1:n] { longest = strlen(names[i]) > longest ? strlen(names[i]) : longest }
width = 720 + 9 * longest
width = width < 900 ? 900 : width
x(px) = px / (1.0 * width)
set terminal svg size width,640 font 'sans-serif,14' background rgb 'white' dynamic enhanced
set output 'plot.svg'

set size ratio -1
set lmargin at screen x(81)
set rmargin at screen x(632)
set tmargin at screen 0.975
set bmargin at screen 0.115
set xrange [-2.5:1.5]
set yrange [-2.5:1.5]
set xtics 0.5
set ytics 0.5
set xlabel 'Real part of the open loop (ratio)'
set ylabel 'Imaginary part of the open loop (ratio)' offset 0.6
set key at screen x(645), screen 0.975 left top vertical
set clip two
set xzeroaxis lt 1 lc rgb '#999999' lw 0.7 dt 1
set yzeroaxis lt 1 lc rgb '#999999' lw 0.7 dt 1

turn(k) = 2.0 * pi * k / 360.0
plot '+' using (limited ? -1.0 + cos(turn($0)) / peak : NaN):(sin(turn($0)) / peak) \
        with filledcurves closed fc rgb '#f8dfd0' fs solid 1 noborder \
        title (limited ? sprintf('|S| above %.3g', peak) : ''), \
     '+' using (cos(turn($0))):(sin(turn($0))) with lines lc rgb grey lw 1 dt (4,3) title 'unit circle', \
     for [i = 1:n] sprintf('loop-%d.csv', i) using 2:3 skip 1 with lines lt i title names[i], \
     'marks.csv' using 2:3 skip 1 with points pt 7 ps 0.4 lc rgb ink notitle, \
     '' using 2:3:(sprintf('%g', $1)) skip 1 with labels left offset 0.6, -0.1 font ',12' textcolor rgb ink noenhanced notitle, \
     keyentry with points pt 7 ps 0.4 lc rgb ink title 'Hz on ' . names[1], \
     '+' using (-1):(0) every ::0::0 with points pt 2 ps 1 lw 2 lc rgb orange title 'the point -1'
unset output
