/* SPDX-License-Identifier: MIT */
/*
 * faults LIBRARY [POINTS [KIND]]: the hand-off under every fault of tests/handoff/faultio.c and some that need no
 * library, each at POINTS seeded points (default 8). A point is: offload a card to two folders with the fault, look at
 * what is really there, offload again without it, and look again. What must never be: false claim   "may be wiped"
 * while a file of the card lacks two equal copies, or after the card failed or changed altered       the card touched,
 * a copy that differs under a card's name, or a stranger's file gone unfinished    the next run does not complete and
 * clean up unexplained   the first run failed without saying what and where, or with the wrong exit status Prints a
 * table; fails when any count is not zero or a fault struck at fewer points than were asked for.
 */
#include "support/scratch.h"
#include "support/wavgen.h"

#include <ctype.h>
#include <errno.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum scale { BY_CARD_BYTES, BY_DEST_BYTES, BY_DEST_CALLS, BY_FSYNCS, BY_CALLS, BY_NOTHING };

struct kind {
    const char *name;
    enum scale scale;
    bool harmless; /* the first run must succeed */
    bool no_claim; /* once struck, the first run must not claim */
    bool changes_card;
    bool odd_names;    /* the card gets names that some file systems refuse or confuse */
    const char *words; /* what an unsuccessful first run must say, one of "a|b" */
};

static const struct kind kinds[] = {
    {"eio", BY_CARD_BYTES, .no_claim = true, .words = "cannot be read at byte"},
    {"flaky", BY_CARD_BYTES, .harmless = true},
    {"pulled", BY_CARD_BYTES, .no_claim = true,
     .words = "cannot read '|cannot open '|cannot list '|cannot be listed|vanished"},
    {"short", BY_NOTHING, .harmless = true},
    {"eintr", BY_NOTHING, .harmless = true},
    {"enospc", BY_DEST_BYTES, .words = "No space left on device"},
    {"readonly", BY_DEST_CALLS, .words = "Read-only file system"},
    {"fsync", BY_FSYNCS, .words = "flush|no history was written"},
    {"changes", BY_CARD_BYTES, .no_claim = true, .changes_card = true, .words = "changed while it was read"},
    {"grows", BY_CARD_BYTES, .no_claim = true, .changes_card = true, .words = "changed while it was read"},
    {"vanishes", BY_CARD_BYTES, .no_claim = true, .changes_card = true, .words = "vanished while it was read"},
    {"rot", BY_FSYNCS, .words = "came back different from the card ("},
    {"kill", BY_CALLS, .words = ""},
    {"fold", BY_NOTHING, .odd_names = true, .words = "upper and lower case|are one file at"},
    {"fat", BY_NOTHING, .odd_names = true,
     .words = "cannot hold the name|could not be made|upper and lower case|are one file at|File too large|cannot copy "
              "to|cannot write"},
};

struct tally {
    const char *name;
    unsigned points, struck, false_claims, altered, unfinished, unexplained;
};

static uint64_t state;
static uint64_t roll(uint64_t below)
{
    state ^= state << 13;
    state ^= state >> 7;
    state ^= state << 17;
    return below > 0 ? (state >> 11) % below : 0;
}

/* ---- the card ---- */

static const char *const plain_names[] = {
    "S01/12A-T001.wav", "S01/12A-T002.wav",   "S02/deep/er/12B-T001.wav", "notes.txt",
    "EMPTY.WAV",        "pictures/slate.jpg", "odd name \xff\n\\.txt",    NULL};
static const char *const odd_names[] = {
    "S01/12a-t001.wav", "NOTES.TXT", "wild:track.wav", "what?.txt", "end. ", "con|trol\x01.bin", "s01/other.txt", NULL};

struct world {
    char *root, *card, *one, *two, *mark;
    const char *names[32];
    size_t name_count;
};

static double noise(const void *user, uint64_t frame, unsigned channel)
{
    uint64_t mixed = (frame * 2 + channel + *(const uint64_t *)user) * 0x9E3779B97F4A7C15u;
    mixed ^= mixed >> 29;
    mixed *= 0xBF58476D1CE4E5B9u;
    return ((double)(mixed >> 40) / (double)(1 << 24) - 0.5) * 0.2;
}

