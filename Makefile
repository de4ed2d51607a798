# SPDX-License-Identifier: MIT
# takeproof: `make help` lists the targets.

VARIANT ?= release
BUILD   ?= build
OBJ      = $(BUILD)/$(VARIANT)
PREFIX  ?= /usr/local
DESTDIR ?=
VERSION := 0.1.0

CC      ?= cc
ifeq ($(origin CC),default)
CC       = gcc
endif
AR      ?= ar
PKGS     = sndfile libebur128 inih expat jansson libxxhash libcrypto kissfft-float
PKG_CONFIG ?= pkg-config
ifeq ($(filter help deps clean format,$(MAKECMDGOALS)),)
PKG_CFLAGS := $(shell $(PKG_CONFIG) --cflags $(PKGS) 2>/dev/null)
PKG_LIBS   := $(shell $(PKG_CONFIG) --libs $(PKGS) 2>/dev/null)
CHECK_CFLAGS := $(shell $(PKG_CONFIG) --cflags check 2>/dev/null)
CHECK_LIBS   := $(shell $(PKG_CONFIG) --libs check 2>/dev/null)
endif

WARN = -std=c11 -Wall -Wextra -Wconversion -Wshadow -Wvla -Wstrict-prototypes -Wmissing-prototypes -Wpointer-arith \
       -Wcast-qual -Wwrite-strings -Wundef -Werror
OPT_release  = -O2 -ftree-vectorize -fstack-protector-strong -D_FORTIFY_SOURCE=2 -g1
OPT_sanitize = -O1 -g -fsanitize=address,undefined -fno-sanitize-recover=all -fno-omit-frame-pointer
OPT_thread   = -O1 -g -fsanitize=thread
OPT_coverage = -O0 -g --coverage
CFLAGS  ?= $(OPT_$(VARIANT))
CPPFLAGS_ALL = -D_GNU_SOURCE -D_FILE_OFFSET_BITS=64 -Iinclude -Isrc
CFLAGS_ALL = $(WARN) $(CFLAGS) $(CPPFLAGS_ALL) $(CPPFLAGS) $(PKG_CFLAGS) -fPIC -fvisibility=hidden -pthread -MMD -MP
LDLIBS_ALL = $(PKG_LIBS) -lm -pthread

LIB_SRC  = $(sort $(wildcard src/*.c src/base/*.c src/read/*.c src/measure/*.c src/take/*.c src/judge/*.c src/pipeline/*.c src/report/*.c src/handoff/*.c))
CLI_SRC  = $(sort $(wildcard src/cli/*.c))
LIB_OBJ  = $(LIB_SRC:%.c=$(OBJ)/%.o)
CLI_OBJ  = $(CLI_SRC:%.c=$(OBJ)/%.o)
LIB      = $(OBJ)/libtakeproof.a
PROGRAM  = $(OBJ)/takeproof

SUPPORT_SRC = $(sort $(wildcard tests/support/*.c))
SUPPORT_OBJ = $(SUPPORT_SRC:%.c=$(OBJ)/%.o)
UNIT_SRC = $(sort $(foreach d,base read measure take judge pipeline report handoff,$(wildcard tests/$(d)/test_*.c)))
UNIT_BIN = $(UNIT_SRC:%.c=$(OBJ)/%)

Q = $(if $(V),,@)

all: $(BUILD)/takeproof ## all: build the program at build/takeproof (the default)

$(BUILD)/takeproof: $(PROGRAM)
	$(Q)cp -f $(PROGRAM) $@

$(OBJ)/%.o: %.c
	@mkdir -p $(@D)
	$(if $(V),,@echo "  cc    $<")
	$(Q)$(CC) $(CFLAGS_ALL) $(CFLAGS_$(basename $(notdir $<))) -c $< -o $@

$(LIB): $(LIB_OBJ)
	$(Q)rm -f $@ && $(AR) rcs $@ $^

$(PROGRAM): $(CLI_OBJ) $(LIB)
	$(Q)$(CC) $(CFLAGS_ALL) $^ -o $@ $(LDFLAGS) $(LDLIBS_ALL)

unit: $(UNIT_BIN)
$(OBJ)/tests/%: $(OBJ)/tests/%.o $(SUPPORT_OBJ) $(LIB)
	$(Q)$(CC) $(CFLAGS_ALL) $^ -o $@ $(LDFLAGS) $(CHECK_LIBS) $(LDLIBS_ALL)
$(OBJ)/tests/%.o: CFLAGS_ALL += -Itests $(CHECK_CFLAGS)

clean: ## clean: remove everything that was built
	rm -rf $(BUILD)

help: ## help: this list
	@grep -hE '^[a-z-]+:.*## ' Makefile | sed 's/.*## /  /'

.PHONY: all unit clean help
.SECONDARY:
-include $(LIB_OBJ:.o=.d) $(CLI_OBJ:.o=.d) $(SUPPORT_OBJ:.o=.d) $(UNIT_BIN:=.d)
