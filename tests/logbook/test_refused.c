/* test_refused.c - logbooks, controller files and descriptions that must be refused, each with line,
 * column, key, value and a sentence.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/refused.h"

#include <stdlib.h>

#include "logbook/description.h"
#include "logbook/logbook.h"

#define HEAD  "[axis]\n[drive]\nloop_rate_hz = 4000\n"                /* lines 1 to 3 */
#define LOG   "[log a]\nkind = sweep\nfile = a.csv\n"                 /* 3 lines */
#define GAINS "[controller]\nkp_nm_per_rad = 1e5\n"                   /* 2 lines */
#define PLANT "[plant]\ninertia_kg_m2 = 820\n"                        /* 2 lines */
#define PLACE "[pointing p]\n"                                        /* 1 line */
#define HOLD  "[log q]\nkind = hold\npointing = p\nduration_s = 20\n" /* 4 lines */
#define SWEEP                                                                                      \
    "[log s]\nkind = sweep\npointing = p\nduration_s = 20\nsweep_from_hz = 1\n"                    \
    "sweep_to_hz = 200\namplitude_nm = 40\n"                              /* 7 lines */
#define AXIS   HEAD GAINS PLANT                                           /* 7 lines */
#define SCALES "encoder_counts_per_turn = 1e6\ntorque_per_unit_nm = 10\n" /* 2 lines */
#define MOTION HEAD SCALES GAINS PLANT PLACE "[log m]\npointing = p\n"    /* 12 lines */

