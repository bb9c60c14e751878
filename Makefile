# Quietaxis: one Makefile, settings on top, rules below.  SPDX-License-Identifier: GPL-3.0-or-later

CC       = gcc
CFLAGS   = -O2 -g
PREFIX   = /usr/local
DESTDIR  =
WERROR   =
JOBS     = $(shell nproc)
# V=1 shows the commands
V        = 0
FUZZ_SECONDS = 60

VERSION  = 0.1.0

WARN     = -Wall -Wextra -Wshadow -Wconversion -Wdouble-promotion -Wstrict-prototypes -Wmissing-prototypes
SANITIZE = -fsanitize=address,undefined -fno-omit-frame-pointer -fno-sanitize-recover=undefined

# ---- nothing to set below this line -------------------------------------------------------------

SHOW     = $(if $(filter 1,$(V)),,@echo '  $(1) $@';)
PACKAGES = fftw3 gsl nlopt jansson inih zlib nettle
CPPFLAGS_ALL = -Ilibtune -D_XOPEN_SOURCE=700 -DTUNE_VERSION='"$(VERSION)"'
CFLAGS_ALL = -std=c11 $(WARN) $(WERROR) -pthread -fPIC -fvisibility=hidden $(CFLAGS)
LIBS     = $(shell pkg-config --libs $(PACKAGES) 2>/dev/null) -lm -pthread

LIB_SRC  := $(wildcard libtune/*/*.c)
APP_SRC  := $(wildcard apps/quietaxis/*.c apps/quietaxis/*/*.c)
TEST_SRC := $(wildcard tests/*/test_*.c)
PROBE_SRC := $(wildcard tests/*/probe_*.c)
BENCH_SRC := $(wildcard tests/bench/bench_*.c)
SUPPORT_SRC := $(wildcard tests/support/*.c)
PLOTS    := $(wildcard plots/*.gp plots/*.css)

LIB_OBJ  = $(LIB_SRC:%.c=build/obj/%.o)
APP_OBJ  = $(APP_SRC:%.c=build/obj/%.o) build/obj/plots_embedded.o
SAN_OBJ  = $(LIB_SRC:%.c=build/san/%.o)
SAN_APP  = $(APP_SRC:%.c=build/san/%.o) build/san/plots_embedded.o
SAN_SUPPORT = $(SUPPORT_SRC:%.c=build/san/%.o)
TESTS    = $(TEST_SRC:%.c=build/san/%)
PROBES   = $(PROBE_SRC:%.c=build/san/%)
BENCHES  = $(BENCH_SRC:%.c=build/obj/%)
WRAP     = -Wl,--wrap=malloc,--wrap=calloc,--wrap=realloc,--wrap=aligned_alloc

.PHONY: all demo check check-build check-long fuzz lint layers bench bench-identify bench-design install clean packages golden
.SECONDARY:

all: build/quietaxis build/libtune.so

# the reasons stand in .ci/packages
packages:
	@.ci/packages build

build/quietaxis: $(APP_OBJ) build/libtune.a
	$(call SHOW,link   )$(CC) $(CFLAGS_ALL) -o $@ $^ $(LIBS)

# one object with the hidden names made local: a user's program may have names of its own
build/libtune.a: $(LIB_OBJ)
	@rm -f $@
	$(call SHOW,archive)ld -r -o build/libtune.o $^ && objcopy --localize-hidden build/libtune.o && \
	  ar rcs $@ build/libtune.o

build/libtune.so: $(LIB_OBJ)
	$(call SHOW,link   )$(CC) $(CFLAGS_ALL) -shared -o $@ $^ $(LIBS)

build/obj/%.o: %.c
	@mkdir -p $(@D)
	$(call SHOW,compile)$(CC) $(CPPFLAGS_ALL) $(CFLAGS_ALL) -MMD -MP -c -o $@ $<

build/obj/tests/bench/bench_%: build/obj/tests/bench/bench_%.o build/libtune.a
	$(call SHOW,link   )$(CC) $(CFLAGS_ALL) -o $@ $^ $(LIBS)

# long studies run without sanitizers
build/obj/tests/montecarlo/probe_%: build/obj/tests/montecarlo/probe_%.o build/libtune.a
	$(call SHOW,link   )$(CC) $(CFLAGS_ALL) -o $@ $^ $(LIBS)

# gnuplot scripts and style sheets travel inside the program as zero-terminated byte strings
build/plots_embedded.c: $(PLOTS) Makefile
	@mkdir -p $(@D)
	@{ echo '#include "report/plots_embedded.h"'; \
	  for f in $(PLOTS); do \
	    echo "static const char $$(basename $$f | tr '.-' '__')[] = {"; \
	    od -An -v -tu1 $$f | sed 's/  */ /g; s/\([0-9]\)\( \|$$\)/\1,/g'; echo '0};'; \
	  done; \
	  echo 'const struct embedded_plot embedded_plots[] = {'; \
	  for f in $(PLOTS); do n=$$(basename $$f); echo "{\"$$n\", $$(echo $$n | tr '.-' '__')},"; done; \
	  echo '{0, 0}};'; } > $@

