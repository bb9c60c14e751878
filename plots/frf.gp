# frf.gp - one pointing: magnitude, phase and coherence of torque to angle, with the fitted model.
# Reads frf.csv, model.csv, marks.csv; writes plot.svg.  SPDX-License-Identifier: GPL-3.0-or-later
cd ARG1
load 'common.gp'
set terminal svg size 900,780 font 'sans-serif,14' background rgb 'white' dynamic enhanced
set output 'plot.svg'

# the 95 % radius about an estimate: std sqrt(F.95(2, 2 dof)), in closed form dof (0.05^(-1/dof) - 1)
radius(std, dof)  = std * sqrt(dof * (0.05 ** (-1.0 / dof) - 1.0))
size(re, im)      = sqrt(re * re + im * im)
lower(re, im, r)  = size(re, im) > r ? size(re, im) - r : 1e-30
# phases are shown between -315 and 45 degrees, so that neither the rigid body's -180 nor a
# collocated mode's 0 lies where the turn begins
fold(x)           = x - 360.0 * floor((x + 315.0) / 360.0)
phase(re, im)     = fold(deg * atan2(im, re))
half(std, dof, r) = radius(std, dof) < r ? deg * asin(radius(std, dof) / r) : 180.0
# a model line is broken where the fold jumps
broken(x)         = (previous = last, last = x, abs(x - previous) > 180.0 ? NaN : x)
last              = NaN

stats 'frf.csv' using 1 skip 1 name 'F' nooutput
stats 'frf.csv' using (arcsec * size($2, $3)) skip 1 name 'G' nooutput
# the model tells how far down to show: a measured minimum may be nothing but noise
stats 'model.csv' using ($1 >= F_min && $1 <= F_max ? arcsec * size($2, $3) : NaN) skip 1 name 'H' nooutput
low    = F_min / 1.12
high   = F_max * 1.12
bottom = 10 ** floor(log10(exists('H_min') ? H_min / 2.0 : G_min))
top    = 10 ** ceil(log10(G_max))
# marks of the other kind lie off the plot: gnuplot 5.4 crashes on a curve without any defined point
aside  = low / 1000.0

set multiplot
set lmargin at screen 0.105
set rmargin at screen 0.985
set xrange [low:high]
set logscale x
set grid mxtics lt 1 lc rgb '#e0e0e0' lw 0.7 dt 1, lt 1 lc rgb '#f0f0f0' lw 0.5 dt 1

# the row of marks: each frequency, spread where crowded, with a line to where it belongs
set tmargin at screen 0.925
set bmargin at screen 0.845
unset border
unset xtics
unset ytics
unset grid
set yrange [0:1]
set key horizontal at screen 0.105, screen 0.992 left top maxrows 1 width -3
plot keyentry with lines lc rgb blue lw 1.4 dt 1 title 'measured', \
     keyentry with boxes fc rgb sky fs solid 0.75 noborder title '95 % band', \
     keyentry with lines lc rgb ink lw 1.4 dt (6,3) title 'fitted model', \
     keyentry with lines lc rgb orange lw 1 dt 1 title 'resonance', \
     keyentry with lines lc rgb green lw 1.2 dt (2,3) title 'antiresonance', \
     'marks.csv' using ($1 == 1 ? $3 : aside):(0.24):(sprintf('%.4g', $2)) skip 1 \
        with labels left rotate by 90 font ',12' textcolor rgb orange notitle, \
     '' using ($1 == 2 ? $3 : aside):(0.24):(sprintf('%.4g', $2)) skip 1 \
        with labels left rotate by 90 font ',12' textcolor rgb '#007a59' notitle, \
     '' using ($1 == 1 ? $2 : aside):(0):($1 == 1 ? $3 - $2 : 0):(0.18) skip 1 with vectors nohead lc rgb orange lw 1 dt 1 notitle, \
     '' using ($1 == 2 ? $2 : aside):(0):($1 == 2 ? $3 - $2 : 0):(0.18) skip 1 with vectors nohead lc rgb green lw 1.2 dt (2,3) notitle
unset key
set border 3
set xtics nomirror out scale 0.5, 0.25
set ytics nomirror out scale 0.5, 0.25
set grid xtics ytics mxtics

set format x ''
set tmargin at screen 0.845
set bmargin at screen 0.465
set logscale y
set yrange [bottom:top]
set format y '10^{%T}'
set label 1 'Magnitude (arcsec per N m)' at screen 0.035, screen 0.655 center rotate by 90
plot 'marks.csv' using ($1 == 1 ? $2 : aside):(bottom):(0):(top - bottom) skip 1 with vectors nohead lc rgb orange lw 0.7 dt 1, \
     '' using ($1 == 2 ? $2 : aside):(bottom):(0):(top - bottom) skip 1 with vectors nohead lc rgb green lw 0.9 dt (2,3), \
     'frf.csv' using 1:(arcsec * lower($2, $3, radius($4, $5))):(arcsec * (size($2, $3) + radius($4, $5))) \
        skip 1 with filledcurves fc rgb sky fs solid 0.75 noborder, \
     '' using 1:(arcsec * size($2, $3)) skip 1 with lines lc rgb blue lw 1.4 dt 1, \
     'model.csv' using 1:(arcsec * size($2, $3)) skip 1 with lines lc rgb ink lw 1.2 dt (6,3)

unset logscale y
set tmargin at screen 0.445
set bmargin at screen 0.225
set yrange [-315:45]
set ytics -270, 90, 0
set format y '%g'
set label 1 'Phase (deg)' at screen 0.035, screen 0.335 center rotate by 90
plot 'frf.csv' using 1:(phase($2, $3) - half($4, $5, size($2, $3))):(phase($2, $3) + half($4, $5, size($2, $3))) \
        skip 1 with filledcurves fc rgb sky fs solid 0.75 noborder, \
     '' using 1:(broken(phase($2, $3))) skip 1 with lines lc rgb blue lw 1.4 dt 1, \
     'model.csv' using 1:(broken(phase($2, $3))) skip 1 with lines lc rgb ink lw 1.2 dt (6,3)

set tmargin at screen 0.205
set bmargin at screen 0.085
set yrange [0:1.02]
set ytics 0, 0.5, 1
set format x '%g'
set xtics add ('2' 2, '5' 5, '20' 20, '50' 50, '200' 200, '500' 500, '0.2' 0.2, '0.5' 0.5)
set xlabel 'Frequency (Hz)' offset 0, 0.3
set label 1 "Coherence,\nsquared" at screen 0.025, screen 0.155 center rotate by 90
plot 'frf.csv' using 1:6 skip 1 with lines lc rgb blue lw 1 dt 1
unset multiplot
unset output