/* clang-format off */
static const struct refused logbooks[] = {
    {"an empty file", TEXT(""), AT(0, 0), ABOUT("section", "axis"),
     .sentence = "a logbook needs a section [axis]: add it"},
    {"no drive", TEXT("[axis]\n" LOG), AT(0, 0), ABOUT("section", "drive"),
     .sentence = "a logbook needs a section [drive]"},
    {"no log", TEXT(HEAD), AT(0, 0), ABOUT("section", "log"),
     .sentence = "a logbook needs a section [log NAME]"},
    {"no loop rate", TEXT("[axis]\n[drive]\n" LOG), AT(2, 0), ABOUT("[drive]", ""),
     .sentence = "the section [drive] lacks the key loop_rate_hz"},
    {"no file", TEXT(HEAD "[log a]\nkind = hold\n"), AT(4, 0), ABOUT("[log a]", ""),
     .sentence = "the section [log a] lacks the key file"},
    {"no kind", TEXT(HEAD "[log a]\nfile = a\n"), AT(4, 0), ABOUT("[log a]", ""),
     .sentence = "the section [log a] lacks the key kind"},
    {"an unknown section", TEXT(HEAD LOG "[mount]\n"), AT(7, 0), ABOUT("[mount]", ""),
     .sentence = "a logbook has no section [mount]: remove it"},
    {"a section misspelt", TEXT(HEAD LOG "[requirements]\n"), AT(7, 0), ABOUT("[requirements]", ""),
     .sentence = "unknown section [requirements]: did you mean [requirement]?"},
    {"a repeated section", TEXT(HEAD LOG "[drive]\n"), AT(7, 0), ABOUT("[drive]", ""),
     .sentence = "the section [drive] stands in line 2 already: join the two"},
    {"an empty section repeated", TEXT(HEAD LOG "[requirement]\n[requirement]\n"), AT(8, 0),
     ABOUT("[requirement]", ""), .sentence = "stands in line 7 already"},
    {"two logs of one name", TEXT(HEAD LOG LOG), AT(7, 0), ABOUT("[log a]", ""),
     .sentence = "the section [log a] stands in line 4 already"},
    {"a log without a name", TEXT(HEAD "[log]\nkind = hold\n"), AT(4, 0), ABOUT("[log]", ""),
     .sentence = "the section [log] needs a name: [log NAME]"},
    {"a name too many", TEXT("[axis ha]\n"), AT(1, 0), ABOUT("[axis ha]", ""),
     .sentence = "the section [axis] takes no name"},
    {"capitals in a name", TEXT(HEAD "[log East]\n"), AT(4, 1), ABOUT("line", "[log East]"),
     .sentence = "the name in this section heading is not allowed: '[log East]'"},
    {"two words in a name", TEXT(HEAD "[log east 45]\n"), AT(4, 1), ABOUT("line", "[log east 45]"),
     .sentence = "the name in this section heading is not allowed"},
    {"a name of 33 letters", TEXT(HEAD "[log abcdefghijklmnopqrstuvwxyz0123456]\n"), AT(4, 1),
     ABOUT("line", "[log abcdefghijklmnopqrstuvwxyz0123456]"), .sentence = "is not allowed"},
    {"a bracket missing", TEXT("[axis\n"), AT(1, 1), ABOUT("line", "[axis"),
     .sentence = "a section heading is malformed: '[axis'"},
    {"text behind a heading", TEXT("[axis] site = x\n"), AT(1, 1), ABOUT("line", "[axis] site = x"),
     .sentence = "a section heading is malformed"},
    {"a heading too long", TEXT("[log abcdefghijklmnopqrstuvwxyzabcdefghijklmnopqrstuvwxyz]\n"),
     AT(1, 1), ABOUT("line", "[log abcdefghijklmnopqrstuvwxyzabcdefghijklmnopqrstuvwxyz]"),
     .sentence = "a section heading is too long"},
    {"an empty heading", TEXT("[]\n"), AT(1, 1), ABOUT("line", "[]"),
     .sentence = "a section without a name"},
    {"spaces in the brackets", TEXT("[ axis ]\n"), AT(1, 1), ABOUT("line", "[ axis ]"),
     .sentence = "a section heading is malformed: '[ axis ]'"},
    {"a key before any section", TEXT("  kp = 3\n"), AT(1, 3), ABOUT("line", "kp = 3"),
     .sentence = "a key stands before the first section"},
    {"no equals sign", TEXT("[axis]\nsite Heron Flat ; here\n"), AT(2, 1),
     ABOUT("line", "site Heron Flat"), .sentence = "neither a key with a value nor a section"},
    {"no key", TEXT("[axis]\n = 3\n"), AT(2, 2), ABOUT("line", "= 3"),
     .sentence = "a line has no proper key"},
    {"an unknown key", TEXT("[axis]\nlongitude = 3\n[drive]\nloop_rate_hz = 1\n" LOG), AT(2, 13),
     ABOUT("longitude", "3"), .sentence = "unknown key longitude in [axis]"},
    {"a key misspelt", TEXT("[axis]\n[drive]\nlooprate_hz = 4000\n" LOG), AT(3, 15),
     ABOUT("looprate_hz", "4000"),
     .sentence = "unknown key looprate_hz in [drive]: did you mean loop_rate_hz?"},
    {"a mapping misspelt", TEXT(HEAD LOG "torque_sing = -1\n"), AT(7, 15),
     ABOUT("torque_sing", "-1"), .sentence = "did you mean torque_sign?"},
    {"a numbered key misspelt", TEXT(HEAD LOG GAINS "biquad12_zerohz = 4\n"), AT(9, 19),
     ABOUT("biquad12_zerohz", "4"), .sentence = "did you mean biquad12_zero_hz?"},
    {"a key of another section", TEXT(HEAD LOG "torque_limit_nm = 4\n"), AT(7, 19),
     ABOUT("torque_limit_nm", "4"),
     .sentence = "the key torque_limit_nm does not belong in [log] but in [drive]"},
    {"a repeated key", TEXT(HEAD "loop_rate_hz = 2000\n" LOG), AT(4, 1),
     ABOUT("loop_rate_hz", "2000"), .sentence = "the key loop_rate_hz stands in line 3 already"},
    {"a repeated key of another form", TEXT(HEAD "loop_rate_hz:4000\n" LOG), AT(4, 1),
     ABOUT("loop_rate_hz", "4000"), .sentence = "stands in line 3 already"},
    {"no value", TEXT("[axis]\n[drive]\nloop_rate_hz =\n" LOG), AT(3, 15), ABOUT("loop_rate_hz", ""),
     .sentence = "loop_rate_hz = (nothing) is not possible: expected a number above 0"},
    {"no number", TEXT("[axis]\n[drive]\nloop_rate_hz = 4 kHz\n" LOG), AT(3, 16),
     ABOUT("loop_rate_hz", "4 kHz"), .sentence = "loop_rate_hz = 4 kHz is not possible"},
    {"a decimal comma", TEXT("[axis]\nlatitude_deg = -31,2\n"
     "[drive]\nloop_rate_hz = 1\n" LOG), AT(2, 16), ABOUT("latitude_deg", "-31,2"),
     .sentence = "expected a number from -90 to 90"},
    {"a number out of range", TEXT("[axis]\nlatitude_deg = 91\n[drive]\nloop_rate_hz = 1\n" LOG),
     AT(2, 16), ABOUT("latitude_deg", "91"), .sentence = "expected a number from -90 to 90"},
    {"zero for a rate", TEXT("[axis]\n[drive]\nloop_rate_hz = 0\n" LOG), AT(3, 16),
     ABOUT("loop_rate_hz", "0"), .sentence = "expected a number above 0"},
    {"not a number by name", TEXT("[axis]\n[drive]\nloop_rate_hz = nan\n" LOG), AT(3, 16),
     ABOUT("loop_rate_hz", "nan"), .sentence = "expected a number above 0"},
    {"a fraction of a filter", TEXT(HEAD "max_biquads = 2.5\n" LOG), AT(4, 15),
     ABOUT("max_biquads", "2.5"), .sentence = "expected a whole number from 0 to 16"},
    {"too many filters", TEXT(HEAD "max_biquads = 17\n" LOG), AT(4, 15), ABOUT("max_biquads", "17"),
     .sentence = "expected a whole number from 0 to 16"},
    {"one travel limit", TEXT(HEAD "travel_limit_deg = -95\n" LOG), AT(4, 20),
     ABOUT("travel_limit_deg", "-95"), .sentence = "expected two numbers, the smaller first"},
    {"travel limits turned round", TEXT(HEAD "travel_limit_deg = 95 -95\n" LOG), AT(4, 20),
     ABOUT("travel_limit_deg", "95 -95"), .sentence = "expected two numbers, the smaller first"},
    {"three travel limits", TEXT(HEAD "travel_limit_deg = 1 2 3\n" LOG), AT(4, 20),
     ABOUT("travel_limit_deg", "1 2 3"), .sentence = "expected two numbers, the smaller first"},
    {"more continuous than peak torque",
     TEXT(HEAD "torque_limit_nm = 100\ntorque_continuous_nm = 120\n" LOG), AT(5, 24),
     ABOUT("torque_continuous_nm", "120"), .sentence = "is above torque_limit_nm = 100"},
    {"an unknown number format", TEXT(HEAD "coefficient_format = Q2,30\n" LOG), AT(4, 22),
     ABOUT("coefficient_format", "Q2,30"), .sentence = "expected float64, float32 or Qm.n"},
    {"an unknown axis", TEXT("[axis]\nname = zenith\n[drive]\nloop_rate_hz = 1\n" LOG), AT(2, 8),
     ABOUT("name", "zenith"), .sentence = "expected one of hour-angle|declination|azimuth"},
    {"an unknown kind", TEXT(HEAD "[log a]\nkind = Sweep\nfile = a\n"), AT(5, 8),
     ABOUT("kind", "Sweep"), .sentence = "expected one of sweep|hold|track|step|turn|response"},
    {"a pointing that is no name", TEXT(HEAD LOG "pointing = east 45\n"), AT(7, 12),
     ABOUT("pointing", "east 45"), .sentence = "expected a name of at most 32"},
    {"an unknown unit", TEXT(HEAD LOG "position_unit = inch\n"), AT(7, 17),
     ABOUT("position_unit", "inch"), .sentence = "expected one of arcsec, mas, deg, rad, counts, m"},
    {"a sign of 2", TEXT(HEAD LOG "torque_sign = 2\n"), AT(7, 15), ABOUT("torque_sign", "2"),
     .sentence = "expected 1 or -1"},
    {"a scale of 0", TEXT(HEAD LOG "torque_scale = 0\n"), AT(7, 16), ABOUT("torque_scale", "0"),
     .sentence = "expected a number that is not 0"},
    {"a delay below 0", TEXT(HEAD LOG "torque_delay_samples = -1\n"), AT(7, 24),
     ABOUT("torque_delay_samples", "-1"), .sentence = "expected a number, 0 or more"},
    {"a sign of time", TEXT(HEAD LOG "time_sign = 1\n"), AT(7, 13), ABOUT("time_sign", "1"),
     .sentence = "unknown key time_sign in [log]"},
    {"an empty column name", TEXT(HEAD LOG "torque = \"\"\n"), AT(7, 10), ABOUT("torque", ""),
     .sentence = "expected the header text of a column"},
    {"a quote never closed", TEXT(HEAD LOG "torque = \"Iq act\n"), AT(7, 10),
     ABOUT("line", "torque = \"Iq act"), .sentence = "the quote of this value is never closed"},
    {"text behind a quote", TEXT(HEAD LOG "torque = \"Iq\" act\n"), AT(7, 15),
     ABOUT("line", "torque = \"Iq\" act"), .sentence = "text behind the closing quote"},
    {"two angles of one pointing", TEXT(HEAD LOG "angle_deg = -45\n"
     "[log b]\nkind = sweep\nfile = b\npointing = a\nangle_deg = -30\n"), AT(12, 13),
     ABOUT("angle_deg", "-30"), .sentence = "the pointing a is at -30 degrees here and at -45 in"},
    {"of where it says nothing", TEXT(HEAD LOG "of = loop\n"), AT(7, 6), ABOUT("of", "loop"),
     .sentence = "the key of goes with kind = response only"},
    {"a sign for a table of responses", TEXT(HEAD "[log a]\nkind = response\nfile = a\ntorque_sign = -1\n"),
     AT(7, 15), ABOUT("torque_sign", "-1"),
     .sentence = "the key torque_sign does not go with kind = response"},
    {"a known angle where nothing moves", TEXT(HEAD LOG "known_angle_deg = 4\n"), AT(7, 19),
     ABOUT("known_angle_deg", "4"), .sentence = "the key known_angle_deg goes with kind = move only"},
    {"a weight in a sweep", TEXT(HEAD LOG "load_kg = 4\n"), AT(7, 11), ABOUT("load_kg", "4"),
     .sentence = "the key load_kg goes with kind = load only: remove it"},
    {"a side in a sweep", TEXT(HEAD LOG "limit_side = low\n"), AT(7, 14), ABOUT("limit_side", "low"),
     .sentence = "the key limit_side goes with kind = limit only"},
    {"a move of nobody knows what", TEXT(HEAD "[log a]\nkind = move\nfile = a\n"), AT(4, 0),
     ABOUT("[log a]", ""), .sentence = "the section [log a] lacks the key known_angle_deg"},
    {"a move of nothing", TEXT(HEAD "[log a]\nkind = move\nfile = a\nknown_angle_deg = 0\n"),
     AT(7, 19), ABOUT("known_angle_deg", "0"), .sentence = "known_angle_deg = 0 is not possible"},
    {"a load without its weight", TEXT(HEAD "[log a]\nkind = load\nfile = a\nload_arm_m = 1\n"),
     AT(4, 0), ABOUT("[log a]", ""), .sentence = "the section [log a] lacks the key load_kg"},
    {"a load without its arm", TEXT(HEAD "[log a]\nkind = load\nfile = a\nload_kg = 1\n"),
     AT(4, 0), ABOUT("[log a]", ""), .sentence = "the section [log a] lacks the key load_arm_m"},
    {"a weight on no arm", TEXT(HEAD "[log a]\nkind = load\nfile = a\nload_kg = 1\n"
     "load_arm_m = 0\n"), AT(8, 14), ABOUT("load_arm_m", "0"),
     .sentence = "load_arm_m = 0 is not possible with a weight"},
    {"a weight below 0", TEXT(HEAD "[log a]\nkind = load\nfile = a\nload_kg = -1\n"), AT(7, 11),
     ABOUT("load_kg", "-1"), .sentence = "expected a number, 0 or more"},
    {"an arm upright", TEXT(HEAD "[log a]\nkind = load\nfile = a\nload_arm_angle_deg = 90\n"),
     AT(7, 22), ABOUT("load_arm_angle_deg", "90"), .sentence = "above -90 and below 90"},
    {"a limit of neither side", TEXT(HEAD "[log a]\nkind = limit\nfile = a\n"), AT(4, 0),
     ABOUT("[log a]", ""), .sentence = "the section [log a] lacks the key limit_side"},
    {"a side that is none", TEXT(HEAD "[log a]\nkind = limit\nfile = a\nlimit_side = east\n"),
     AT(7, 14), ABOUT("limit_side", "east"), .sentence = "expected one of low|high"},
    {"no pole pairs", TEXT(HEAD "pole_pairs = 0\n" LOG), AT(4, 14), ABOUT("pole_pairs", "0"),
     .sentence = "expected a whole number from 1 to 10000"},
    {"a spread of no inertia", TEXT(HEAD LOG "[expected]\ninertia_std_kg_m2 = 3\n"), AT(7, 0),
     ABOUT("[expected]", ""), .sentence = "the section [expected] lacks the key inertia_kg_m2"},
    {"half a payload ratio", TEXT(HEAD LOG "[payload]\nratio1 = 3\n"), AT(7, 0),
     ABOUT("[payload]", ""), .sentence = "the section [payload] lacks the key ratio1_hz"},
    {"a slide without its mass", TEXT(HEAD LOG "[slide s]\nangle_deg = 1\ntravel_mm = -1 1\n"),
     AT(7, 0), ABOUT("[slide s]", ""), .sentence = "lacks the key mass_kg"},
    {"a slide outside its way",
     TEXT(HEAD LOG "[slide s]\nmass_kg = 3\nangle_deg = 1\ntravel_mm = 1 2\n"), AT(10, 13),
     ABOUT("travel_mm", "1 2"), .sentence = "its low end is 0 or less"},
    {"a place for nothing", TEXT(HEAD LOG "[place p]\narm_m = 1\nangle_deg = 1\nmost_kg = 0\n"),
     AT(10, 11), ABOUT("most_kg", "0"), .sentence = "expected a number above 0"},
    {"an accelerometer on the axis", TEXT(HEAD LOG "[payload]\npayload_accel_arm_m = 0\n"),
     AT(8, 23), ABOUT("payload_accel_arm_m", "0"), .sentence = "feels no rotation"},
    {"a sensitivity below 1", TEXT(HEAD LOG "[requirement]\npeak_sensitivity = 1\n"), AT(8, 20),
     ABOUT("peak_sensitivity", "1"), .sentence = "expected a number above 1"},
    {"a phase margin of 180", TEXT(HEAD LOG "[requirement]\nphase_margin_deg = 180\n"), AT(8, 20),
     ABOUT("phase_margin_deg", "180"), .sentence = "expected a number above 0 and below 180"},
    {"zero bytes", TEXT("[axis]\nsite = a\0b\n"), AT(2, 9), ABOUT("line", ""),
     .sentence = "the line holds a control character"},
    {"Latin-1", TEXT("[axis]\nsite = Pic\xe9\n"), AT(2, 1), ABOUT("line", ""),
     .sentence = "the line is not UTF-8"},
};

