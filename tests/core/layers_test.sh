#!/bin/sh
# The check of the rooms' order, on a small tree in order and on the same tree with one fault each.
# SPDX-License-Identifier: GPL-3.0-or-later
set -u
root=$(cd "${TUNE_SOURCE:-$(dirname "$0")/../..}" && pwd)
work=$(mktemp -d /tmp/tune-test-XXXXXX)
trap 'rm -rf "$work"' EXIT
n=0 failed=0

tree() { # a fresh tree in order
    rm -rf "$work/tree"
    mkdir -p "$work/tree/apps/quietaxis"
    for room in core record plant mechanics control results; do mkdir -p "$work/tree/libtune/$room"; done
    cd "$work/tree/libtune" || exit 1
    echo '#include <stddef.h>' >core/status.h
    printf '#include "core/status.h"\n' >record/record.h
    printf '#include "record/record.h"\n#include <zlib.h>\n#include "core/status.h"\n' >record/record.c
    printf '#include "record/record.h"\n' >plant/plant_internal.h
    printf '#include "core/status.h"\n' >plant/plant.h
    printf '#include "plant/plant_internal.h"\n#include <gsl/gsl_vector.h>\n' >plant/plant.c
    printf '#include "plant/plant.h"\n' >mechanics/friction.h
    printf '#include "plant/plant.h"\n' >control/loop.h
    printf '#include <jansson.h>\n#include "control/loop.h"\n' >results/json.c
    printf '#include "core/status.h"\n#include "record/record.h"\n' >tune.h
    printf '#include "tune.h"\n#include "terminal.h"\n#include <stdio.h>\n' >../apps/quietaxis/main.c
}

report() { # good (0 or not), name
    n=$((n + 1))
    if [ "$1" = 0 ]; then echo "ok $n $2"; else failed=1; echo "not ok $n $2"; sed 's/^/#   /' "$work/said"; fi
}

fault() { # name, file, line: must be refused, naming the file
    tree
    printf '%s\n' "$3" >>"$work/tree/$2"
    if "$root/.ci/layers" "$work/tree" >"$work/said" 2>&1; then report 1 "$1"
    elif grep -qF "$2:" "$work/said"; then report 0 "$1"
    else report 1 "$1, but the file is not named"; fi
}

"$root/.ci/layers" "$root" >"$work/said" 2>&1
report $? 'the source tree is in order'
tree
"$root/.ci/layers" "$work/tree" >"$work/said" 2>&1
report $? 'a small tree is in order'

fault 'an upward include is caught' libtune/core/status.h '#include "record/record.h"'
fault 'an upward include in a source file is caught' libtune/record/record.c '#include "plant/plant.h"'
fault 'a sideways include is caught' libtune/control/loop.h '#include "mechanics/friction.h"'
fault 'an include with blanks before and after the sign is caught' libtune/core/status.h '  #  include "plant/plant.h"'
fault 'a foreign library out of its room is caught' libtune/record/record.c '#include <gsl/gsl_math.h>'
fault 'transforms out of their room are caught' libtune/control/loop.h '#include <fftw3.h>'
fault 'a foreign type in a public header is caught' libtune/plant/plant.h '#include <gsl/gsl_vector.h>'
fault 'a private header of another room is caught' libtune/control/loop.h '#include "plant/plant_internal.h"'
fault 'a private header in a public one is caught' libtune/plant/plant.h '#include "plant/plant_internal.h"'
fault 'the library including tune.h is caught' libtune/control/loop.h '#include "tune.h"'
fault 'an include that names no room is caught' libtune/control/loop.h '#include "loop.h"'
fault 'an app including a public header is caught' apps/quietaxis/main.c '#include "record/record.h"'
fault 'an app including a private header is caught' apps/quietaxis/main.c '#include "plant/plant_internal.h"'
fault 'an app including a foreign library is caught' apps/quietaxis/main.c '#include <jansson.h>'
tree
mkdir -p "$work/tree/libtune/attic"
echo '#include "core/status.h"' >"$work/tree/libtune/attic/old.c"
if "$root/.ci/layers" "$work/tree" >"$work/said" 2>&1; then report 1 'a room that is not in the list is caught'
else report 0 'a room that is not in the list is caught'; fi
echo "1..$n"
exit $failed