static void put_file(struct world *world, const char *name)
{
    char *path = scratch_format("%s/%s", world->card, name), *slash = strrchr(path, '/');
    *slash = '\0';
    scratch_folder(path);
    *slash = '/';
    const char *dot = strrchr(name, '.');
    uint64_t seed = roll(UINT64_MAX);
    if (dot != NULL && strcmp(dot, ".wav") == 0) {
        struct wavgen w = {
            .channels = 1 + (uint32_t)roll(2), .frames = 20000 + roll(60000), .sound = noise, .sound_user = &seed};
        wavgen_write(&w, path);
    } else {
        size_t size = strcmp(name, "EMPTY.WAV") == 0 ? 0 : 1 + (size_t)roll(60000);
        uint8_t *bytes = malloc(size + 1);
        for (size_t i = 0; bytes != NULL && i < size; i++)
            bytes[i] = (uint8_t)roll(256);
        scratch_write(path, bytes, size);
        free(bytes);
    }
    world->names[world->name_count++] = name;
    free(path);
}

static void make_card(struct world *world, bool odd)
{
    scratch_folder(world->card);
    char *empty = scratch_format("%s/no takes yet", world->card);
    scratch_folder(empty);
    free(empty);
    world->name_count = 0;
    for (size_t i = 0; plain_names[i] != NULL; i++)
        put_file(world, plain_names[i]);
    for (size_t i = 0; odd && odd_names[i] != NULL; i++)
        if (roll(3) == 0)
            put_file(world, odd_names[i]);
}

static void world_begin(struct world *world, bool odd)
{
    *world = (struct world){.root = scratch_new()};
    world->card = scratch_format("%s/card", world->root);
    world->one = scratch_format("%s/dest/one", world->root);
    world->two = scratch_format("%s/other/two", world->root);
    world->mark = scratch_format("%s/mark", world->root);
    make_card(world, odd);
    char *keep = scratch_format("%s/keep", world->one), *stranger = scratch_format("%s/keep/me.txt", world->one);
    scratch_folder(keep);
    scratch_write(stranger, "a stranger's file", 17);
    free(keep);
    free(stranger);
}

static void world_end(struct world *world)
{
    scratch_remove(world->root);
    free(world->card);
    free(world->one);
    free(world->two);
    free(world->mark);
}

/* ---- the truth, without the program ---- */

/* 1 equal, 0 differs, -1 one of them is not there. */
static int compare_files(const char *a, const char *b)
{
    size_t size_a = 0, size_b = 0;
    char *bytes_a = scratch_read(a, &size_a), *bytes_b = scratch_read(b, &size_b);
    int result = bytes_a == NULL || bytes_b == NULL ? -1 : size_a == size_b && memcmp(bytes_a, bytes_b, size_a) == 0;
    free(bytes_a);
    free(bytes_b);
    return result;
}

/* The name as a folder that ignores case stores it. */
static void lower(char *text)
{
    for (; *text != '\0'; text++)
        *text = (char)(*text >= 'A' && *text <= 'Z' ? *text + ('a' - 'A') : *text);
}

static int compare_copy(const struct world *world, const char *destination, const char *name, bool folded)
{
    char *there = scratch_format("%s/%s", world->card, name), *copy = scratch_format("%s/%s", destination, name);
    if (folded)
        lower(copy + strlen(destination));
    int result = compare_files(there, copy);
    free(there);
    free(copy);
    return result;
}

/* Two names of the card in one file of the destination are one copy of one of them: not both. */
static bool shares_name(const struct world *world, size_t at)
{
    for (size_t i = 0; i < world->name_count; i++)
        if (i != at && strcasecmp(world->names[i], world->names[at]) == 0)
            return true;
    return false;
}

static bool all_there(const struct world *world, bool folded)
{
    for (size_t i = 0; i < world->name_count; i++) {
        bool kept = compare_copy(world, world->one, world->names[i], folded) == 1 &&
                    compare_copy(world, world->two, world->names[i], false) == 1;
        if (!kept || (folded && shares_name(world, i)))
            return false;
    }
    return true;
}

static bool is_altered(const struct world *world, bool folded)
{
    char *stranger = scratch_format("%s/keep/me.txt", world->one);
    size_t size = 0;
    char *kept = scratch_read(stranger, &size);
    bool altered = kept == NULL || size != 17 || memcmp(kept, "a stranger's file", 17) != 0;
    free(kept);
    free(stranger);
    for (size_t i = 0; i < world->name_count; i++) {
        bool unclear = folded && shares_name(world, i);
        altered = altered || (!unclear && compare_copy(world, world->one, world->names[i], folded) == 0) ||
                  compare_copy(world, world->two, world->names[i], false) == 0;
    }
    return altered;
}