static const struct refused controllers[] = {
    {"an empty file", TEXT("; nothing\n"), AT(0, 0), ABOUT("section", "controller"),
     .sentence = "a controller file needs a section [controller]"},
    {"a logbook instead", TEXT("[axis]\n"), AT(1, 0), ABOUT("[axis]", ""),
     .sentence = "a controller file has no section [axis]"},
    {"no gain", TEXT("[controller]\nkp_nm_per_rad = 0\n"), AT(1, 0), ABOUT("[controller]", ""),
     .sentence = "the section [controller] has no gain"},
    {"a negative gain", TEXT("[controller]\nkp_nm_per_rad = -2e5\n"), AT(2, 17),
     ABOUT("kp_nm_per_rad", "-2e5"),
     .sentence = "kp_nm_per_rad = -2e5 is not possible: expected a number, 0 or more"},
    {"an infinite gain", TEXT("[controller]\nkp_nm_per_rad = 1e400\n"), AT(2, 17),
     ABOUT("kp_nm_per_rad", "1e400"), .sentence = "expected a number, 0 or more"},
    {"a low-pass above half the rate", TEXT(GAINS "lowpass_hz = 2000\n"), AT(3, 14),
     ABOUT("lowpass_hz", "2000"), .sentence = "lowpass_hz is 2000 but must be"},
    {"an order of 3", TEXT(GAINS "lowpass_hz = 600\nlowpass_order = 3\n"), AT(4, 17),
     ABOUT("lowpass_order", "3"), .sentence = "expected a whole number from 1 to 2"},
    {"an order without a low-pass", TEXT(GAINS "lowpass_order = 1\n"), AT(3, 17),
     ABOUT("lowpass_order", "1"), .sentence = "lowpass_order has no effect without lowpass_hz"},
    {"a filtered derivative without derivative", TEXT(GAINS "derivative_filter_hz = 100\n"),
     AT(3, 24), ABOUT("derivative_filter_hz", "100"),
     .sentence = "has no effect without kd_nm_s_per_rad"},
    {"a biquad in part", TEXT(GAINS "biquad1_zero_hz = 4\nbiquad1_pole_hz = 4\n"
     "biquad1_pole_zeta = 1\n"), AT(1, 0), ABOUT("[controller]", ""),
     .sentence = "lacks the key biquad1_zero_zeta"},
    {"a biquad left out", TEXT(GAINS "biquad2_zero_hz = 4\nbiquad2_pole_hz = 4\n"
     "biquad2_pole_zeta = 1\nbiquad2_zero_zeta = 1\n"), AT(1, 0), ABOUT("[controller]", ""),
     .sentence = "lacks the key biquad1_zero_hz"},
    {"biquad 0", TEXT(GAINS "biquad0_zero_hz = 4\n"), AT(3, 19), ABOUT("biquad0_zero_hz", "4"),
     .sentence = "did you mean biquad1_zero_hz?"},
    {"biquad 17", TEXT(GAINS "biquad17_zero_hz = 4\n"), AT(3, 20), ABOUT("biquad17_zero_hz", "4"),
     .sentence = "unknown key biquad17_zero_hz"},
    {"a pole without damping", TEXT(GAINS "biquad1_pole_zeta = 0\n"), AT(3, 21),
     ABOUT("biquad1_pole_zeta", "0"), .sentence = "expected a number above 0"},
    {"a pole above half the rate", TEXT(GAINS "biquad1_zero_hz = 4\nbiquad1_pole_hz = 4e3\n"
     "biquad1_pole_zeta = 1\nbiquad1_zero_zeta = 1\n"), AT(4, 19), ABOUT("biquad1_pole_hz", "4e3"),
     .sentence = "biquad1_pole_hz is 4000 but must be"},
};

