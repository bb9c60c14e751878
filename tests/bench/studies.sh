# studies.sh - sourced by benches that run several studies and gather what they print, "what | goal |
# measured | yes or NO", in one table. Sets seed, part and out, a folder for what each study printed.
#   begin_studies NAME "$@"; study TITLE PROGRAM WORDS...; ...; end_studies
# SPDX-License-Identifier: GPL-3.0-or-later

begin_studies() {
    name=$1; seed=${2:-0}; part=${3:-1}
    case $seed$part in *[!0-9]*) echo "SEED and PART are whole numbers" >&2; exit 2;; esac
    [ "$part" -ge 1 ] || { echo "PART must be 1 or more" >&2; exit 2; }
    out=build/$name; probes=build/obj/tests
    rm -rf "$out"; mkdir -p "$out"
    failed=0; studies=0
    begun=$(date +%s)
}

# name, program and its words
study() {
    studies=$((studies + 1)); log=$out/$studies-$1.txt; shift
    echo "$*" | sed "s|^$probes/||"
    "$@" >"$log" 2>&1 || failed=1
    grep -q ' | yes$\| | NO$' "$log" || { tail -n 5 "$log"; echo "$*: no figures | | | NO" >>"$log"; failed=1; }
    sed -n 's/^# \(seed .*\)/  \1/; / modes, .* found, /d; s/^  //p' "$log" | head -n 20
}

runs() { echo $((($1 + part - 1) / part)); }

# the table; the status is 1 where a study failed or a goal is missed
end_studies() {
    echo
    awk -F ' [|] ' '
        / [|] (yes|NO)$/ { n++; for (i = 1; i <= 4; i++) { cell[n, i] = $i; if (length($i) > wide[i]) wide[i] = length($i) } }
        function row(a, b, c, d) { printf "%-*s  %-*s  %*s  %s\n", wide[1], a, wide[2], b, wide[3], c, d }
        END { if (wide[3] < 8) wide[3] = 8
              row("figure", "goal", "measured", "met")
              for (k = 1; k <= n; k++) row(cell[k, 1], cell[k, 2], cell[k, 3], cell[k, 4]) }' "$out"/*.txt
    echo
    missed=$(cat "$out"/*.txt | grep -c ' | NO$')
    [ "$missed" = 0 ] && verdict='all goals met' || { verdict="$missed goals missed"; failed=1; }
    [ "$part" = 1 ] && share=all || share=1/$part
    echo "seed $seed, $share of the runs, $(($(date +%s) - begun)) s: $verdict"
    [ "$part" = 1 ] || echo "With fewer runs the measured figures scatter more than their goals allow for."
    return $failed
}