static bool left_over(const struct world *world)
{
    char *one = scratch_format("%s/.takeproof-offload", world->one),
         *two = scratch_format("%s/.takeproof-offload", world->two);
    bool left = access(one, F_OK) == 0 || access(two, F_OK) == 0;
    free(one);
    free(two);
    return left;
}

/* ---- running ---- */

static const char *program, *library;

static bool claims(const struct run *run)
{
    return strstr(run->out, "\"may_be_wiped\": true") != NULL;
}

/* `fault` NULL: without the library. */
static void offload(const struct world *world, const char *fault, unsigned jobs, bool set_aside, struct run *run)
{
    char *settings[] = {
        scratch_format("LD_PRELOAD=%s", library),       scratch_format("FAULTIO=%s", fault != NULL ? fault : "none"),
        scratch_format("FAULTIO_CARD=%s", world->card), scratch_format("FAULTIO_DEST=%s/dest", world->root),
        scratch_format("FAULTIO_MARK=%s", world->mark), NULL};
    char count[16];
    snprintf(count, sizeof count, "%u", jobs);
    const char *argv[] = {program,    "offload",  world->card,
                          world->one, world->two, "--json",
                          "--jobs",   count,      set_aside ? "--set-aside" : NULL,
                          NULL};
    run_program(argv, NULL, fault != NULL ? (const char *const *)settings : NULL, 120, run);
    for (size_t i = 0; settings[i] != NULL; i++)
        free(settings[i]);
}

struct totals {
    unsigned long long calls, card_bytes, dest_bytes, dest_calls, fsyncs;
};

static bool has_mark(const struct world *world, const char *word, char *line, size_t size)
{
    char *text = scratch_read(world->mark, NULL);
    const char *found = text != NULL ? strstr(text, word) : NULL;
    if (found != NULL && line != NULL)
        snprintf(line, size, "%s", found);
    free(text);
    return found != NULL;
}

static uint64_t range_of(const struct kind *kind, const struct totals *totals)
{
    switch (kind->scale) {
    case BY_CARD_BYTES: return totals->card_bytes;
    case BY_DEST_BYTES: return totals->dest_bytes;
    case BY_DEST_CALLS: return totals->dest_calls;
    case BY_FSYNCS: return totals->fsyncs;
    case BY_CALLS: return totals->calls;
    case BY_NOTHING: break;
    }
    return 1;
}

static bool says(const struct run *run, const char *words)
{
    char *copy = scratch_format("%s", words);
    bool said = *copy == '\0';
    for (char *at = strtok(copy, "|"); at != NULL; at = strtok(NULL, "|"))
        said = said || strstr(run->out, at) != NULL || strstr(run->err, at) != NULL;
    free(copy);
    return said;
}

/* The place of a bad block must be told to the byte, and in seconds of the take when it lies in one. */
static bool tells_place(const struct world *world, const struct run *run)
{
    char line[4200];
    long long offset;
    if (!has_mark(world, "bad ", line, sizeof line) || sscanf(line, "bad %lld", &offset) != 1)
        return false;
    char *word = scratch_format("\"offset\": %lld", offset);
    bool told = strstr(run->out, word) != NULL;
    char *newline = strchr(line, '\n');
    if (newline != NULL)
        *newline = '\0';
    size_t length = strlen(line);
    if (length > 4 && strcmp(line + length - 4, ".wav") == 0 && offset > 0) {
        const char *gap = strstr(run->out, word);
        const char *start = gap != NULL ? strstr(gap, "\"start_s\": ") : NULL;
        told = told && start != NULL && isdigit((unsigned char)start[11]);
    }
    free(word);
    return told;
}

static void complain(const struct kind *kind, uint64_t seed, const char *what, const struct run *run)
{
    printf("%s, point %llu: %s (status %d)\n", kind->name, (unsigned long long)seed, what, run->exit_status);
    const char *words = strstr(run->out, "\"words\"");
    printf("    %.300s\n    %.300s\n", words != NULL ? words : run->out, run->err);
}