static const struct refused descriptions[] = {
    {"no plant", TEXT(HEAD GAINS PLACE HOLD), AT(0, 0), ABOUT("section", "plant"),
     .sentence = "a description needs a section [plant]"},
    {"no gains", TEXT(HEAD PLANT PLACE HOLD), AT(0, 0), ABOUT("section", "controller"),
     .sentence = "a description needs a section [controller]"},
    {"no pointing", TEXT(AXIS HOLD), AT(0, 0), ABOUT("section", "pointing"),
     .sentence = "a description needs a section [pointing NAME]"},
    {"no log", TEXT(AXIS PLACE), AT(0, 0), ABOUT("section", "log"),
     .sentence = "a description needs a section [log NAME]"},
    {"no inertia", TEXT(HEAD GAINS "[plant]\n" PLACE HOLD), AT(6, 0), ABOUT("[plant]", ""),
     .sentence = "the section [plant] lacks the key inertia_kg_m2"},
    {"another rate of the logs", TEXT(HEAD "sample_rate_hz = 1000\n" GAINS PLANT PLACE HOLD),
     AT(4, 18), ABOUT("sample_rate_hz", "1000"),
     .sentence = "a simulated axis logs at the loop rate"},
    {"a mode without damping", TEXT(AXIS "mode1_zeta = 0\n" PLACE HOLD), AT(8, 14),
     ABOUT("mode1_zeta", "0"), .sentence = "expected a number above 0 and below 1"},
    {"half a mode", TEXT(AXIS "mode1_hz = 20\nmode1_zeta = .1\n" PLACE HOLD), AT(6, 0),
     ABOUT("[plant]", ""), .sentence = "lacks the key mode1_gain"},
    {"modes that fall", TEXT(AXIS "mode1_hz = 20\nmode1_zeta = .1\nmode1_gain = 1\n"
     "mode2_hz = 19\nmode2_zeta = .1\nmode2_gain = 1\n" PLACE HOLD), AT(11, 12),
     ABOUT("mode2_hz", "19"), .sentence = "mode2_hz = 19 is not above the mode before, 20 Hz"},
    {"less breakaway than Coulomb friction",
     TEXT(AXIS "[friction]\ncoulomb_nm = 20\nbreakaway_nm = 10\n" PLACE HOLD), AT(10, 16),
     ABOUT("breakaway_nm", "10"), .sentence = "breakaway_nm = 10 is below coulomb_nm = 20"},
    {"friction in part", TEXT(AXIS "[friction]\ncoulomb_nm = 20\n" PLACE HOLD), AT(8, 0),
     ABOUT("[friction]", ""), .sentence = "lacks the key stribeck_arcsec_per_s"},
    {"ripple without its period", TEXT(AXIS "[disturbance]\nripple_nm = 1\n" PLACE HOLD), AT(8, 0),
     ABOUT("[disturbance]", ""), .sentence = "lacks the key ripple_per_turn"},
    {"cables that rub where nothing does", TEXT(AXIS "[balance]\ndrag_nm = 1\n" PLACE HOLD),
     AT(9, 11), ABOUT("drag_nm", "1"), .sentence = "adds to Coulomb friction, and there is none"},
    {"a turn to nowhere", TEXT(AXIS PLACE "[log t]\nkind = turn\npointing = p\n"), AT(9, 0),
     ABOUT("[log t]", ""), .sentence = "lacks the key move_deg"},
    {"a turn backwards", TEXT(AXIS PLACE "[log t]\nkind = turn\npointing = p\nmove_deg = -4\n"),
     AT(12, 12), ABOUT("move_deg", "-4"), .sentence = "expected above 0"},
    {"a seed below 0", TEXT(AXIS "[disturbance]\nseed = -1\n" PLACE HOLD), AT(9, 8),
     ABOUT("seed", "-1"), .sentence = "expected a whole number, 0 or more"},
    {"a seed of 65 bits", TEXT(AXIS "[disturbance]\nseed = 18446744073709551616\n" PLACE HOLD),
     AT(9, 8), ABOUT("seed", "18446744073709551616"), .sentence = "expected a whole number"},
    {"a coupling of no mode", TEXT(AXIS PLACE HOLD "[coupling]\nmode1_ratio = 0.1\n"),
     AT(14, 15), ABOUT("mode1_ratio", "0.1"), .sentence = "mode1_ratio: [plant] has 0 modes only"},
    {"a factor of no mode", TEXT(AXIS PLACE "mode1_factor = 1.1\n" HOLD), AT(9, 16),
     ABOUT("mode1_factor", "1.1"), .sentence = "mode1_factor: [plant] has 0 modes only"},
    {"a pointing nobody knows", TEXT(AXIS PLACE "[log q]\nkind = hold\npointing = east\n"
     "duration_s = 20\n"), AT(11, 12), ABOUT("pointing", "east"),
     .sentence = "there is no section [pointing east]"},
    {"a kind that cannot be simulated", TEXT(AXIS PLACE "[log q]\nkind = step\n"), AT(10, 8),
     ABOUT("kind", "step"), .sentence = "expected one of sweep|hold|track"},
    {"a sweep without an end", TEXT(AXIS PLACE "[log s]\nkind = sweep\npointing = p\n"
     "duration_s = 20\nsweep_from_hz = 1\n"), AT(9, 0), ABOUT("[log s]", ""),
     .sentence = "lacks the key sweep_to_hz"},
    {"a sweep beyond half the rate", TEXT(AXIS PLACE "[log s]\nkind = sweep\npointing = p\n"
     "duration_s = 20\nsweep_from_hz = 1\nsweep_to_hz = 2000\namplitude_nm = 4\n"), AT(14, 15),
     ABOUT("sweep_to_hz", "2000"),
     .sentence = "expected above sweep_from_hz and below half the loop rate"},
    {"a fade longer than the sweep", TEXT(AXIS PLACE SWEEP "fade_s = 11\n"), AT(16, 10),
     ABOUT("fade_s", "11"), .sentence = "expected at most half of duration_s"},
    {"a sweep's key in a hold", TEXT(AXIS PLACE HOLD "amplitude_nm = 4\n"), AT(13, 16),
     ABOUT("amplitude_nm", "4"), .sentence = "the key amplitude_nm goes with kind = sweep only"},
    {"a way in a hold", TEXT(AXIS PLACE HOLD "move_deg = 4\n"), AT(13, 12), ABOUT("move_deg", "4"),
     .sentence = "the key move_deg goes with kind = turn, move, load or index only: remove it"},
    {"a duration of a motion", TEXT(MOTION "kind = pulse\npulse_nm = 3\nduration_s = 4\n"),
     AT(15, 14), ABOUT("duration_s", "4"),
     .sentence = "the key duration_s goes with kind = sweep, hold or track only"},
    {"a pulse of nothing", TEXT(MOTION "kind = pulse\n"), AT(11, 0), ABOUT("[log m]", ""),
     .sentence = "lacks the key pulse_nm"},
    {"a move to nowhere", TEXT(MOTION "kind = move\n"), AT(11, 0), ABOUT("[log m]", ""),
     .sentence = "lacks the key move_deg"},
    {"a move of nothing", TEXT(MOTION "kind = move\nmove_deg = 0\n"), AT(14, 12),
     ABOUT("move_deg", "0"), .sentence = "expected a number that is not 0"},
    {"an index log backwards", TEXT(MOTION "kind = index\nmove_deg = -1\n"), AT(14, 12),
     ABOUT("move_deg", "-1"), .sentence = "expected above 0"},
    {"an index mark elsewhere", TEXT(MOTION "kind = index\nindex_deg = 1\n"), AT(14, 13),
     ABOUT("index_deg", "1"), .sentence = "expected within the move about the pointing"},
    {"a coast without speed", TEXT(MOTION "kind = coast\n"), AT(11, 0), ABOUT("[log m]", ""),
     .sentence = "lacks the key speed_deg_per_s"},
    {"a speed of 0", TEXT(MOTION "kind = coast\nspeed_deg_per_s = 0\n"), AT(14, 19),
     ABOUT("speed_deg_per_s", "0"), .sentence = "expected a number that is not 0"},
    {"a move with a speed below 0",
     TEXT(MOTION "kind = move\nmove_deg = 1\nspeed_deg_per_s = -1\n"), AT(15, 19),
     ABOUT("speed_deg_per_s", "-1"), .sentence = "expected above 0"},
    {"a load without an arm", TEXT(MOTION "kind = load\nload_kg = 1\n"), AT(11, 0),
     ABOUT("[log m]", ""), .sentence = "lacks the key load_arm_m"},
    {"a load on no arm", TEXT(MOTION "kind = load\nload_kg = 1\nload_arm_m = 0\n"),
     AT(15, 14), ABOUT("load_arm_m", "0"), .sentence = "expected a number that is not 0"},
    {"a limit without a side", TEXT(MOTION "kind = limit\n"), AT(11, 0), ABOUT("[log m]", ""),
     .sentence = "lacks the key limit_side"},
    {"a limit that is not there", TEXT(MOTION "kind = limit\nlimit_side = low\n"), AT(11, 0),
     ABOUT("[log m]", ""), .sentence = "a log of kind limit needs the key travel_limit_deg in"},
    {"a start beyond the limit", TEXT(HEAD SCALES "travel_limit_deg = 1 2\n" GAINS PLANT PLACE
     "[log m]\npointing = p\nkind = limit\nlimit_side = low\n"), AT(13, 12),
     ABOUT("pointing", "p"), .sentence = "expected a pointing within the soft limits"},
    {"a motion without a scale", TEXT(AXIS PLACE "[log m]\npointing = p\nkind = pulse\n"
     "pulse_nm = 3\n"), AT(9, 0), ABOUT("[log m]", ""),
     .sentence = "a log of kind pulse needs the key torque_per_unit_nm in [drive]"},
    {"a trouble in a motion", TEXT(MOTION "kind = pulse\npulse_nm = 3\ntrouble_missing_rows = 3\n"),
     AT(15, 24), ABOUT("trouble_missing_rows", "3"),
     .sentence = "the key trouble_missing_rows goes with kind = sweep, hold or track only"},
    {"a sign of 2", TEXT(AXIS "[mismatch]\nencoder_sign = 2\n" PLACE HOLD), AT(9, 16),
     ABOUT("encoder_sign", "2"), .sentence = "expected one of 1|-1"},
    {"a log of one sample", TEXT(AXIS PLACE "[log q]\nkind = hold\npointing = p\n"
     "duration_s = 0.0003\n"), AT(12, 14), ABOUT("duration_s", "0.0003"),
     .sentence = "expected at least two samples"},
    {"sky written as true", TEXT(AXIS PLACE HOLD "log_sky = true\n"), AT(13, 11),
     ABOUT("log_sky", "true"), .sentence = "expected one of no|yes"},
};
/* clang-format on */

