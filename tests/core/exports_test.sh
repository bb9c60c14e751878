#!/bin/sh
# The shared library exports what the public headers mark TUNE_API, no more and no less, and tune.h
# includes every public header.  SPDX-License-Identifier: GPL-3.0-or-later
set -u
cd "${TUNE_SOURCE:-$(dirname "$0")/../..}" || exit 1
library=build/libtune.so
work=$(mktemp -d /tmp/tune-test-XXXXXX)
trap 'rm -rf "$work"' EXIT

for tool in nm gcc; do
    command -v "$tool" >/dev/null || { printf '1..1\nok 1 # SKIP %s is not installed\n' "$tool"; exit 0; }
done
[ -f "$library" ] || { printf '1..1\nok 1 # SKIP %s is not built\n' "$library"; exit 0; }

headers=$(find libtune -mindepth 2 -name '*.h' ! -name '*_internal.h' ! -name api.h | sort)
# the preprocessor takes the comments out and leaves the macro alone; the name stands before ( ; or [
cat $headers | gcc -fpreprocessed -E -P -x c - | grep -v '^#' | tr '\n' ' ' >"$work/text"
grep -oE 'TUNE_API [^(;[]*[(;[]' "$work/text" | sed -E 's/ *[(;[]$//; s/.*[ *]//' | sort >"$work/declared"
nm -D --defined-only "$library" | awk '{ print $NF }' | sort >"$work/exported"

n=0 failed=0
tell() { # name, file of offenders
    n=$((n + 1))
    if [ -s "$2" ]; then failed=1; echo "not ok $n $1"; sed 's/^/#   /' "$2"; else echo "ok $n $1"; fi
}

[ "$(wc -l <"$work/declared")" -gt 100 ] || echo 'fewer than a hundred found' >"$work/few"
touch "$work/few"
tell 'the headers declare the public functions' "$work/few"
uniq -d "$work/declared" >"$work/twice"
tell 'none is declared twice' "$work/twice"
grep -oE '[;}] *((const|unsigned|struct|enum) )*[a-z_0-9]+[ *]+tune_[a-z0-9_]+ *\(' "$work/text" >"$work/unmarked"
tell 'no public header declares a function without the mark' "$work/unmarked"
comm -23 "$work/declared" "$work/exported" >"$work/missing"
tell 'every function marked TUNE_API is exported' "$work/missing"
comm -13 "$work/declared" "$work/exported" >"$work/stray"
tell 'nothing else is exported' "$work/stray"
grep -v '^tune_' "$work/exported" >"$work/unnamed"
tell 'every exported name starts with tune_' "$work/unnamed"
for header in $headers; do
    grep -qF "#include \"${header#libtune/}\"" libtune/tune.h || echo "$header"
done >"$work/left_out"
tell 'tune.h includes every public header' "$work/left_out"
echo "1..$n"
exit $failed