static void look_at_first(const struct kind *kind, const struct world *world, uint64_t seed, bool struck,
                          uint64_t before, const struct run *run, struct tally *tally)
{
    bool folded = kind->odd_names, claimed = claims(run), killed = run->exit_status == 137;
    if ((claimed && !all_there(world, folded)) || (claimed && struck && kind->no_claim)) {
        tally->false_claims++;
        complain(kind, seed, "a false claim", run);
    }
    if ((!kind->changes_card && scratch_fingerprint(world->card) != before) || is_altered(world, folded)) {
        tally->altered++;
        complain(kind, seed, "something was altered", run);
    }
    bool explained = claimed || killed || says(run, kind->words != NULL ? kind->words : "?");
    if (struck && strcmp(kind->name, "eio") == 0)
        explained = explained && tells_place(world, run);
    bool status_right = killed || (claimed ? run->exit_status <= 3 : run->exit_status == 3);
    if (!explained || !status_right || (kind->harmless && !claimed) || (killed && strcmp(kind->name, "kill") != 0)) {
        tally->unexplained++;
        complain(kind, seed, "not explained", run);
    }
}

static void look_at_second(const struct kind *kind, const struct world *world, uint64_t seed, const struct run *run,
                           struct tally *tally)
{
    if (claims(run) && run->exit_status <= 2 && all_there(world, false) && !left_over(world))
        return;
    tally->unfinished++;
    complain(kind, seed, "the next run did not complete", run);
}

/* A file that the fault removed from the card is no longer one of its names. */
static void forget_vanished(struct world *world)
{
    size_t kept = 0;
    for (size_t i = 0; i < world->name_count; i++) {
        char *path = scratch_format("%s/%s", world->card, world->names[i]);
        if (access(path, F_OK) == 0)
            world->names[kept++] = world->names[i];
        free(path);
    }
    world->name_count = kept;
}

/* Each byte of the card once: no more for hashing, measuring and two copies together. */
static bool read_once(const struct world *world, const struct totals *totals)
{
    unsigned long long bytes = 0;
    for (size_t i = 0; i < world->name_count; i++) {
        char *path = scratch_format("%s/%s", world->card, world->names[i]);
        struct stat status;
        bytes += stat(path, &status) == 0 ? (unsigned long long)status.st_size : 0;
        free(path);
    }
    if (totals->card_bytes != bytes)
        printf("%llu bytes of the card's %llu were read\n", totals->card_bytes, bytes);
    return totals->card_bytes == bytes;
}

static bool measure_totals(const struct kind *kind, struct totals *totals)
{
    struct world world;
    struct run run;
    char line[512];
    world_begin(&world, kind->odd_names);
    offload(&world, "count 0 0", 2, false, &run);
    bool good = claims(&run) && has_mark(&world, "totals ", line, sizeof line) &&
                sscanf(line, "totals %llu %llu %llu %llu %llu", &totals->calls, &totals->card_bytes,
                       &totals->dest_bytes, &totals->dest_calls, &totals->fsyncs) == 5 &&
                read_once(&world, totals);
    if (!good)
        complain(kind, 0, "the run without a fault did not do", &run);
    run_clear(&run);
    world_end(&world);
    return good;
}

static void run_point(const struct kind *kind, uint64_t seed, const struct totals *totals, struct tally *tally)
{
    struct world world;
    struct run run;
    state = 0x2545F4914F6CDD1Du + seed * 7919;
    roll(1);
    world_begin(&world, kind->odd_names);
    uint64_t before = scratch_fingerprint(world.card);
    /* For FAT the seed is the largest file that fits. */
    unsigned long long at = roll(range_of(kind, totals)),
                       extra = strcmp(kind->name, "fat") == 0 ? 100000 + roll(500000) : seed;
    char *fault = scratch_format("%s %llu %llu", kind->name, at, extra);
    offload(&world, fault, 1 + (unsigned)roll(3), false, &run);
    bool struck = kind->odd_names || has_mark(&world, "struck", NULL, 0);
    tally->points++;
    tally->struck += struck;
    if (kind->changes_card)
        forget_vanished(&world);
    look_at_first(kind, &world, seed, struck, before, &run, tally);
    run_clear(&run);
    if (kind->odd_names) { /* what it asks for: another folder, on a file system that can hold the names */
        free(world.one);
        world.one = scratch_format("%s/third", world.root);
    }
    offload(&world, NULL, 2, false, &run);
    look_at_second(kind, &world, seed, &run, tally);
    run_clear(&run);
    free(fault);
    world_end(&world);
}

