# SPDX-License-Identifier: MIT
# takeproof: `make help` lists the targets. V=1 shows the commands.

VARIANT ?= release
BUILD   ?= build
OBJ      = $(BUILD)/$(VARIANT)
VERSION := $(shell sed -n 's/^.define TP_VERSION "\(.*\)"/\1/p' include/takeproof/takeproof.h)
SOVERSION = 0

PREFIX  ?= /usr/local
DESTDIR ?=
BINDIR  ?= $(PREFIX)/bin
LIBDIR  ?= $(PREFIX)/lib
INCLUDEDIR ?= $(PREFIX)/include
MANDIR  ?= $(PREFIX)/share/man
BASHCOMPDIR ?= $(PREFIX)/share/bash-completion/completions
ZSHCOMPDIR  ?= $(PREFIX)/share/zsh/site-functions
FISHCOMPDIR ?= $(PREFIX)/share/fish/vendor_completions.d
INSTALL ?= install

CC      ?= cc
ifeq ($(origin CC),default)
CC       = gcc
endif
AR      ?= ar
OBJCOPY ?= objcopy
PKGS     = sndfile libebur128 inih expat jansson libxxhash libcrypto kissfft-float
PKG_CONFIG ?= pkg-config
# Targets that do not compile by themselves: they may run before pkg-config is there, and start make again where needed.
NO_COMPILING = help deps clean format demo check check-long uninstall sanitize tsan valgrind coverage check-bare check-cross check-musl check-install check-deb check-browser check-office fuzz conformance fault-tables bench
ifneq ($(filter-out $(NO_COMPILING),$(or $(MAKECMDGOALS),all)),)
PKG_CFLAGS := $(shell $(PKG_CONFIG) --cflags $(PKGS) 2>/dev/null)
PKG_LIBS   := $(shell $(PKG_CONFIG) --libs $(PKGS) 2>/dev/null)
CHECK_CFLAGS := $(shell $(PKG_CONFIG) --cflags check 2>/dev/null)
CHECK_LIBS   := $(shell $(PKG_CONFIG) --libs check 2>/dev/null)
ifeq ($(PKG_LIBS),)
$(info Libraries are missing: 'make deps' installs them, or prints the command for it.)
endif
endif

WARN = -std=c11 -Wall -Wextra -Wconversion -Wshadow -Wvla -Wstrict-prototypes -Wmissing-prototypes -Wpointer-arith \
       -Wcast-qual -Wwrite-strings -Wundef -Werror
# Hardening that costs nothing measurable: checked by tests/cli/test_hardening.sh.
OPT_release  = -O2 -ftree-vectorize -g1 -U_FORTIFY_SOURCE -D_FORTIFY_SOURCE=2 -fstack-protector-strong \
               -fstack-clash-protection $(if $(filter x86_64%,$(MACHINE)),-fcf-protection)
LINK_release = -Wl,-z,relro -Wl,-z,now -Wl,-z,noexecstack
PIE_release  = -pie
MACHINE     := $(or $(MACHINE),$(shell uname -m))
# So that a float is computed as a float everywhere: the same figures, and vectors that take one.
FLOAT_s390x  = -fexcess-precision=fast
FLOAT_i386   = -msse2 -mfpmath=sse -fexcess-precision=fast
FLOAT_i686   = $(FLOAT_i386)
OPT_sanitize = -O1 -g -fsanitize=address,undefined -fno-sanitize-recover=all -fno-omit-frame-pointer
OPT_thread   = -O1 -g -fsanitize=thread
OPT_coverage = -O0 -g --coverage -DTP_NO_SANDBOX
OPT_debug    = -O0 -g3
CFLAGS  ?= $(OPT_$(VARIANT))
CPPFLAGS_ALL = -D_GNU_SOURCE -D_FILE_OFFSET_BITS=64 -Iinclude -Isrc
CFLAGS_ALL = $(WARN) $(FLOAT_$(MACHINE)) $(CFLAGS) $(CPPFLAGS_ALL) $(CPPFLAGS) $(PKG_CFLAGS) -fPIC -fvisibility=hidden -pthread -MMD -MP
LDLIBS_ALL = $(PKG_LIBS) -lm -pthread
LDFLAGS_ALL = $(LINK_$(VARIANT)) $(LDFLAGS)

