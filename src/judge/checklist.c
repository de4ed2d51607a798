/* SPDX-License-Identifier: MIT */
/* General craft in our own words: common practice, no source. */
#include <takeproof/spec.h>

static const struct tp_checklist_item items[] = {
    {"Before the first take",
     "Batteries charged and counted, a spare set for each device; the recorder's own clock set."},
    {"Before the first take",
     "An empty card that was formatted in this recorder, and a spare one; room for the whole day."},
    {"Before the first take",
     "Format as agreed in the spec: sample rate, bits, file type, tracks, scene and roll names."},
    {"Before the first take",
     "Timecode rate agreed with camera; recorder and cameras jammed, and jammed again after lunch."},
    {"Before the first take", "Cables run apart from mains cables, crossed at right angles, taped where people walk; "
                              "mains kit dry and untouched."},
    {"Before the first take", "Input set to line and gain down before anything is plugged; phantom power only for "
                              "microphones that need it, never for a "
                              "ribbon or an unknown old one."},
    {"Before the first take", "Headphones on low first, then raised while sound runs; rest the ears, a level that "
                              "makes you raise your voice is too loud."},
    {"Before the first take",
     "Gain set on normal speech at the level of the scene; the safety set lower; limiter and low cut as agreed."},
    {"Before the first take", "A test recording, quiet and then speech: takeproof linecheck test.wav."},
    {"While shooting",
     "Look that the recorder really counts; say scene and take, or let the slate be read; a clear clap in picture."},
    {"While shooting",
     "Listen on headphones to every take, to its end; note plane, phone, rustle and the take that sounds best."},
    {"While shooting", "Watch the meter for the loud lines, not the quiet ones; leave gains alone inside a take."},
    {"While shooting", "After a shout or a knock look at the safety before saying that all was well."},
    {"While shooting", "Half a minute of room tone in each place, all kit on, nobody moving; say what it is."},
    {"While shooting", "Wild lines and effects at once, while place and people are the same."},
    {"While shooting",
     "Change batteries in a pause, before they are empty; stop the recorder before a battery or card is touched."},
    {"At wrap", "Stop the last take and wait until the recorder has finished writing."},
    {"At wrap", "Shut down in this order: gain and headphones down; input to line, so that phantom power is off; wait "
                "some seconds; only "
                "then unplug; power off last."},
    {"At wrap", "Card out, locked if it can be, and never formatted before two verified copies stand on two disks."},
    {"At wrap",
     "takeproof check or takeproof offload over the card; listen at the times named, while people are still there."},
    {"At wrap",
     "Notes, spec and report go along with the copies; say what is missing or damaged today, not next week."},
    {"At wrap",
     "Mains kit, wet kit and damaged cables: to licensed hands, under local rules, which win over this list."},
    {NULL, NULL},
};

const struct tp_checklist_item *tp_checklist(void)
{
    return items;
}