/* Points whose fault never came (the last bytes of a card in another order) are made up for. */
static void run_kind(const struct kind *kind, unsigned points, struct tally *tally)
{
    struct totals totals;
    *tally = (struct tally){.name = kind->name};
    state = 88172645463325252u;
    if (!measure_totals(kind, &totals)) {
        tally->unfinished++;
        return;
    }
    for (uint64_t seed = 1; tally->struck < points && seed <= 2 * points + 4; seed++)
        run_point(kind, seed, &totals, tally);
}

/* ---- faults that need no library ---- */

static const struct kind rot_later = {.name = "rot later"}, twice = {.name = "two at once"},
                         nested = {.name = "nested"};

/* A proven copy changes between two runs: never overwritten, never claimed; --set-aside completes. */
static void run_rot_later(uint64_t seed, struct tally *tally)
{
    struct world world;
    struct run run;
    state = 0x2545F4914F6CDD1Du + seed * 104729;
    roll(1);
    world_begin(&world, false);
    offload(&world, NULL, 2, false, &run);
    run_clear(&run);
    const char *name = world.names[roll(3)];
    char *path = scratch_format("%s/%s", roll(2) == 0 ? world.one : world.two, name);
    size_t size;
    char *bytes = scratch_read(path, &size);
    bytes[roll(size)] ^= 0x10;
    scratch_write(path, bytes, size);
    tally->points++;
    tally->struck++;
    uint64_t card = scratch_fingerprint(world.card), copy = scratch_fingerprint(path);
    offload(&world, NULL, 2, false, &run);
    if (claims(&run)) {
        tally->false_claims++;
        complain(&rot_later, seed, "a false claim", &run);
    }
    if (scratch_fingerprint(path) != copy || scratch_fingerprint(world.card) != card)
        tally->altered++;
    if (run.exit_status != 3 || !says(&run, "another file is already there as"))
        tally->unexplained++;
    run_clear(&run);
    offload(&world, NULL, 2, true, &run);
    look_at_second(&rot_later, &world, seed, &run, tally);
    char *aside = scratch_format("%s.differs", path), *kept = scratch_read(aside, NULL);
    if (kept == NULL || memcmp(kept, bytes, size) != 0)
        tally->altered++;
    run_clear(&run);
    free(kept);
    free(aside);
    free(bytes);
    free(path);
    world_end(&world);
}

static void read_result(const struct world *world, const char *name, struct run *run)
{
    char *out = scratch_format("%s/%s.out", world->root, name), *err = scratch_format("%s/%s.err", world->root, name),
         *rc = scratch_format("%s/%s.rc", world->root, name);
    char *status = scratch_read(rc, NULL);
    *run = (struct run){.out = scratch_read(out, NULL), .err = scratch_read(err, NULL)};
    run->exit_status = status != NULL ? atoi(status) : 99;
    free(status);
    free(out);
    free(err);
    free(rc);
}

static void run_twice(uint64_t seed, struct tally *tally)
{
    struct world world;
    struct run shell, run;
    state = 0x2545F4914F6CDD1Du + seed * 15485863;
    roll(1);
    world_begin(&world, false);
    uint64_t before = scratch_fingerprint(world.card);
    static const char *const script =
        "run() { \"$0\" offload \"$1/card\" \"$1/dest/one\" \"$1/other/two\" --json >\"$1/$2.out\" "
        "2>\"$1/$2.err\"; echo $? >\"$1/$2.rc\"; }\n"
        "run \"$1\" a & sleep \"$2\"; run \"$1\" b; wait";
    char *later = scratch_format("0.%03u", (unsigned)roll(120));
    char *whole = scratch_format("%s", script);
    const char *argv[] = {"sh", "-c", whole, program, world.root, later, NULL};
    run_program(argv, NULL, NULL, 120, &shell);
    tally->points++;
    tally->struck++;
    unsigned done = 0;
    for (size_t i = 0; i < 2; i++) {
        read_result(&world, i == 0 ? "a" : "b", &run);
        if (claims(&run) && !all_there(&world, false)) {
            tally->false_claims++;
            complain(&twice, seed, "a false claim", &run);
        }
        done += claims(&run);
        if (!claims(&run) && (run.exit_status != 3 || !says(&run, "another offload is writing to"))) {
            tally->unexplained++;
            complain(&twice, seed, "not explained", &run);
        }
        run_clear(&run);
    }
    tally->unfinished += done == 0;
    if (scratch_fingerprint(world.card) != before || is_altered(&world, false))
        tally->altered++;
    offload(&world, NULL, 2, false, &run);
    look_at_second(&twice, &world, seed, &run, tally);
    run_clear(&run);
    run_clear(&shell);
    free(whole);
    free(later);
    world_end(&world);
}

