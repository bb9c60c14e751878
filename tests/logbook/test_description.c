/* test_description.c - what `simulate` is to build.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/units.h"
#include "logbook/description.h"

static const char full[] = "[log quiet]\nkind = hold\npointing = west\nduration_s = 120\n"
                           "[axis]\nname = azimuth\n"
                           "[drive]\nloop_rate_hz = 4000\nencoder_counts_per_turn = 1e8\n"
                           "torque_limit_nm = 300\n"
                           "[controller]\nkp_nm_per_rad = 1e5\nkd_nm_s_per_rad = 1e4\n"
                           "[requirement]\njitter_rms_arcsec = 0.1\n"
                           "[plant]\ninertia_kg_m2 = 820\nviscous_nm_s_per_rad = 35\n"
                           "delay_s = 0.00035\n"
                           "mode1_hz = 24\nmode1_zeta = 0.006\nmode1_gain = 0.15\n"
                           "mode1_payload_ratio = -6.2\n"
                           "mode2_hz = 41\nmode2_zeta = 0.009\nmode2_gain = -0.06\n"
                           "[friction]\ncoulomb_nm = 20\nbreakaway_nm = 26\n"
                           "stribeck_arcsec_per_s = 25\nbristle_nm_per_rad = 4e5\n"
                           "bristle_nm_s_per_rad = 5e3\nviscous_nm_s_per_rad = 2\n"
                           "[disturbance]\nseed = 18446744073709551615\nwind_rms_nm = 3\n"
                           "wind_corner_hz = 0.3\ndrive_noise_nm_per_rthz = 0.05\n"
                           "encoder_noise_arcsec = 0.003\nripple_nm = 0.4\n"
                           "ripple_per_turn = 264\n"
                           "[balance]\nimbalance_nm = 5\nimbalance_deg = -30\n"
                           "offset_nm = -1.5\ncable_nm_per_rad = 0.8\ncable_rest_deg = 90\n"
                           "drag_nm = 3\ndrag_deg = 60\n"
                           "[coupling]\nmode2_ratio = -0.2\nnoise_arcsec = 0.01\n"
                           "[sensors]\nload_encoder = yes\naccelerometer = yes\n"
                           "accel_arm_m = -1.2\naccel_noise_ug_per_rthz = 5\n"
                           "[pointing east]\nangle_deg = -60\ninertia_factor = 1.25\n"
                           "mode2_factor = 0.5\n"
                           "[pointing west]\n"
                           "[log sweep-east]\nkind = sweep\npointing = east\n"
                           "ramp_arcsec_per_s = 300\nduration_s = 60\nsweep_from_hz = 0.8\n"
                           "sweep_to_hz = 240\namplitude_nm = 40\nquiet_before_s = 3\n"
                           "quiet_after_s = 7\nfade_s = 0.5\nposition_limit_arcsec = 150\n"
                           "speed_limit_arcsec_per_s = 180\n"
                           "[log track]\nkind = track\npointing = west\nduration_s = 10\n"
                           "ramp_arcsec_per_s = -15.041\nlog_sky = yes\n";

static struct tune_description parse(const char *text)
{
    struct tune_description d;
    struct tune_error err = {0};
    if (tune_description_parse(&d, "truth.ini", text, strlen(text), &err) != TUNE_OK)
        fail_msg("%s:%ld:%ld: %s", err.file, err.line, err.column, err.text);
    return d;
}

static void a_quadrature_makes_residues_complex(void **state)
{
    static const char key[] = "mode2_gain_quadrature = -0.02\n";
    const size_t at = (size_t)(strstr(full, "[friction]") - full);
    char text[sizeof full + sizeof key];
    struct tune_description d;
    (void)state;
    (void)snprintf(text, sizeof text, "%.*s%s%s", (int)at, full, key, full + at);
    d = parse(text);
    assert_true(d.axis.plant.complex_residues);
    check_close(d.axis.plant.mode[0].gain_quadrature, 0.0, 0.0);
    check_close(d.axis.plant.mode[1].gain_quadrature, -0.02, 0.0);
    tune_description_free(&d);
}

static void the_axis_comes_out_in_si(void **state)
{
    struct tune_description d = parse(full);
    const struct tune_axis *a = &d.axis;
    const double arcsec = TUNE_PI / 648000.0;
    (void)state;
    assert_string_equal(d.logbook.axis.name, "azimuth");
    assert_true(d.logbook.has_controller);
    assert_int_equal(d.logbook.n_logs, 0);
    check_close(a->plant.loop_rate_hz, 4000.0, 0.0);
    check_close(a->plant.inertia_kg_m2, 820.0, 0.0);
    check_close(a->plant.viscous_nm_s_per_rad, 35.0, 0.0);
    check_close(a->plant.delay_s, 0.00035, 0.0);
    assert_int_equal(a->plant.n_modes, 2);
    check_close(a->plant.mode[0].f_hz, 24.0, 0.0);
    check_close(a->plant.mode[0].payload_ratio, -6.2, 0.0);
    check_close(a->plant.mode[1].zeta, 0.009, 0.0);
    check_close(a->plant.mode[1].gain, -0.06, 0.0);
    assert_true(isnan(a->plant.mode[1].payload_ratio));
    assert_false(a->plant.complex_residues);
    check_close(a->friction.coulomb_nm, 20.0, 0.0);
    check_close(a->friction.breakaway_nm, 26.0, 0.0);
    check_close_rel(a->friction.stribeck_rad_per_s, 25.0 * arcsec, 1e-15);
    check_close(a->friction.bristle_nm_per_rad, 4e5, 0.0);
    check_close(a->friction.bristle_nm_s_per_rad, 5e3, 0.0);
    check_close(a->friction.viscous_nm_s_per_rad, 2.0, 0.0);
    check_close(a->torque_limit_nm, 300.0, 0.0);
    check_close_rel(a->encoder_step_rad, 2.0 * TUNE_PI / 1e8, 1e-15);
    check_close_rel(a->encoder_noise_rad, 0.003 * arcsec, 1e-15);
    check_close(a->wind_rms_nm, 3.0, 0.0);
    check_close(a->wind_corner_hz, 0.3, 0.0);
    check_close(a->drive_noise_nm_per_rthz, 0.05, 0.0);
    check_close(a->ripple_nm, 0.4, 0.0);
    check_close(a->ripple_per_turn, 264.0, 0.0);
    check_close(a->imbalance.nm, 5.0, 0.0);
    check_close_rel(a->imbalance.angle_rad, -TUNE_PI / 6.0, 1e-15);
    check_close(a->offset_nm, -1.5, 0.0);
    check_close(a->cable_nm_per_rad, 0.8, 0.0);
    check_close_rel(a->cable_rest_rad, TUNE_PI / 2.0, 1e-15);
    check_close(a->drag_nm, 3.0, 0.0);
    check_close_rel(a->drag_angle_rad, TUNE_PI / 3.0, 1e-15);
    check_close(a->other_ratio[0], 0.0, 0.0);
    check_close(a->other_ratio[1], -0.2, 0.0);
    check_close_rel(a->other_noise_rad, 0.01 * arcsec, 1e-15);
    assert_true(d.log[0].log_other);
    assert_true(d.log[0].log_load && d.log[1].log_accel);
    check_close_rel(d.sensors.load_noise_rad, 15e-9, 1e-14); /* the default */
    check_close(d.sensors.accel_arm_m, -1.2, 0.0);
    check_close_rel(d.sensors.accel_noise_m_per_s2_per_rthz, 5e-6 * 9.80665, 1e-15);
    assert_true(d.seed == UINT64_MAX); /* all 64 bits survive */
    tune_description_free(&d);
    tune_description_free(&d);
    assert_null(d.log);
}

