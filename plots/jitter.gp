# jitter.gp - predicted jitter: power spectrum, and rms of everything below a frequency.
# Reads jitter.csv, limits.csv; writes plot.svg.  SPDX-License-Identifier: GPL-3.0-or-later
cd ARG1
load 'common.gp'
set terminal svg size 900,620 font 'sans-serif,14' background rgb 'white' dynamic enhanced
set output 'plot.svg'

stats 'limits.csv' using (required = $2, 1) skip 1 nooutput
limited = (required > 0)
stats 'jitter.csv' using 1 skip 1 name 'F' nooutput
stats 'jitter.csv' using 2 skip 1 name 'P' nooutput
stats 'jitter.csv' using 4 skip 1 name 'M' nooutput
most = limited && required > M_max ? required : M_max
# a requirement far above would press the curves flat on a linear axis
far  = most > 4.0 * M_max

set multiplot
set lmargin at screen 0.115
set rmargin at screen 0.985
set logscale x
set xrange [F_min:F_max]

set tmargin at screen 0.93
set bmargin at screen 0.53
set logscale y
# below the sensor's noise the motion itself is not known
set yrange [10 ** floor(log10(0.2 * P_min)):10 ** ceil(log10(P_max))]
set format x ''
set format y '10^{%T}'
set ylabel 'Spectrum (arcsec^2/Hz)' offset 0.9
set key at screen 0.105, screen 0.99 left top horizontal maxrows 1 width -6
if (limited) {
    plot 'jitter.csv' using 1:2 skip 1 with lines lc rgb blue lw 1.5 dt 1 title 'in the encoder log', \
         '' using 1:3 skip 1 with lines lc rgb orange lw 1.5 dt (8,3) title 'of the axis itself', \
         keyentry with lines lc rgb ink lw 1.3 dt (7,4) title sprintf('required: %.3g arcsec rms', required)
} else {
    plot 'jitter.csv' using 1:2 skip 1 with lines lc rgb blue lw 1.5 dt 1 title 'in the encoder log', \
         '' using 1:3 skip 1 with lines lc rgb orange lw 1.5 dt (8,3) title 'of the axis itself'
}
unset key

set tmargin at screen 0.50
set bmargin at screen 0.10
if (far) {
    set logscale y
    set yrange [M_max / 50.0:1.5 * most]
    do for [k = -7:3] { set ytics add (sprintf('%g', 2.0 * 10.0**k) 2.0 * 10.0**k, sprintf('%g', 5.0 * 10.0**k) 5.0 * 10.0**k) }
} else {
    unset logscale y
    set yrange [0:1.1 * most]
}
set format x '%g'
set format y '%g'
set xlabel 'Frequency (Hz)' offset 0, 0.3
set ylabel 'Rms below (arcsec)' offset 0.9
plot 'jitter.csv' using 1:4 skip 1 with lines lc rgb blue lw 1.5 dt 1, \
     '' using 1:5 skip 1 with lines lc rgb orange lw 1.5 dt (8,3), \
     (limited ? required : NaN) with lines lc rgb ink lw 1.3 dt (7,4)
unset multiplot
unset output
