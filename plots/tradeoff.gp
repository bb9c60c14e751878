# tradeoff.gp - torque from sensor noise against jitter: the curve of proposals, and the gains in use.
# Reads curve.csv, named.csv, limits.csv; writes plot.svg.  SPDX-License-Identifier: GPL-3.0-or-later
cd ARG1
load 'common.gp'
height = 500
y(px)  = 1.0 - px / (1.0 * height)
set terminal svg size 900,height font 'sans-serif,14' background rgb 'white' dynamic enhanced
set output 'plot.svg'

stats 'limits.csv' using (jitter = $1, torque = $2, of_sky = $3, 1) skip 1 nooutput
stats 'named.csv' using 1 skip 1 name 'J' nooutput
stats 'named.csv' using 2 skip 1 name 'T' nooutput
low   = J_min
high  = J_max
least = T_min
most  = T_max
skies = 0
longest = 0
stats 'curve.csv' using (low = $1 < low ? $1 : low, high = $1 > high ? $1 : high, 1) skip 1 nooutput
stats 'curve.csv' using (least = $2 < least ? $2 : least, most = $2 > most ? $2 : most, 1) skip 1 nooutput
stats 'named.csv' using (longest = strlen(strcol(5)) > longest ? strlen(strcol(5)) : longest, 1) skip 1 nooutput
positive(v) = v > 0 ? v : NaN
stats 'named.csv' using (s = valid(3) ? $3 : 0, skies = s > 0 ? skies + 1 : skies, high = s > high ? s : high, low = s > 0 && s < low ? s : low, 1) skip 1 nooutput
of_sky  = (of_sky > 0)
limited = (jitter > 0)
capped  = (torque > 0)
if (limited) { low = jitter < low ? jitter : low; high = jitter > high ? jitter : high }
if (capped)  { least = torque < least ? torque : least; most = torque > most ? torque : most }

# names stand to the left of their points
panel  = 790.0
room   = (20.0 + 9.0 * longest) / panel
decade = log10(high / low) > 0.3 ? log10(high / low) : 0.3
set logscale xy
set xrange [low / 10 ** (decade * room / (0.95 - room)):high * 10 ** (0.05 * decade)]
tall = log10(most / least) > 0.3 ? log10(most / least) : 0.3
set yrange [least / 10 ** (0.12 * tall):most * 10 ** (0.12 * tall)]
set format '%g'
if (decade < 4.0) { do for [k = -7:4] { set xtics add (sprintf('%g', 2.0 * 10.0**k) 2.0 * 10.0**k, sprintf('%g', 5.0 * 10.0**k) 5.0 * 10.0**k) } }
if (tall < 2.5) { do for [k = -7:4] { set ytics add (sprintf('%g', 2.0 * 10.0**k) 2.0 * 10.0**k, sprintf('%g', 5.0 * 10.0**k) 5.0 * 10.0**k) } }

set lmargin at screen 0.105
set rmargin at screen 0.985
set tmargin at screen y(82)
set bmargin at screen y(440)
set xlabel (of_sky ? 'Jitter of the line of sight (arcsec rms)' : 'Jitter (arcsec rms)') offset 0, 0.3
set ylabel 'Noise torque (N m rms)' offset 0.6
set key at screen 0.105, screen y(4) left top horizontal maxrows 3 width -4
signal = of_sky ? 'line of sight' : 'encoder log'
is(k) = (int(column(4)) == k) ? $1 : NaN

set style line 11 lc rgb blue   lw 1.5 dt 1
set style line 12 lc rgb orange lw 1.5 dt (8,3)
set style line 13 lc rgb ink    lw 1.3 dt (7,4)
set style line 14 lc rgb grey   lw 1.3 dt (2,3)
if (limited) { set arrow 1 from jitter, graph 0 to jitter, graph 1 nohead ls 13 back }
if (capped)  { set arrow 2 from graph 0, first torque to graph 1, first torque nohead ls 14 back }

plot 'curve.csv' using 1:2 skip 1 with linespoints ls 11 pt 7 ps 0.4 title signal, \
     keyentry with lines ls 13 title (limited ? sprintf('jitter asked for: %.3g', jitter) : ''), \
     'curve.csv' using (skies > 0 ? $3 : NaN):2 skip 1 with linespoints ls 12 pt 6 ps 0.5 \
        title (skies > 0 ? (of_sky ? 'the same but for unseen twist' : 'line of sight but for unseen twist') : ''), \
     keyentry with lines ls 14 title (capped ? sprintf('noise torque allowed: %.3g', torque) : ''), \
     'named.csv' using (is(1)):2 skip 1 with points pt 7 ps 0.9 lc rgb blue notitle, \
     '' using (is(2)):2 skip 1 with points pt 5 ps 1.3 lc rgb blue title 'recommended', \
     '' using (is(3)):2 skip 1 with points pt 9 ps 1.1 lc rgb ink notitle, \
     '' using 1:2:(strcol(5)) skip 1 with labels right offset -1.1, -0.1 textcolor rgb ink noenhanced notitle
unset output