static void tones_are_counted_and_must_have_their_periods(void **state)
{
    static const char tones[] = "[log rung]\nkind = hold\npointing = east\nduration_s = 30\n"
                                "tone1_hz = 4.5\ntone1_nm = 0.2\ntone2_hz = 9\ntone2_nm = 0.1\n";
    static const char slow[] = "[log rung]\nkind = hold\npointing = east\nduration_s = 8\n"
                               "tone1_hz = 1\ntone1_nm = 0.2\n";
    char text[sizeof full + sizeof tones];
    struct tune_description d;
    struct tune_error err;
    (void)state;
    (void)snprintf(text, sizeof text, "%s%s", full, tones);
    d = parse(text);
    assert_int_equal(d.log[3].n_tones, 2);
    check_close(d.log[3].tone_hz[1], 9.0, 0.0);
    check_close(d.log[3].tone_nm[0], 0.2, 0.0);
    assert_int_equal(d.log[2].n_tones, 0);
    tune_description_free(&d);
    (void)snprintf(text, sizeof text, "%s%s", full, slow); /* four periods in its half */
    assert_int_equal(tune_description_parse(&d, "x", text, strlen(text), &err), TUNE_EDATA);
    assert_non_null(strstr(err.text, "needs five periods of it"));
}

/* 40 degrees at 4 deg/s with 2 deg/s^2: 2 s to full speed, 12 s a way, two ways and three rests of 1 s. */
static void a_turn_goes_up_and_down_at_constant_speed(void **state)
{
    static const char turn[] = "[log turn]\nkind = turn\npointing = east\nmove_deg = 40\n"
                               "speed_deg_per_s = 4\nacceleration_deg_per_s2 = 2\n";
    static const struct {
        double time_s, deg;
    } at[] = {{0.0, -20.0}, {1.0, -20.0}, {3.0, -16.0}, {5.0, -8.0}, {7.0, 0.0},    {11.0, 16.0},
              {13.0, 20.0}, {14.0, 20.0}, {16.0, 16.0}, {20.0, 0.0}, {26.0, -20.0}, {27.0, -20.0}};
    char text[sizeof full + sizeof turn];
    struct tune_description d;
    (void)state;
    (void)snprintf(text, sizeof text, "%s%s", full, turn);
    d = parse(text);
    assert_int_equal(d.log[3].kind, TUNE_LOG_TURN);
    assert_int_equal(d.log[3].motion.passes, 1);
    check_close(d.log[3].duration_s, 27.0, 1e-12);
    for (size_t i = 0; i < sizeof at / sizeof *at; i++)
        check_close(tune_turn_target(&d.log[3].motion, at[i].time_s) * 180.0 / TUNE_PI, at[i].deg,
                    1e-12);
    /* no room for full speed: half way at the top of a triangle, after sqrt(way/a) */
    d.log[3].motion.way_rad = 2.0 * TUNE_PI / 180.0;
    check_close(tune_turn_seconds(&d.log[3].motion), 3.0 + 4.0, 1e-12);
    check_close(tune_turn_target(&d.log[3].motion, 2.0), 0.0, 1e-15);
    tune_description_free(&d);
}

