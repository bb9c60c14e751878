# What the shell tests of the program share: TAP, a scratch folder, small logbooks.
# Sourced by *_test.sh; expects TUNE_BUILD and TUNE_SOURCE.  SPDX-License-Identifier: GPL-3.0-or-later
set -u
export LC_ALL=C NO_COLOR=1
quietaxis=$TUNE_BUILD/quietaxis
[ -x "$quietaxis" ] || { echo "Bail out! $quietaxis is not there"; exit 1; }
small=$TUNE_SOURCE/tests/apps/small.ini
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
trap 'exit 1' INT TERM
count=0
failed=0

# pass DESCRIPTION / fail DESCRIPTION: one TAP line
pass() { count=$((count + 1)); echo "ok $count - $*"; }
fail() { count=$((count + 1)); failed=$((failed + 1)); echo "not ok $count - $*"; }

# check DESCRIPTION COMMAND...: passes when the command does
check() {
    what=$1; shift
    if "$@"; then pass "$what"; else fail "$what"; fi
}

# run CODE ARGUMENTS...: run the program; its outputs are in $scratch/out and $scratch/err. True when
# it ended with this code; otherwise both are shown as diagnostics.
run() {
    wanted=$1; shift
    "$quietaxis" "$@" >"$scratch/out" 2>"$scratch/err" </dev/null
    code=$?
    [ "$code" -eq "$wanted" ] && return 0
    echo "# quietaxis $*: exit $code, wanted $wanted"
    sed 's/^/# out: /' "$scratch/out" | head -n 20
    sed 's/^/# err: /' "$scratch/err" | head -n 20
    return 1
}

out_has() { grep -qF -e "$1" "$scratch/out" || { sed 's/^/# out: /' "$scratch/out" | head -n 40; false; }; }
err_has() { grep -qF -e "$1" "$scratch/err" || { sed 's/^/# err: /' "$scratch/err" | head -n 20; false; }; }
out_empty() { [ ! -s "$scratch/out" ]; }
err_empty() { [ ! -s "$scratch/err" ] || { sed 's/^/# err: /' "$scratch/err" | head -n 20; false; }; }

# is_json: standard output is one JSON object and nothing else
is_json() {
    /usr/bin/python3 -c 'import json, sys; d = json.load(open(sys.argv[1])); sys.exit(not isinstance(d, dict))' \
        "$scratch/out"
}

# json EXPRESSION [FILE]: true when the Python expression over d, the parsed JSON, is
json() {
    /usr/bin/python3 -c 'import json, sys
d = json.load(open(sys.argv[2]))
sys.exit(not eval(sys.argv[1]))' "$1" "${2:-$scratch/out}" || { echo "# not true: $1"; false; }
}

# fits DESCRIPTION: no line of standard output is longer than 80 columns
fits() { ! awk -v scratch="$scratch" 'index($0, scratch) == 0 && length($0) > 80 { print "# too wide: " $0; bad = 1 } END { exit !bad }' "$scratch/out"; }

done_testing() { echo "1..$count"; exit $((failed > 0)); }