LIB_SRC  = $(sort $(wildcard src/*.c src/base/*.c src/read/*.c src/measure/*.c src/take/*.c src/judge/*.c src/pipeline/*.c src/report/*.c src/listen/*.c src/handoff/*.c))
CLI_SRC  = $(sort $(wildcard src/cli/*.c))
LIB_OBJ  = $(LIB_SRC:%.c=$(OBJ)/%.o)
CLI_OBJ  = $(CLI_SRC:%.c=$(OBJ)/%.o)
LIB      = $(OBJ)/libtakeproof.a
STATIC   = $(OBJ)/installed/libtakeproof.a
SHARED   = $(OBJ)/libtakeproof.so.$(VERSION)
PROGRAM  = $(OBJ)/takeproof
HEADERS  = $(sort $(wildcard include/takeproof/*.h)) include/takeproof/report.schema.json
MAN1     = $(sort $(wildcard man/*.1))
MAN3     = $(sort $(wildcard man/*.3))
MAN5     = $(sort $(wildcard man/*.5))

SUPPORT_SRC = $(sort $(wildcard tests/support/*.c))
SUPPORT_OBJ = $(SUPPORT_SRC:%.c=$(OBJ)/%.o)
program_of  = $(patsubst %.c,$(OBJ)/%,$(sort $(wildcard $(1))))
UNIT_BIN = $(foreach d,base read measure take judge pipeline report listen handoff,$(call program_of,tests/$(d)/test_*.c))
E2E_BIN  = $(call program_of,tests/e2e/test_*.c)
LONG_BIN = $(call program_of,tests/long/test_*.c)
CONFORMANCE_BIN = $(call program_of,tests/conformance/test_*.c)
BENCH_BIN = $(call program_of,tests/bench/bench_*.c)
DEMO_CARD = $(call program_of,tests/demo/demo_card.c)
ROBUST_BIN = $(call program_of,tests/robust/mutations.c)
FUZZ_SRC  = $(sort $(wildcard tests/fuzz/fuzz_*.c))
REPLAY_BIN = $(patsubst tests/fuzz/fuzz_%.c,$(OBJ)/tests/fuzz/replay_%,$(FUZZ_SRC))
SCRIPTS   = $(sort $(wildcard tests/cli/test_*.sh tests/e2e/test_*.sh tests/robust/test_*.sh))
PRELOADS  = $(patsubst %.c,$(OBJ)/%.so,$(subst tests/robust/fail,tests/robust/libfail,$(wildcard tests/robust/fail*.c)))
FAULTS    = $(OBJ)/tests/handoff/faults $(OBJ)/tests/handoff/faultio.so
ALL_BIN = $(UNIT_BIN) $(E2E_BIN) $(LONG_BIN) $(CONFORMANCE_BIN) $(BENCH_BIN) $(DEMO_CARD) $(ROBUST_BIN) $(FUZZ_SRC:%.c=$(OBJ)/%) $(OBJ)/tests/fuzz/harness $(OBJ)/tests/fuzz/replay

Q = $(if $(V),,@)
# make again, with the packages there, on all processors unless -j says otherwise.
JOBS ?= $(shell getconf _NPROCESSORS_ONLN 2>/dev/null || echo 2)
AGAIN = $(MAKE) --no-print-directory BUILD=$(BUILD) $(if $(filter -j%,$(MAKEFLAGS))$(findstring jobserver,$(MAKEFLAGS)),,-j$(JOBS))
# For the tests: the program and where its objects are.
TEST_ENV = TAKEPROOF='$(abspath $(PROGRAM))' TAKEPROOF_BUILD='$(abspath $(OBJ))' CC='$(CC)' \
           UBSAN_OPTIONS=print_stacktrace=1 CK_TIMEOUT_MULTIPLIER=$(if $(filter release,$(VARIANT)),4,20)

all: $(BUILD)/takeproof ## all: build the program at build/takeproof (the default)

$(BUILD)/takeproof: $(PROGRAM)
	$(Q)cp -f $(PROGRAM) $@

$(OBJ)/%.o: %.c
	@mkdir -p $(@D)
	$(if $(V),,@echo "  cc    $<")
	$(Q)$(CC) $(CFLAGS_ALL) $(CFLAGS_$(basename $(notdir $<))) -c $< -o $@

# The report's style and script, as C strings.
ASSETS = $(OBJ)/generated/report_assets.h
$(ASSETS): src/report/report.css src/report/report.js Makefile
	@mkdir -p $(@D)
	$(Q)for kind in css js; do \
	    echo "static const char report_$$kind[] ="; \
	    sed 's/[\\"]/\\&/g; s/^/    "/; s/$$/\\n"/' src/report/report.$$kind; \
	    echo "    ;"; \
	done > $@
$(OBJ)/src/report/html_assets.o: $(ASSETS)
# Loops over every sample; aligned, or their speed would hang on what was linked before them.
ifeq ($(VARIANT),release)
LOOPS = kernels kweight cells true_peak flat_top fault_repeat fault_click fault_foreign fault_crackle fault_burst \
        fault_noise fault_low unpack evidence pair_overlay pair_lag pair_screen
$(foreach file,$(LOOPS),$(eval CFLAGS_$(file) = -O3 -falign-functions=64))
CFLAGS_kweight += -fschedule-insns -fsched-pressure
endif
CFLAGS_html_assets = -I$(OBJ)/generated

$(LIB): $(LIB_OBJ)
	$(Q)rm -f $@ && $(AR) rcs $@ $^

$(PROGRAM): $(CLI_OBJ) $(LIB)
	$(if $(V),,@echo "  link  $@")
	$(Q)$(CC) $(CFLAGS_ALL) $(PIE_$(VARIANT)) $^ -o $@ $(LDFLAGS_ALL) $(LDLIBS_ALL)

# Installed: one object in which only what the headers export can be seen.
$(STATIC): $(LIB_OBJ)
	$(Q)mkdir -p $(@D) && $(LD) -r $^ -o $(@:.a=.o) && $(OBJCOPY) --localize-hidden $(@:.a=.o)
	$(Q)rm -f $@ && $(AR) rcs $@ $(@:.a=.o)

$(SHARED): $(LIB_OBJ)
	$(if $(V),,@echo "  link  $@")
	$(Q)$(CC) $(CFLAGS_ALL) -shared -Wl,-soname,libtakeproof.so.$(SOVERSION) $^ -o $@ $(LDFLAGS_ALL) $(LDLIBS_ALL)

$(OBJ)/tests/%: $(OBJ)/tests/%.o $(SUPPORT_OBJ) $(LIB)
	$(Q)$(CC) $(CFLAGS_ALL) $^ -o $@ $(LDFLAGS) $(CHECK_LIBS) $(LDLIBS_ALL)
$(OBJ)/tests/%.o: CFLAGS_ALL += -Itests $(CHECK_CFLAGS)

# Preloaded by the fault tests; nothing of ours is linked in.
$(OBJ)/tests/handoff/%.so: tests/handoff/%.c
	@mkdir -p $(@D)
	$(Q)$(CC) $(WARN) -O1 -D_GNU_SOURCE -fPIC -shared $< -o $@ -ldl

deps: ## deps: install what building and testing need, or print the command for it
	@.ci/deps check

demo: ## demo: make a demonstration card, check it, and say which report to open
	@.ci/deps build
	+@$(AGAIN) demo-run
demo-run: $(BUILD)/takeproof $(DEMO_CARD)
	@rm -rf $(BUILD)/demo && mkdir -p $(BUILD)/demo
	$(Q)$(DEMO_CARD) $(BUILD)/demo/card
	@$(BUILD)/takeproof check $(BUILD)/demo/card --spec $(BUILD)/demo/card/spec.ini -o $(BUILD)/demo/report; \
	status=$$?; test $$status -le 2 || exit $$status; \
	echo; echo "The report to open: $(abspath $(BUILD)/demo/report/report.html)"

check: ## check: build and run all tests of some minutes; installs what they need
	@.ci/deps check
	+@$(AGAIN) check-run
check-run: $(BUILD)/takeproof $(UNIT_BIN) $(E2E_BIN) $(CONFORMANCE_BIN) $(DEMO_CARD) $(REPLAY_BIN) $(ROBUST_BIN) $(PRELOADS) $(FAULTS)
	$(Q)$(TEST_ENV) tests/run.sh $(UNIT_BIN) $(CONFORMANCE_BIN) $(E2E_BIN) $(REPLAY_BIN) $(SCRIPTS)

unit: $(UNIT_BIN) ## unit: build and run the tests of the modules alone
	$(Q)$(TEST_ENV) tests/run.sh $(UNIT_BIN)

check-long: ## check-long: check, then the tests that take long
	+@$(AGAIN) check
	+@$(AGAIN) check-long-run
check-long-run: $(BUILD)/takeproof $(LONG_BIN) $(FAULTS) $(PRELOADS) $(DEMO_CARD)
	$(Q)$(if $(LONG_BIN)$(wildcard tests/long/test_*.sh),$(TEST_ENV) tests/run.sh $(LONG_BIN) $(sort $(wildcard tests/long/test_*.sh)),echo "no long tests yet")

FAULT_POINTS ?= 50
check-faults: ## check-faults: the hand-off under every fault, at FAULT_POINTS seeded points each, as a table
	@.ci/deps check
	+@$(AGAIN) check-faults-run
check-faults-run: $(BUILD)/takeproof $(FAULTS)
	$(Q)$(TEST_ENV) $(FAULTS) $(FAULT_POINTS)

# Not part of check: need a browser, node and the npm registry; an office suite.
check-browser: ## check-browser: open the report in headless Chromium: sort, filter, keyboard, sound, paper, axe-core, valid HTML
	@.ci/deps browser
	+@$(AGAIN) check-browser-run
check-browser-run: $(OBJ)/tests/report/browser/make_reports $(DEMO_CARD) $(PROGRAM)
	$(Q)tests/report/browser/run.sh $(abspath $^) $(abspath $(BUILD)/browser)

check-office: ## check-office: open report.csv and findings.csv in LibreOffice; no hostile text becomes a formula
	@.ci/deps office
	+@$(AGAIN) check-office-run
check-office-run: $(OBJ)/tests/report/office/make_tables
	$(Q)tests/report/office/run.sh $(abspath $<) $(abspath $(BUILD)/office)

conformance: ## conformance: run the signals of the standards and the reference tools alone
	@.ci/deps check
	+@$(AGAIN) conformance-run
conformance-run: $(BUILD)/takeproof $(CONFORMANCE_BIN)
	$(Q)failed=0; for table in $(CONFORMANCE_BIN); do $(TEST_ENV) $$table || failed=1; done; exit $$failed

fault-tables: ## fault-tables: alarms per hour on clean sound, and the smallest seeded faults that are found
	+@$(AGAIN) fault-tables-run
fault-tables-run: $(OBJ)/tests/measure/fault_tables
	$(Q)$(OBJ)/tests/measure/fault_tables

sanitize: ## sanitize: run the tests with address and undefined-behaviour sanitizers
	@.ci/deps check
	+@$(AGAIN) VARIANT=sanitize sanitize-run
sanitize-run: $(PROGRAM) $(UNIT_BIN) $(E2E_BIN) $(DEMO_CARD)
	$(Q)$(TEST_ENV) tests/run.sh $(UNIT_BIN) $(E2E_BIN) $(SCRIPTS)

tsan: ## tsan: run the tests that use threads with the thread sanitizer
	@.ci/deps check
	+@$(AGAIN) VARIANT=thread tsan-run
TSAN_BIN = $(foreach d,pipeline handoff e2e,$(call program_of,tests/$(d)/test_*.c)) $(OBJ)/tests/measure/test_second_opinion
tsan-run: $(PROGRAM) $(TSAN_BIN) $(DEMO_CARD)
	$(Q)$(TEST_ENV) tests/run.sh $(TSAN_BIN)

coverage: ## coverage: run the tests with gcov; print lines and branches of the library that they reach (needs lcov)
	@command -v lcov >/dev/null || { echo "lcov is not installed"; exit 1; }
	@.ci/deps check
	+@$(AGAIN) VARIANT=coverage coverage-run
coverage-run: $(PROGRAM) $(UNIT_BIN) $(E2E_BIN) $(REPLAY_BIN) $(ROBUST_BIN) $(DEMO_CARD) $(PRELOADS) $(FAULTS)
	$(Q)find $(OBJ) -name '*.gcda' -delete
	$(Q)failed=0; ALLOC_STEP=7 $(TEST_ENV) tests/run.sh $(UNIT_BIN) $(E2E_BIN) $(REPLAY_BIN) $(SCRIPTS) || failed=1; \
	tests/coverage.sh $(OBJ) && exit $$failed

valgrind: ## valgrind: run every command, then the module tests, under valgrind (slow)
	@command -v valgrind >/dev/null || { echo "valgrind is not installed"; exit 1; }
	+@$(AGAIN) VARIANT=debug valgrind-run
valgrind-run: $(PROGRAM) $(DEMO_CARD) $(UNIT_BIN)
	$(Q)$(TEST_ENV) tests/robust/valgrind.sh
	$(Q)$(TEST_ENV) CK_FORK=no WRAP="valgrind -q --error-exitcode=99 --leak-check=full" tests/run.sh $(UNIT_BIN)

bench: ## bench: run the benchmarks
	+@$(AGAIN) bench-run
bench-run: $(BUILD)/takeproof $(BENCH_BIN)
	$(Q)tests/bench/bench.sh $(OBJ) $(BENCH_MB) $(BENCH_RUNS)

bench-offload: ## bench-offload: the hand-off beside cp and sync; CARD_MB_S=90 holds the card to that speed (root)
	+@$(AGAIN) bench-offload-run
bench-offload-run: $(BUILD)/takeproof $(OBJ)/tests/bench/bench_card
	$(Q)tests/bench/offload.sh $(OBJ) $(BENCH_MB)

FUZZ_SECONDS ?= 60
fuzz: ## fuzz: fuzz each parser for FUZZ_SECONDS (needs clang)
	+@$(AGAIN) VARIANT=fuzz CC=clang CFLAGS="-O1 -g -fsanitize=fuzzer-no-link,address,undefined" fuzz-run
fuzz-run: $(FUZZ_SRC:%.c=$(OBJ)/%)
	$(Q)tests/fuzz/run.sh $(BUILD)/corpus $(FUZZ_SECONDS) $^
$(BUILD)/fuzz/tests/fuzz/fuzz_%: $(BUILD)/fuzz/tests/fuzz/fuzz_%.o $(BUILD)/fuzz/tests/fuzz/harness.o $(LIB)
	$(Q)$(CC) $(CFLAGS_ALL) -fsanitize=fuzzer $^ -o $@ $(LDFLAGS) $(LDLIBS_ALL)

MUTATIONS ?= 100000
mutations: ## mutations: damage healthy files in MUTATIONS ways under the sanitizers; none may pass that lost sound
	@.ci/deps check
	+@$(AGAIN) VARIANT=sanitize $(BUILD)/sanitize/tests/robust/mutations
	$(Q)ASAN_OPTIONS=quarantine_size_mb=16 UBSAN_OPTIONS=print_stacktrace=1 $(BUILD)/sanitize/tests/robust/mutations $(MUTATIONS) 1 $(JOBS)

# Libraries to preload, for faults on demand.
$(OBJ)/tests/robust/lib%.so: tests/robust/%.c
	@mkdir -p $(@D)
	$(Q)$(CC) -std=gnu11 -Wall -Wextra -Werror -O1 -g -fPIC -shared $< -o $@ -ldl

# The same targets without an engine, over every input kept in fixtures/fuzz: a part of check.
$(OBJ)/tests/fuzz/replay_%: $(OBJ)/tests/fuzz/fuzz_%.o $(OBJ)/tests/fuzz/harness.o $(OBJ)/tests/fuzz/replay.o $(LIB)
	$(Q)$(CC) $(CFLAGS_ALL) $^ -o $@ $(LDFLAGS) $(LDLIBS_ALL)

tidy: ## tidy: run clang-tidy over the sources
	+@$(AGAIN) tidy-run
TIDY_SRC = $(filter-out src/base/error.c,$(LIB_SRC) $(CLI_SRC))
tidy-run: $(TIDY_SRC:%=tidy/%)
	@echo "$(words $(TIDY_SRC)) files without a warning"
$(TIDY_SRC:%=tidy/%): tidy/%: $(ASSETS)
	$(Q)clang-tidy --quiet $* -- -std=c11 -Itests/tidy -include tests/tidy/known.h $(CPPFLAGS_ALL) $(PKG_CFLAGS) -I$(OBJ)/generated \
	>$(OBJ)/generated/tidy.$(subst /,_,$*) 2>&1 || { cat $(OBJ)/generated/tidy.$(subst /,_,$*); exit 1; }

FORMATTED = $(sort $(wildcard include/*/*.h src/*.[ch] src/*/*.[ch] tests/*/*.[ch]))
format: ## format: lay out all sources by .clang-format
	clang-format -i $(FORMATTED)

update-expected: $(PROGRAM) ## update-expected: rewrite what the command-line tests expect; read the difference
	$(Q)$(TEST_ENV) tests/cli/test_cases.sh --update

install: $(PROGRAM) $(STATIC) $(SHARED) $(BUILD)/completion/done $(BUILD)/takeproof.pc ## install: install below PREFIX (default /usr/local), with DESTDIR in front
	$(INSTALL) -d $(addprefix $(DESTDIR),$(BINDIR) $(LIBDIR)/pkgconfig $(INCLUDEDIR)/takeproof $(MANDIR)/man1 $(MANDIR)/man3 $(MANDIR)/man5 $(BASHCOMPDIR) $(ZSHCOMPDIR) $(FISHCOMPDIR))
	$(INSTALL) -m 755 $(PROGRAM) $(DESTDIR)$(BINDIR)/takeproof
	$(INSTALL) -m 644 $(STATIC) $(DESTDIR)$(LIBDIR)/libtakeproof.a
	$(INSTALL) -m 644 $(SHARED) $(DESTDIR)$(LIBDIR)/libtakeproof.so.$(VERSION)
	ln -sf libtakeproof.so.$(VERSION) $(DESTDIR)$(LIBDIR)/libtakeproof.so.$(SOVERSION)
	ln -sf libtakeproof.so.$(SOVERSION) $(DESTDIR)$(LIBDIR)/libtakeproof.so
	$(INSTALL) -m 644 $(BUILD)/takeproof.pc $(DESTDIR)$(LIBDIR)/pkgconfig/takeproof.pc
	$(INSTALL) -m 644 $(HEADERS) $(DESTDIR)$(INCLUDEDIR)/takeproof
	$(INSTALL) -m 644 $(MAN1) $(DESTDIR)$(MANDIR)/man1
	$(INSTALL) -m 644 $(MAN3) $(DESTDIR)$(MANDIR)/man3
	$(INSTALL) -m 644 $(MAN5) $(DESTDIR)$(MANDIR)/man5
	$(INSTALL) -m 644 $(BUILD)/completion/takeproof.bash $(DESTDIR)$(BASHCOMPDIR)/takeproof
	$(INSTALL) -m 644 $(BUILD)/completion/takeproof.zsh $(DESTDIR)$(ZSHCOMPDIR)/_takeproof
	$(INSTALL) -m 644 $(BUILD)/completion/takeproof.fish $(DESTDIR)$(FISHCOMPDIR)/takeproof.fish

$(BUILD)/completion/done: $(PROGRAM)
	@mkdir -p $(@D)
	$(Q)for shell in bash zsh fish; do $(PROGRAM) completion $$shell >$(@D)/takeproof.$$shell || exit 1; done
	@touch $@

$(BUILD)/takeproof.pc: Makefile include/takeproof/takeproof.h
	@mkdir -p $(@D)
	@printf '%s\n' 'prefix=$(PREFIX)' 'libdir=$(LIBDIR)' 'includedir=$(INCLUDEDIR)' '' 'Name: takeproof' \
	'Description: check recordings of location sound and choose the clean channel' 'Version: $(VERSION)' \
	'Requires.private: $(PKGS)' 'Libs: -L$${libdir} -ltakeproof' 'Libs.private: -lm -pthread' 'Cflags: -I$${includedir}' >$@

uninstall: ## uninstall: remove what install put there
	rm -f $(DESTDIR)$(BINDIR)/takeproof $(DESTDIR)$(LIBDIR)/libtakeproof.a $(DESTDIR)$(LIBDIR)/libtakeproof.so*
	rm -f $(DESTDIR)$(LIBDIR)/pkgconfig/takeproof.pc $(addprefix $(DESTDIR)$(INCLUDEDIR)/,$(HEADERS:include/%=%))
	rm -f $(addprefix $(DESTDIR)$(MANDIR)/man1/,$(notdir $(MAN1))) $(addprefix $(DESTDIR)$(MANDIR)/man3/,$(notdir $(MAN3))) $(addprefix $(DESTDIR)$(MANDIR)/man5/,$(notdir $(MAN5)))
	rm -f $(DESTDIR)$(BASHCOMPDIR)/takeproof $(DESTDIR)$(ZSHCOMPDIR)/_takeproof $(DESTDIR)$(FISHCOMPDIR)/takeproof.fish
	-rmdir $(DESTDIR)$(INCLUDEDIR)/takeproof 2>/dev/null

check-install: ## check-install: install into a scratch folder and use it as an outsider would
	+@$(AGAIN) $(PROGRAM) $(DEMO_CARD)
	$(Q)BUILD=$(BUILD) TAKEPROOF_BUILD='$(abspath $(OBJ))' CC='$(CC)' tests/cli/install.sh

check-deb: ## check-deb: build the Debian packages and, as root, install and remove them in a fresh Debian 12
	+@$(AGAIN) $(DEMO_CARD)
	$(Q)tests/cli/deb.sh

check-bare: ## check-bare: make demo and make check in a fresh Debian 12 that has only git and make (root, debootstrap)
	tests/cli/bare_debian.sh

CROSS ?= s390x i386
check-cross: ## check-cross: build and test for big-endian s390x (qemu) and 32-bit i386, against Debian's packages of those
	+@$(AGAIN) $(PROGRAM) $(DEMO_CARD)
	$(Q)for arch in $(CROSS); do TAKEPROOF='$(abspath $(PROGRAM))' tests/cli/cross.sh $$arch || exit 1; done

# Compiles against musl's headers; linking needs the libraries built for musl.
check-musl: ## check-musl: compile all sources against musl (needs musl-tools)
	+@$(AGAIN) check-musl-run
check-musl-run: $(ASSETS)
	$(Q)tests/cli/musl.sh $(OBJ)/generated

clean: ## clean: remove everything that was built
	rm -rf $(BUILD)

help: ## help: this list
	@grep -hE '^[a-z-]+:.*## ' Makefile | sed 's/.*## /  /'

.PHONY: check-cross check-musl check-musl-run all deps demo demo-run check check-run unit check-long check-long-run \
	check-faults check-faults-run check-browser check-browser-run check-office check-office-run conformance conformance-run fault-tables fault-tables-run sanitize sanitize-run \
	tsan tsan-run valgrind valgrind-run coverage coverage-run bench bench-run bench-offload bench-offload-run fuzz fuzz-run mutations tidy tidy-run format update-expected install uninstall check-install check-deb check-bare clean help
.SECONDARY:
-include $(LIB_OBJ:.o=.d) $(CLI_OBJ:.o=.d) $(SUPPORT_OBJ:.o=.d) $(ALL_BIN:=.d)