static void a_pointing_shifts_inertia_and_modes(void **state)
{
    struct tune_description d = parse(full);
    (void)state;
    assert_int_equal(d.n_pointings, 2);
    assert_string_equal(d.pointing[0].name, "east");
    check_close(d.pointing[0].angle_deg, -60.0, 0.0);
    check_close(d.pointing[1].angle_deg, 0.0, 0.0);
    const struct tune_axis east = tune_description_axis(&d, 0), west = tune_description_axis(&d, 1);
    check_close(east.plant.inertia_kg_m2, 1025.0, 1e-12);
    check_close(east.plant.mode[0].f_hz, 24.0, 0.0);
    check_close(east.plant.mode[1].f_hz, 20.5, 0.0);
    check_close(west.plant.inertia_kg_m2, 820.0, 0.0);
    check_close(west.plant.mode[1].f_hz, 41.0, 0.0);
    tune_description_free(&d);
}

static void logs_know_their_pointing_and_sweep(void **state)
{
    struct tune_description d = parse(full);
    const double arcsec = TUNE_PI / 648000.0;
    (void)state;
    assert_int_equal(d.n_logs, 3);
    assert_string_equal(d.log[0].name, "quiet");
    assert_int_equal(d.log[0].kind, TUNE_LOG_HOLD);
    assert_int_equal(d.log[0].pointing, 1); /* stands behind the log in the file */
    check_close(d.log[0].duration_s, 120.0, 0.0);
    const struct tune_sweep *s = &d.log[1].sweep;
    assert_int_equal(d.log[1].kind, TUNE_LOG_SWEEP);
    assert_int_equal(d.log[1].pointing, 0);
    check_close_rel(d.log[1].ramp_rad_per_s, 300.0 * arcsec, 1e-15);
    check_close(s->rate_hz, 4000.0, 0.0);
    check_close(s->from_hz, 0.8, 0.0);
    check_close(s->to_hz, 240.0, 0.0);
    check_close(s->duration_s, 60.0, 0.0);
    check_close(s->quiet_before_s, 3.0, 0.0);
    check_close(s->quiet_after_s, 7.0, 0.0);
    check_close(s->fade_s, 0.5, 0.0);
    check_close(s->amplitude_nm, 40.0, 0.0);
    check_close(s->inertia_kg_m2, 1025.0, 1e-12); /* at its pointing */
    check_close_rel(s->position_limit_rad, 150.0 * arcsec, 1e-15);
    check_close_rel(s->speed_limit_rad_per_s, 180.0 * arcsec, 1e-15);
    assert_int_equal(tune_sweep_samples(s), 280000);
    assert_int_equal(d.log[2].kind, TUNE_LOG_TRACK);
    check_close_rel(d.log[2].ramp_rad_per_s, -15.041 * arcsec, 1e-15);
    assert_true(d.log[2].log_sky);
    assert_false(d.log[1].log_sky);
    tune_description_free(&d);
}