build/obj/plots_embedded.o: build/plots_embedded.c
	@mkdir -p $(@D)
	$(call SHOW,compile)$(CC) -Iapps/quietaxis $(CPPFLAGS_ALL) $(CFLAGS_ALL) -c -o $@ $<

# ---- the same with sanitizers, for the tests -----------------------------------------------------

build/san/%.o: %.c
	@mkdir -p $(@D)
	$(call SHOW,compile)$(CC) -Itests $(CPPFLAGS_ALL) $(CFLAGS_ALL) $(SANITIZE) -MMD -MP -c -o $@ $<

build/san/plots_embedded.o: build/plots_embedded.c
	@mkdir -p $(@D)
	$(call SHOW,compile)$(CC) -Iapps/quietaxis $(CPPFLAGS_ALL) $(CFLAGS_ALL) $(SANITIZE) -c -o $@ $<

build/san/libtune.a: $(SAN_OBJ)
	@rm -f $@
	$(call SHOW,archive)ar rcs $@ $^

build/san/quietaxis: $(SAN_APP) build/san/libtune.a
	$(call SHOW,link   )$(CC) $(CFLAGS_ALL) $(SANITIZE) -o $@ $^ $(LIBS)

# the report's tests see the program's own report folder, which stands apart from the commands
SAN_REPORT = $(filter build/san/apps/quietaxis/report/%,$(SAN_APP)) build/san/plots_embedded.o

build/san/tests/report/%: build/san/tests/report/%.o $(SAN_SUPPORT) $(SAN_REPORT) build/san/libtune.a
	$(call SHOW,link   )$(CC) $(CFLAGS_ALL) $(SANITIZE) $(WRAP) -o $@ $^ $(LIBS) -lcmocka

build/san/tests/%: build/san/tests/%.o $(SAN_SUPPORT) build/san/libtune.a
	$(call SHOW,link   )$(CC) $(CFLAGS_ALL) $(SANITIZE) $(WRAP) -o $@ $^ $(LIBS) -lcmocka

check-build: $(TESTS) $(PROBES) build/san/quietaxis all

# CHECK=pattern runs only the tests whose path holds the pattern
check:
	@.ci/packages check
	@$(MAKE) --no-print-directory -j$(JOBS) check-build
	@tests/run $(CHECK)

check-long:
	@.ci/packages check
	@$(MAKE) --no-print-directory -j$(JOBS) check-build
	@TUNE_TEST_MULT=10 tests/run $(CHECK)
	@tests/montecarlo/run

