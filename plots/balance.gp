# balance.gp - torque against angle of slow turns: measured both ways, fitted, and once mended.
# Reads balance.csv, turns.csv, friction.csv; writes plot.svg.  SPDX-License-Identifier: GPL-3.0-or-later
cd ARG1
load 'common.gp'
set terminal svg size 900,460 font 'sans-serif,14' background rgb 'white' dynamic enhanced
set output 'plot.svg'

# Coulomb friction, and whether there is a remedy to draw
stats 'friction.csv' using (coulomb = $1, mends = $2, 1) skip 1 nooutput
stats 'balance.csv' using 1 skip 1 name 'A' nooutput
stats 'balance.csv' using 2 skip 1 name 'H' nooutput
stats 'turns.csv' using 2 skip 1 name 'R' nooutput
stats 'turns.csv' using 3 skip 1 name 'F' nooutput
top    = R_max > H_max + coulomb ? R_max : H_max + coulomb
bottom = F_min < H_min - coulomb ? F_min : H_min - coulomb

set lmargin at screen 0.095
set rmargin at screen 0.985
set tmargin at screen 0.86
set bmargin at screen 0.13
set xrange [A_min:A_max]
set yrange [bottom - 0.08 * (top - bottom):top + 0.08 * (top - bottom)]
set xzeroaxis lc rgb '#555555' lw 0.8
set xlabel 'Angle (deg)' offset 0, 0.3
set ylabel 'Torque of the drive (N m)' offset 0.9
set key at screen 0.095, screen 0.99 left top horizontal maxrows 2 width -4
if (mends) {
    plot 'turns.csv' using 1:2 skip 1 with points pt 7 ps 0.35 lc rgb blue title 'measured, angle rising', \
         '' using 1:3 skip 1 with points pt 7 ps 0.35 lc rgb orange title 'measured, falling', \
         'balance.csv' using 1:($2 + coulomb) skip 1 with lines lc rgb ink lw 1.2 dt 1 title 'fit: holding torque and friction', \
         '' using 1:($2 - coulomb) skip 1 with lines lc rgb ink lw 1.2 dt 1 notitle, \
         '' using 1:2 skip 1 with lines lc rgb purple lw 1.8 dt (10,3,2,3) title 'holding torque now', \
         '' using 1:5 skip 1 with lines lc rgb green lw 1.8 dt (3,2) title 'once mended'
} else {
    plot 'turns.csv' using 1:2 skip 1 with points pt 7 ps 0.35 lc rgb blue title 'measured, angle rising', \
         '' using 1:3 skip 1 with points pt 7 ps 0.35 lc rgb orange title 'measured, falling', \
         'balance.csv' using 1:($2 + coulomb) skip 1 with lines lc rgb ink lw 1.2 dt 1 title 'fit: holding torque and friction', \
         '' using 1:($2 - coulomb) skip 1 with lines lc rgb ink lw 1.2 dt 1 notitle, \
         '' using 1:2 skip 1 with lines lc rgb purple lw 1.8 dt (10,3,2,3) title 'holding torque'
}
unset output