/* Destinations in, around and beside the card, through links and dots: refused before anything is written. */
static void run_nested(uint64_t seed, struct tally *tally)
{
    struct world world;
    struct run run;
    state = 0x2545F4914F6CDD1Du + seed * 32452843;
    roll(1);
    world_begin(&world, false);
    char *link = scratch_format("%s/link", world.root);
    if (symlink(world.card, link) != 0)
        tally->unfinished++;
    char *bad[] = {scratch_format("%s/card", world.root),
                   scratch_format("%s/card/copy", world.root),
                   scratch_format("%s/link/S01/new/copy", world.root),
                   scratch_format("%s/dest/../card/./copy", world.root),
                   scratch_format("%s", world.root),
                   scratch_format("%s/new/../card/copy", world.root),
                   scratch_format("%s//card//S02/", world.root),
                   scratch_format("%s/dest/..", world.root)};
    const char *destination = bad[roll(sizeof bad / sizeof *bad)];
    const char *card = roll(2) == 0 ? world.card : link;
    bool first = roll(2) == 0;
    uint64_t before = scratch_fingerprint(world.card);
    const char *argv[] = {program,  "offload", card, first ? destination : world.one, first ? world.one : destination,
                          "--json", NULL};
    run_program(argv, NULL, NULL, 60, &run);
    tally->points++;
    tally->struck++;
    tally->false_claims += claims(&run);
    if (scratch_fingerprint(world.card) != before || is_altered(&world, false)) {
        tally->altered++;
        complain(&nested, seed, destination, &run);
    }
    if (run.exit_status != 3 || !says(&run, "inside|goes back")) {
        tally->unexplained++;
        complain(&nested, seed, destination, &run);
    }
    run_clear(&run);
    offload(&world, NULL, 2, false, &run);
    look_at_second(&nested, &world, seed, &run, tally);
    run_clear(&run);
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        free(bad[i]);
    free(link);
    world_end(&world);
}

static const struct {
    const struct kind *kind;
    void (*point)(uint64_t seed, struct tally *tally);
} others[] = {{&rot_later, run_rot_later}, {&twice, run_twice}, {&nested, run_nested}};

/* ---- the table ---- */

static bool print_row(const struct tally *tally, unsigned wanted)
{
    bool good =
        tally->struck >= wanted && tally->false_claims + tally->altered + tally->unfinished + tally->unexplained == 0;
    printf("%-12s %7u %7u %13u %9u %11u %12u   %s\n", tally->name, tally->points, tally->struck, tally->false_claims,
           tally->altered, tally->unfinished, tally->unexplained, good ? "ok" : "FAIL");
    fflush(stdout);
    return good;
}

int main(int argc, char **argv)
{
    if (argc < 2 || (library = realpath(argv[1], NULL)) == NULL ||
        (program = realpath(run_takeproof(), NULL)) == NULL) {
        fprintf(stderr, "usage: faults LIBRARY [POINTS [KIND]]\n");
        return 2;
    }
    unsigned points = argc > 2 ? (unsigned)strtoul(argv[2], NULL, 10) : 8;
    const char *only = argc > 3 ? argv[3] : NULL;
    unsigned rows = 0, good = 0;
    printf("%-12s %7s %7s %13s %9s %11s %12s\n", "fault", "points", "struck", "false claims", "altered", "unfinished",
           "unexplained");
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        struct tally tally;
        if (only != NULL && strcmp(only, kinds[i].name) != 0)
            continue;
        run_kind(&kinds[i], points, &tally);
        good += print_row(&tally, points);
        rows++;
    }
    for (size_t i = 0; i < sizeof others / sizeof *others; i++) {
        struct tally tally = {.name = others[i].kind->name};
        if (only != NULL && strcmp(only, tally.name) != 0)
            continue;
        for (uint64_t seed = 1; seed <= points; seed++)
            others[i].point(seed, &tally);
        good += print_row(&tally, points);
        rows++;
    }
    printf("%u of %u kinds of fault passed at %u points each\n", good, rows, points);
    return rows > 0 && good == rows ? 0 : 1;
}