static void a_malformed_logbook_is_refused_with_its_place(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof logbooks / sizeof *logbooks; i++) {
        const struct refused *bad = &logbooks[i];
        struct tune_logbook book;
        struct tune_error err = {0};
        check_refused(bad, "bad.ini",
                      tune_logbook_parse(&book, "bad.ini", bad->text, bad->size, &err), &err);
        assert_null(book.log);
        assert_string_equal(book.ini_path, "");
        assert_int_equal(tune_logbook_parse(&book, "bad.ini", bad->text, bad->size, NULL),
                         TUNE_EDATA);
    }
}

static void a_malformed_controller_is_refused_with_its_place(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof controllers / sizeof *controllers; i++) {
        const struct refused *bad = &controllers[i];
        struct tune_controller controller;
        struct tune_error err = {0};
        check_refused(
            bad, "bad.ini",
            tune_controller_parse(&controller, "bad.ini", bad->text, bad->size, 4000.0, &err),
            &err);
        check_close(controller.kp_nm_per_rad, 0.0, 0.0);
        assert_int_equal(controller.n_biquads, 0);
    }
}

static void a_malformed_description_is_refused_with_its_place(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof descriptions / sizeof *descriptions; i++) {
        const struct refused *bad = &descriptions[i];
        struct tune_description description;
        struct tune_error err = {0};
        check_refused(bad, "bad.ini",
                      tune_description_parse(&description, "bad.ini", bad->text, bad->size, &err),
                      &err);
        assert_null(description.log);
        assert_null(description.pointing);
    }
}

