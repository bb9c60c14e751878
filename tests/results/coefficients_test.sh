#!/bin/sh
# Controllers as C headers: compiled with every warning an error, run, and held against the library's own
# controller sample by sample.  SPDX-License-Identifier: GPL-3.0-or-later
set -u
probe=${TUNE_BUILD:?}/tests/results/probe_coefficients
work=$(mktemp -d /tmp/tune-test-XXXXXX)
trap 'rm -rf "$work"' EXIT
command -v gcc >/dev/null || { printf '1..1\nok 1 # SKIP gcc is not installed\n'; exit 0; }
n=0 failed=0
tell() { # answer, name
    n=$((n + 1))
    if [ "$1" = 0 ]; then echo "ok $n $2"; else failed=1; echo "not ok $n $2"; fi
}
compile() { gcc -std=c11 -pedantic -Wall -Wextra -Wconversion -Wshadow -Werror -I"$work" -o "$work/run" "$work/run.c" >"$work/log" 2>&1; }

for case in 'float64 parallel 1' 'float32 parallel 1' 'Q2.30 parallel 1' 'Q2.14 standard 1' 'Q4.60 parallel 1' \
    'float32 notch 1' 'float64 cascade 1' 'float64 cascade 4' 'float32 cascade 4' 'Q2.30 cascade 10'; do
    # shellcheck disable=SC2086
    "$probe" header $case >"$work/controller.h" && "$probe" run $case >"$work/want"
    tell $? "$case: header and run are made"
    call='controller_step(&c, (REAL)-x)'
    case $case in *cascade*) call='controller_step(&c, 0, (REAL)x)';; esac
    real=double allowed=1e-12 # rounding: 2000 samples
    case $case in *float32*) real=float allowed=2e-4;; esac # rounding: 2000 times 2^-24
    # far from zero angle, where float would tell no small motion
    case $case in float32\ cascade*) real=double call='controller_step(&c, 1, 1 + (REAL)x)';; esac
    cat >"$work/run.c" <<END
#include "controller.h"
#include <stdio.h>
typedef $real REAL;
int main(void)
{
    struct controller_state c = {0};
    double x, want;
    while (scanf("%lf%lf", &x, &want) == 2) printf("%.17g %.17g\n", want, (double)$call);
    return 0;
}
END
    compile; code=$?
    [ $code = 0 ] || sed 's/^/# /' "$work/log"
    tell $code "$case: compiles without a warning"
    "$work/run" <"$work/want" >"$work/got"
    awk -v allowed=$allowed '{ off = $2 - $1; if (off < 0) off = -off; size = $1 < 0 ? -$1 : $1
            if (off > worst) worst = off; if (size > most) most = size }
        END { printf "# off by %.1e of %.3g N m, %d samples\n", worst / most, most, NR
              exit !(NR == 2000 && most > 0 && worst <= allowed * most) }' "$work/got"
    tell $? "$case: the same torque as the library's controller, within $allowed"
    "$probe" data $case >"$work/controller.h"
    printf '#include "controller.h"\nint main(void) { return CONTROLLER_SECTIONS > 3 || controller_section[0][0] == 0; }\n' >"$work/run.c"
    compile && "$work/run"
    tell $? "$case: data alone compile, too"
done

"$probe" table Q2.30 parallel 1 >"$work/table"
grep -v '^#' "$work/table" >"$work/rows"
[ "$(head -n 1 "$work/rows")" = section,b0,b1,b2,a1,a2 ] && [ "$(grep -c '^low-pass\|^biquad' "$work/rows")" = 6 ]
tell $? 'the table has a row for each section and one of integers'
[ "$(sed -n 2p "$work/rows" | cut -d, -f1)" = low-pass ]
tell $? 'the low-pass comes first'
awk -F, '/times 2/ { for (i = 2; i < 7; i++) if (value[i] * 2 ^ 30 != $i) bad = 1; next } /^[lb]/ { for (i = 2; i < 7; i++) value[i] = $i }
    END { exit bad }' "$work/rows"
tell $? 'integers are value times 2^30'

for kind in table header type; do
    "$probe" $kind float32 parallel 1 >"$work/text"
    tr -d '\n#*' <"$work/text" | tr -s ' ' >"$work/flat"
    grep -q 'Nothing was written to a drive' "$work/flat" && grep -q 'Signs assumed: torque = C (target - position)' "$work/flat" &&
        grep -q 'one A of torque is 18.4 N m, one count of angle 2.34066892682745' "$work/flat"
    tell $? "$kind: cautions, signs and scales are there"
done
"$probe" type float32 notch 1 | awk '/^kp / && $2 == 0.00267142 && $3 == 0.00133571 && $4 == "A/count" { ok++ }
    /^notch2_centre / && $2 == 300 && $3 == "off" && $4 == "Hz" { ok++ } /^notch1_depth / && $2 == 20 && $4 == "dB" { ok++ }
    END { exit ok != 3 }'
tell $? 'to type in: new and old value and unit stand side by side'
echo "1..$n"
exit $failed
