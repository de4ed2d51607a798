/* SPDX-License-Identifier: MIT */
/* The trace of a channel's level, from powers that are given, and the dead stretches in traces made by hand. */
#include "base/num.h"
#include "measure/dead.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

#define RATE 48000u
#define STEP 2400u /* 50 ms */

/* So many steps of one kind. */
enum kind { ROOM, BARE, ZEROS, HELD, TALK };
struct part {
    unsigned steps;
    enum kind kind;
    double dbfs; /* AES17 */
};

static void add(struct tp_trace_meter *meter, const struct part *part)
{
    static const double flatness[] = {[ROOM] = 0.2, [BARE] = 2.0, [ZEROS] = 0.0, [HELD] = 0.0, [TALK] = 0.2};
    bool still = part->kind == ZEROS || part->kind == HELD;
    double power = still ? 0.0 : tp_power_from_db(part->dbfs - TP_AES17_DB);
    for (unsigned i = 0; i < part->steps; i++) {
        if (part->kind == TALK) /* from step to step 5 to 20 dB up and down, without rest */
            power = tp_power_from_db(part->dbfs + 5.0 * (i * 2 % 5) - TP_AES17_DB);
        tp_trace_add(meter, power, power + (part->kind == HELD ? 0.01 : 0.0), power * flatness[part->kind]);
    }
}

static struct tp_trace trace_of(const struct part *parts)
{
    struct tp_trace_meter meter = {0};
    struct tp_trace trace;
    for (; parts->steps > 0; parts++)
        add(&meter, parts);
    ck_assert(tp_trace_finish(&meter, STEP, &trace));
    return trace;
}

START_TEST(trace__step_holds_level_and_spectrum)
{
    struct tp_trace trace =
        trace_of((struct part[]){{1, ROOM, -50}, {1, BARE, -87}, {1, ZEROS, 0}, {1, HELD, 0}, {1, ROOM, 0}, {0}});
    ck_assert_uint_eq(trace.step_count, 5);
    ck_assert_uint_eq(trace.frames_per_step, STEP);
    ck_assert(tp_trace_dbfs(trace.steps[0]) >= -50 - 1e-9 && tp_trace_dbfs(trace.steps[0]) < -50 + TP_TRACE_DB + 1e-9);
    ck_assert(!tp_trace_is_flat(trace.steps[0]));
    ck_assert(tp_trace_dbfs(trace.steps[1]) >= -87 - 1e-9 && tp_trace_dbfs(trace.steps[1]) < -87 + TP_TRACE_DB + 1e-9);
    ck_assert(tp_trace_is_flat(trace.steps[1]));
    ck_assert_uint_eq(trace.steps[2], TP_TRACE_ZEROS);
    ck_assert(tp_trace_is_still(trace.steps[3]) && trace.steps[3] != TP_TRACE_ZEROS);
    ck_assert(fabs(tp_trace_dbfs(trace.steps[4])) < TP_TRACE_DB);
    free(trace.steps);
}
END_TEST

START_TEST(trace__what_is_beyond_all_numbers_is_loud)
{
    struct tp_trace_meter meter = {0};
    struct tp_trace trace;
    tp_trace_add(&meter, (double)INFINITY, (double)INFINITY, (double)INFINITY);
    tp_trace_add(&meter, (double)NAN, (double)INFINITY, (double)NAN);
    ck_assert(tp_trace_finish(&meter, STEP, &trace));
    ck_assert(tp_trace_dbfs(trace.steps[0]) > 0.0 && tp_trace_dbfs(trace.steps[1]) > 0.0);
    free(trace.steps);
}
END_TEST

/* Whatever the length, a short sound in a long silence keeps its place and its level. */
START_TEST(trace__long_recordings_get_longer_steps)
{
    const unsigned before = 3 * TP_TRACE_STEPS_MAX + 17, after = 2 * TP_TRACE_STEPS_MAX;
    struct tp_trace trace = trace_of((struct part[]){{before, ZEROS, 0}, {1, ROOM, -30}, {after, ZEROS, 0}, {0}});
    uint64_t steps = (uint64_t)before + 1 + after, merged = trace.frames_per_step / STEP;
    ck_assert_uint_lt(trace.step_count, TP_TRACE_STEPS_MAX);
    ck_assert_uint_eq(trace.step_count, (steps + merged - 1) / merged);
    for (uint32_t i = 0; i < trace.step_count; i++) {
        if (i == before / merged)
            ck_assert(fabs(tp_trace_dbfs(trace.steps[i]) + 30.0) <= TP_TRACE_DB);
        else
            ck_assert_uint_eq(trace.steps[i], TP_TRACE_ZEROS);
    }
    free(trace.steps);
}
END_TEST