static const char motions[] =
    "[axis]\nname = hour-angle\nlatitude_deg = -31\n"
    "[drive]\nloop_rate_hz = 1000\nencoder_counts_per_turn = 1e6\ntorque_per_unit_nm = 10\n"
    "torque_limit_nm = 200\ntravel_limit_deg = -90 90\n"
    "[controller]\nkp_nm_per_rad = 1e5\n"
    "[plant]\ninertia_kg_m2 = 400\n"
    "[friction]\ncoulomb_nm = 2\nbreakaway_nm = 3\nstribeck_arcsec_per_s = 25\n"
    "bristle_nm_per_rad = 4e5\nbristle_nm_s_per_rad = 5e3\nviscous_nm_s_per_rad = 7\n"
    "[mismatch]\ncounts_factor = 4\nencoder_sign = -1\ntorque_factor = 0.7\ntorque_sign = -1\n"
    "commutation_offset_deg = 30\npole_pairs_excess = 2\ninertia_factor = 1.25\n"
    "friction_factor = 3\nlow_limit_shift_deg = 1\nhigh_limit_shift_deg = -2\n"
    "low_limit_acts = no\nhigh_limit_acts = yes\nfollowing_error_factor = 5\n"
    "following_error_acts = no\nindex_scatter_arcsec = 20\nknown_angle_error_deg = 0.5\n"
    "[pointing p]\nangle_deg = 40\n"
    "[log pulse]\nkind = pulse\npointing = p\npulse_nm = 30\n"
    "[log move]\nkind = move\npointing = p\nmove_deg = -10\nby = hand\nspeed_deg_per_s = 2\n"
    "jump_deg = 0.25\nknown_angle_std_deg = 0.01\n"
    "[log coast]\nkind = coast\npointing = p\nspeed_deg_per_s = -3\ncoast_s = 4\n"
    "acceleration_deg_per_s2 = 6\n"
    "[log load]\nkind = load\npointing = p\nload_kg = 5\nload_std_kg = 0.1\nload_arm_m = -0.8\n"
    "load_arm_std_m = 0.003\nload_arm_angle_deg = 12\nload_axis_tilt_deg = 20\nmove_deg = 3\n"
    "[log limit]\nkind = limit\npointing = p\nlimit_side = high\nbeyond_deg = 2\n"
    "[log index]\nkind = index\npointing = p\npasses = 8\nindex_deg = 40.25\n"
    "[log index2]\nkind = index\npointing = p\n";