/* inih would cut what is too long without a word */
static void nothing_too_long_is_cut_in_silence(void **state)
{
    char text[600], letters[400];
    struct tune_logbook book;
    struct tune_error err = {0};
    (void)state;
    memset(letters, 'x', sizeof letters);
    (void)snprintf(text, sizeof text, "[axis]\nsite = %.192s\n", letters);
    assert_int_equal(tune_logbook_parse(&book, "bad.ini", text, strlen(text), &err), TUNE_EDATA);
    assert_int_equal(err.line, 2);
    assert_non_null(strstr(err.text, "a line is too long"));
    (void)snprintf(text, sizeof text, "[axis]\nsite = %.191s\n[drive]\nloop_rate_hz = 1\n" LOG,
                   letters);
    assert_int_equal(tune_logbook_parse(&book, "bad.ini", text, strlen(text), &err), TUNE_EDATA);
    assert_non_null(strstr(err.text, "expected a text of 1 to 127 bytes"));
    (void)snprintf(text, sizeof text,
                   "[axis]\nsite = %.127s ; %.300s\n[drive]\nloop_rate_hz = 1\n" LOG, letters,
                   letters); /* a comment may be of any length */
    assert_int_equal(tune_logbook_parse(&book, "good.ini", text, strlen(text), &err), TUNE_OK);
    assert_int_equal(strlen(book.axis.site), 127);
    tune_logbook_free(&book);
    (void)snprintf(text, sizeof text, HEAD LOG "torque = \"%.180s\"\n", letters);
    assert_int_equal(tune_logbook_parse(&book, "bad.ini", text, strlen(text), &err), TUNE_EDATA);
    assert_non_null(strstr(err.text, "at most 63 bytes"));
    (void)snprintf(text, sizeof text, "[axis]\n%.64s = 1\n", letters);
    assert_int_equal(tune_logbook_parse(&book, "bad.ini", text, strlen(text), &err), TUNE_EDATA);
    assert_non_null(strstr(err.text, "a line has no proper key"));
}