/* Take of 20 s: 400 steps. */
struct row {
    const char *name;
    struct part parts[8];
    unsigned start, end; /* steps of the one dead stretch; 0, 0: none */
};
static const struct row rows[] = {
    {"noise_to_the_end", {{160, ROOM, -55}, {240, BARE, -87}}, 160, 400},
    {"zeros_to_the_end", {{160, ROOM, -55}, {240, ZEROS, 0}}, 160, 400},
    {"held_to_the_end", {{160, ROOM, -55}, {240, HELD, 0}}, 160, 400},
    {"border_inside_a_step", {{160, ROOM, -55}, {1, ROOM, -62}, {239, BARE, -87}}, 161, 400},
    {"noise_and_back", {{160, ROOM, -55}, {40, BARE, -87}, {200, ROOM, -55}}, 160, 200},
    {"zeros_and_back", {{160, ROOM, -55}, {20, ZEROS, 0}, {220, ROOM, -55}}, 160, 180},
    {"after_a_quiet_room", {{160, ROOM, -72}, {240, BARE, -87}}, 160, 400},
    {"room_that_was_flat_for_a_moment", {{158, ROOM, -74}, {2, BARE, -74}, {1, BARE, -78}, {239, BARE, -87}}, 161, 400},
    {"thump_of_a_plug", {{160, ROOM, -55}, {2, ROOM, -20}, {2, ROOM, -65}, {236, BARE, -87}}, 164, 400},
    {"noise_too_short", {{160, ROOM, -55}, {39, BARE, -87}, {201, ROOM, -55}}, 0, 0},
    {"zeros_too_short", {{160, ROOM, -55}, {19, ZEROS, 0}, {221, ROOM, -55}}, 0, 0},
    {"zeros_too_short_at_the_end", {{361, ROOM, -55}, {39, ZEROS, 0}}, 0, 0},
    {"too_little_before", {{39, ROOM, -55}, {361, BARE, -87}}, 0, 0},
    {"not_far_enough_down", {{160, BARE, -72}, {240, BARE, -85}}, 0, 0},
    {"not_far_enough_down_from_a_room", {{160, ROOM, -72}, {240, BARE, -79}}, 0, 0},
    {"another_room", {{160, ROOM, -55}, {240, ROOM, -87}}, 0, 0},
    {"dying_away", {{160, ROOM, -55}, {2, ROOM, -65}, {2, ROOM, -75}, {236, BARE, -87}}, 0, 0},
    {"coming_back_slowly", {{160, ROOM, -55}, {40, BARE, -87}, {5, ROOM, -75}, {195, ROOM, -55}}, 0, 0},
    {"had_pauses_like_it", {{100, ROOM, -55}, {20, BARE, -87}, {40, ROOM, -55}, {240, BARE, -87}}, 0, 0},
    {"talk_without_a_pause", {{160, TALK, -45}, {240, BARE, -87}}, 0, 0},
    {"talk_with_pauses",
     {{20, TALK, -45}, {10, ROOM, -55}, {20, TALK, -45}, {10, ROOM, -55}, {340, BARE, -87}},
     60,
     400},
    {"tone_or_music", {{160, ROOM, -20}, {240, BARE, -87}}, 0, 0},
    {"begins_with_one", {{8, ZEROS, 0}, {152, ROOM, -55}, {30, ZEROS, 0}, {210, ROOM, -55}}, 0, 0},
    {"room_alone", {{400, ROOM, -72}}, 0, 0},
    {"bare_alone", {{400, BARE, -87}}, 0, 0},
};

START_TEST(dead__is_what_falls_silent_for_good_or_abruptly)
{
    const struct row *row = &rows[_i];
    struct tp_trace trace = trace_of(row->parts);
    struct tp_spans dead = {0};
    const uint64_t frames = 400u * (uint64_t)STEP + 7;
    ck_assert_uint_eq(trace.step_count, 400);
    ck_assert(tp_dead_find(&trace, RATE, frames, &dead));
    ck_assert_msg(dead.count == (row->end > 0), "%s: %zu", row->name, dead.count);
    if (dead.count > 0) {
        ck_assert_msg(dead.items[0].start_frame == (uint64_t)row->start * STEP, "%s: from %g", row->name,
                      (double)dead.items[0].start_frame / STEP);
        ck_assert_uint_eq(dead.items[0].end_frame, row->end == 400 ? frames : (uint64_t)row->end * STEP);
    }
    free(dead.items);
    free(trace.steps);
}
END_TEST

START_TEST(dead__kind_is_of_the_whole_stretch)
{
    struct tp_trace trace =
        trace_of((struct part[]){{10, ROOM, -55}, {10, ZEROS, 0}, {10, HELD, 0}, {10, BARE, -87}, {0}});
    struct tp_dead_kind zeros = tp_dead_kind(&trace, &(struct tp_span){10u * STEP, 20u * STEP}),
                        still = tp_dead_kind(&trace, &(struct tp_span){10u * STEP, 30u * STEP}),
                        noise = tp_dead_kind(&trace, &(struct tp_span){10u * STEP, 40u * STEP});
    ck_assert(zeros.still && zeros.zeros);
    ck_assert(still.still && !still.zeros);
    ck_assert(!noise.still && !noise.zeros);
    ck_assert_double_eq_tol(noise.level_dbfs, -87.0, TP_TRACE_DB / 2.0 + 1e-6);
    free(trace.steps);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("dead");
    TCase *tests = tcase_create("trace");
    tcase_add_test(tests, trace__step_holds_level_and_spectrum);
    tcase_add_test(tests, trace__what_is_beyond_all_numbers_is_loud);
    tcase_add_test(tests, trace__long_recordings_get_longer_steps);
    tcase_add_loop_test(tests, dead__is_what_falls_silent_for_good_or_abruptly, 0, (int)(sizeof rows / sizeof *rows));
    tcase_add_test(tests, dead__kind_is_of_the_whole_stretch);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_run(runner) == 0 || srunner_ntests_failed(runner) != 0;
    srunner_free(runner);
    return failed;
}