static void a_motion_arrives_in_si_with_its_defaults(void **state)
{
    struct tune_description d = parse(motions);
    const double degree = TUNE_PI / 180.0;
    const struct tune_simulated_motion *m;
    (void)state;
    assert_int_equal(d.n_logs, 7);
    m = &d.log[0].motion;
    assert_int_equal(d.log[0].kind, TUNE_LOG_PULSE);
    check_close(m->pulse_nm, 30.0, 0.0);
    check_close(m->pulse_s, 0.2, 0.0);
    check_close(m->gap_s, 0.3, 0.0);
    assert_int_equal(m->pulses, 4);
    m = &d.log[1].motion;
    assert_int_equal(d.log[1].kind, TUNE_LOG_MOVE);
    check_close_rel(m->way_rad, -10.0 * degree, 1e-15);
    check_close_rel(m->speed_rad_per_s, 2.0 * degree, 1e-15);
    check_close_rel(m->jump_rad, 0.25 * degree, 1e-15);
    check_close(m->known_angle_std_deg, 0.01, 0.0);
    assert_true(m->by_hand);
    m = &d.log[2].motion;
    assert_int_equal(d.log[2].kind, TUNE_LOG_COAST);
    check_close_rel(m->speed_rad_per_s, -3.0 * degree, 1e-15);
    check_close_rel(m->acceleration_rad_per_s2, 6.0 * degree, 1e-15);
    check_close(m->coast_s, 4.0, 0.0);
    m = &d.log[3].motion;
    assert_int_equal(d.log[3].kind, TUNE_LOG_LOAD);
    check_close(m->load_kg, 5.0, 0.0);
    check_close(m->load_std_kg, 0.1, 0.0);
    check_close(m->load_arm_m, -0.8, 0.0);
    check_close(m->load_arm_std_m, 0.003, 0.0);
    check_close(m->load_arm_angle_deg, 12.0, 0.0);
    check_close(m->load_axis_tilt_deg, 20.0, 0.0);
    check_close_rel(m->way_rad, 3.0 * degree, 1e-15);
    /* 5 % of 200 N m on 500 kg m^2 */
    check_close_rel(m->acceleration_rad_per_s2, 0.02, 1e-14);
    assert_false(m->by_hand);
    m = &d.log[4].motion;
    assert_int_equal(d.log[4].kind, TUNE_LOG_LIMIT);
    assert_int_equal(m->limit_side, TUNE_LIMIT_HIGH);
    check_close_rel(m->beyond_rad, 2.0 * degree, 1e-15);
    check_close_rel(m->speed_rad_per_s, 0.5 * degree, 1e-15);
    m = &d.log[5].motion;
    assert_int_equal(d.log[5].kind, TUNE_LOG_INDEX);
    assert_int_equal(m->passes, 8);
    check_close_rel(m->index_rad, 40.25 * degree, 1e-15);
    check_close_rel(d.log[6].motion.index_rad, 40.0 * degree, 1e-15); /* the pointing */
    check_close_rel(d.log[6].motion.way_rad, degree, 1e-15);
    assert_true(isnan(d.log[6].motion.load_axis_tilt_deg));
    tune_description_free(&d);
}

static void the_axis_takes_the_factors_of_the_mismatch(void **state)
{
    struct tune_description d = parse(motions), plain = parse(full);
    const struct tune_mismatch *m = &d.mismatch, none = tune_mismatch_none();
    const double degree = TUNE_PI / 180.0;
    (void)state;
    check_close(m->counts_factor, 4.0, 0.0);
    check_close(m->encoder_sign, -1.0, 0.0);
    check_close(m->torque_factor, 0.7, 0.0);
    check_close(m->torque_sign, -1.0, 0.0);
    check_close_rel(m->commutation_offset_rad, 30.0 * degree, 1e-15);
    check_close(m->pole_pairs_excess, 2.0, 0.0);
    check_close_rel(m->limit_shift_rad[0], degree, 1e-15);
    check_close_rel(m->limit_shift_rad[1], -2.0 * degree, 1e-15);
    assert_false(m->limit_acts[0]);
    assert_true(m->limit_acts[1]);
    check_close(m->trip_factor, 5.0, 0.0);
    assert_false(m->trip_acts);
    check_close_rel(m->index_scatter_rad, 20.0 * degree / 3600.0, 1e-15);
    check_close_rel(d.known_angle_error_rad, 0.5 * degree, 1e-15);
    check_close(d.axis.plant.inertia_kg_m2, 500.0, 0.0);
    check_close(d.axis.friction.coulomb_nm, 6.0, 0.0);
    check_close(d.axis.friction.breakaway_nm, 9.0, 0.0);
    check_close(d.axis.friction.bristle_nm_per_rad, 12e5, 0.0);
    check_close(d.axis.friction.bristle_nm_s_per_rad, 15e3, 0.0);
    check_close(d.axis.friction.viscous_nm_s_per_rad, 7.0, 0.0);
    /* no section, no difference */
    check_close(plain.mismatch.counts_factor, 1.0, 0.0);
    assert_memory_equal(&plain.mismatch.limit_acts, &none.limit_acts, sizeof none.limit_acts);
    assert_true(plain.mismatch.trip_acts);
    check_close(plain.known_angle_error_rad, 0.0, 0.0);
    tune_description_free(&plain);
    tune_description_free(&d);
}