static void a_file_that_cannot_be_an_ini_file_is_refused(void **state)
{
    const size_t size = (1 << 20) + 1;
    char *bytes = malloc(size), *folder = check_folder(), *path;
    struct tune_logbook book;
    struct tune_error err = {0};
    (void)state;
    assert_non_null(bytes);
    memset(bytes, '\n', size);
    path = check_file(folder, "axis.ini", bytes, size);
    assert_int_equal(tune_logbook_read(&book, folder, &err), TUNE_EDATA);
    assert_non_null(strstr(err.text, "larger than 1 MiB"));
    assert_string_equal(err.file, path);
    for (size_t i = 0; i + 8 < size; i += 8)
        (void)snprintf(bytes + i, 9, "[%05zx]\n", i / 8);
    assert_int_equal(tune_logbook_parse(&book, "bad.ini", bytes, size, &err), TUNE_EDATA);
    assert_int_equal(err.line, 2049);
    assert_non_null(strstr(err.text, "there are too many sections in the file"));
    free(path);
    free(bytes);
    check_folder_remove(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_malformed_logbook_is_refused_with_its_place),
        cmocka_unit_test(a_malformed_controller_is_refused_with_its_place),
        cmocka_unit_test(a_malformed_description_is_refused_with_its_place),
        cmocka_unit_test(nothing_too_long_is_cut_in_silence),
        cmocka_unit_test(a_file_that_cannot_be_an_ini_file_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