# the readers of foreign files under libFuzzer, each for FUZZ_SECONDS; what crashes becomes a seed
# (clang lacks the CMPLX of C11)
FUZZERS  = record response logbook controller description
FUZZ     = clang -std=c11 -g -O1 -pthread -Itests $(CPPFLAGS_ALL) '-DCMPLX(x,y)=__builtin_complex((double)(x),(double)(y))'
FUZZ_SRC := $(wildcard $(addprefix libtune/,$(addsuffix /*.c,core record spectrum plant mechanics control simulation excite logbook)))

build/fuzz/%.o: %.c
	@mkdir -p $(@D)
	$(FUZZ) -fsanitize=fuzzer-no-link,address,undefined -MMD -MP -c -o $@ $<

build/fuzz/fuzz_%: $(FUZZ_SRC:%.c=build/fuzz/%.o) build/fuzz/tests/fuzz/fuzz_targets.o tests/fuzz/fuzz_entry.c
	$(FUZZ) -fsanitize=fuzzer,address,undefined -DFUZZ_TARGET=fuzz_$* -o $@ $^ $(LIBS)

fuzz:
	@.ci/packages fuzz
	@$(MAKE) --no-print-directory -j$(JOBS) $(FUZZERS:%=build/fuzz/fuzz_%)
	@cd build/fuzz && for t in $(FUZZERS); do mkdir -p found-$$t; \
	  ./fuzz_$$t -max_total_time=$(FUZZ_SECONDS) -timeout=60 -max_len=8192 -print_final_stats=1 \
	    -artifact_prefix=$$t- found-$$t ../../tests/fuzz/seeds/$$t >$$t.log 2>&1 || { tail -40 $$t.log; exit 1; }; \
	  echo "$$t: $$(sed -n 's/stat::number_of_executed_units: *//p' $$t.log) inputs, none broke a promise"; done

demo:
	@.ci/packages demo
	@$(MAKE) --no-print-directory -j$(JOBS) all
	@datasets/heron-flat/demo build/demo

lint:
	@.ci/packages lint
	@$(MAKE) --no-print-directory -j$(JOBS) WERROR=-Werror all
	@.ci/lint

layers:
	@.ci/layers

# how near identification comes to its limits, some six minutes: make bench-identify SEED=777 takes other
# plants and noise, PART=10 a tenth of the runs
SEED = 0
PART = 1
IDENTIFY = build/obj/tests/bench/bench_sweep $(patsubst %.c,build/obj/%,$(wildcard tests/montecarlo/probe_fit.c tests/montecarlo/probe_response.c))
bench-identify: $(IDENTIFY)
	@tests/bench/identify $(SEED) $(PART)

# how near the design comes to the least jitter any controller can have, and what it costs, some five
# minutes; SEED and PART as above
DESIGN = $(patsubst %.c,build/obj/%,$(wildcard tests/bench/design/figures_*.c))
DESIGN_OBJ = $(patsubst %.c,build/obj/%.o,tests/bench/design/cases.c tests/bench/design/study.c tests/support/axis_matrix.c)
bench-design: $(DESIGN)
	@tests/bench/design/run $(SEED) $(PART)

build/obj/tests/support/%.o: CPPFLAGS_ALL += -Itests

build/obj/tests/bench/design/figures_%: build/obj/tests/bench/design/figures_%.o $(DESIGN_OBJ) build/libtune.a
	$(call SHOW,link   )$(CC) $(CFLAGS_ALL) -o $@ $^ $(LIBS) -lcmocka

# make bench-fit runs bench_fit.c alone
bench: $(BENCHES)
	@for b in $(BENCHES); do $$b || exit 1; done

bench-%: build/obj/tests/bench/bench_%
	@$<

install: all
	install -D build/quietaxis $(DESTDIR)$(PREFIX)/bin/quietaxis
	install -D -m 644 build/libtune.a $(DESTDIR)$(PREFIX)/lib/libtune.a
	cd libtune && find . -name '*.h' ! -name '*_internal.h' \
	  -exec install -D -m 644 {} $(abspath $(DESTDIR)$(PREFIX))/include/tune/{} \;

clean:
	rm -rf build

-include $(FUZZ_SRC:%.c=build/fuzz/%.d) $(LIB_OBJ:.o=.d) $(APP_OBJ:.o=.d) $(SAN_OBJ:.o=.d) $(SAN_APP:.o=.d) $(SAN_SUPPORT:.o=.d) $(TESTS:%=%.d) $(PROBES:%=%.d) $(BENCHES:%=%.d) $(IDENTIFY:%=%.d) $(DESIGN:%=%.d) $(DESIGN_OBJ:.o=.d)