static void a_table_of_responses_arrives_with_its_defaults(void **state)
{
    static const char more[] = "[log bare]\nkind = response\npointing = west\nsweep_from_hz = 1\n"
                               "sweep_to_hz = 200\n"
                               "[log told]\nkind = response\npointing = east\nsweep_from_hz = 0.5\n"
                               "sweep_to_hz = 1999\nof = loop\npoints = 50\nresponse_noise = 0\n"
                               "response_std = coherence\n";
    char text[sizeof full + sizeof more];
    struct tune_description d;
    const struct tune_simulated_response *r;
    (void)state;
    (void)snprintf(text, sizeof text, "%s%s", full, more);
    d = parse(text);
    r = &d.log[d.n_logs - 2].response;
    assert_int_equal(d.log[d.n_logs - 2].kind, TUNE_LOG_RESPONSE);
    assert_int_equal(r->points, 200);
    assert_false(r->of_loop);
    check_close(r->noise, 0.01, 0.0);
    assert_int_equal(r->tell, TUNE_TELL_STD);
    r = &d.log[d.n_logs - 1].response;
    assert_int_equal(d.log[d.n_logs - 1].pointing, 0);
    check_close(r->from_hz, 0.5, 0.0);
    check_close(r->to_hz, 1999.0, 0.0);
    assert_int_equal(r->points, 50);
    assert_true(r->of_loop);
    check_close(r->noise, 0.0, 0.0);
    assert_int_equal(r->tell, TUNE_TELL_COHERENCE);
    tune_description_free(&d);
}

static void without_a_torque_limit_motions_are_gentle(void **state)
{
    struct tune_description d =
        parse("[axis]\n[drive]\nloop_rate_hz = 1000\nencoder_counts_per_turn = 1e6\n"
              "torque_per_unit_nm = 10\n[controller]\nkp_nm_per_rad = 1e5\n"
              "[plant]\ninertia_kg_m2 = 400\n[pointing p]\n"
              "[log c]\nkind = coast\npointing = p\nspeed_deg_per_s = 1\n");
    (void)state;
    check_close_rel(d.log[0].motion.acceleration_rad_per_s2, TUNE_PI / 180.0, 1e-15);
    tune_description_free(&d);
}

static void every_committed_description_is_good(void **state)
{
    const char *tree = getenv("TUNE_SOURCE");
    struct tune_description d;
    struct tune_error err = {0};
    char path[1024];
    (void)state;
    (void)snprintf(path, sizeof path, "%s/datasets/heron-flat/hour-angle.ini", tree ? tree : ".");
    if (tune_description_read(&d, path, &err) != TUNE_OK)
        fail_msg("%s:%ld:%ld: %s", err.file, err.line, err.column, err.text);
    assert_int_equal(d.axis.plant.n_modes, 5);
    assert_int_equal(d.n_pointings, 5);
    assert_int_equal(d.seed, 20260514);
    tune_description_free(&d);
    (void)snprintf(path, sizeof path, "%s/datasets/heron-flat/first-motions.ini",
                   tree ? tree : ".");
    if (tune_description_read(&d, path, &err) != TUNE_OK)
        fail_msg("%s:%ld:%ld: %s", err.file, err.line, err.column, err.text);
    assert_int_equal(d.n_logs, 14);
    tune_description_free(&d);
    assert_int_equal(tune_description_read(&d, "/nonexistent.ini", &err), TUNE_EIO);
    assert_string_equal(err.file, "/nonexistent.ini");
}

static void no_memory_is_reported_at_every_allocation(void **state)
{
    unsigned long k = 0;
    enum tune_status status;
    (void)state;
    do {
        struct tune_description d;
        check_fail_allocation(++k);
        status = tune_description_parse(&d, "truth.ini", full, strlen(full), NULL);
        check_fail_allocation(0);
        assert_true(status == TUNE_OK || (status == TUNE_ENOMEM && !d.log && !d.pointing));
        tune_description_free(&d);
    } while (status != TUNE_OK);
    assert_in_range(k, 10, 300);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_axis_comes_out_in_si),
        cmocka_unit_test(a_quadrature_makes_residues_complex),
        cmocka_unit_test(tones_are_counted_and_must_have_their_periods),
        cmocka_unit_test(a_turn_goes_up_and_down_at_constant_speed),
        cmocka_unit_test(a_pointing_shifts_inertia_and_modes),
        cmocka_unit_test(logs_know_their_pointing_and_sweep),
        cmocka_unit_test(a_motion_arrives_in_si_with_its_defaults),
        cmocka_unit_test(the_axis_takes_the_factors_of_the_mismatch),
        cmocka_unit_test(a_table_of_responses_arrives_with_its_defaults),
        cmocka_unit_test(without_a_torque_limit_motions_are_gentle),
        cmocka_unit_test(every_committed_description_is_good),
        cmocka_unit_test(no_memory_is_reported_at_every_allocation),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
