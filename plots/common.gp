# common.gp - the look shared by all plots, loaded first by each of them.
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Called as `gnuplot -d -c SCRIPT FOLDER`: every input in FOLDER has a fixed name, user text is read from
# data files with strcol() and never becomes script. Colours: M. Okabe and K. Ito, Color Universal
# Design (2008), told apart by the colour-blind; where print may be grey, line style differs too.
set encoding utf8
set datafile separator comma
set datafile missing 'nan'
set key noenhanced Left reverse samplen 2.2 spacing 1.1
set border 3 lc rgb '#555555' lw 0.8
set xtics nomirror out scale 0.5, 0.25 textcolor rgb '#333333'
set ytics nomirror out scale 0.5, 0.25 textcolor rgb '#333333'
set grid xtics ytics back lt 1 lc rgb '#e0e0e0' lw 0.7 dt 1
set samples 361

ink      = '#222222'
blue     = '#0072b2'
sky      = '#a6cfe8'
orange   = '#d55e00'
green    = '#009e73'
purple   = '#aa4499'
ochre    = '#b88600'
grey     = '#777777'

# one line per pointing: colour and dash both change
set linetype 1 lc rgb blue   lw 1.5 dt 1
set linetype 2 lc rgb orange lw 1.5 dt (8,3)
set linetype 3 lc rgb green  lw 1.5 dt (3,2)
set linetype 4 lc rgb purple lw 1.5 dt (10,3,2,3)
set linetype 5 lc rgb ink    lw 1.2 dt 1
set linetype 6 lc rgb ochre  lw 1.5 dt (2,2,6,2)
set linetype 7 lc rgb grey   lw 1.5 dt (12,4)
set linetype 8 lc rgb '#56b4e9' lw 1.8 dt 1
set linetype cycle 8

arcsec = 648000.0 / pi
deg    = 180.0 / pi
db(x)  = x > 0 ? 20.0 * log10(x) : NaN
