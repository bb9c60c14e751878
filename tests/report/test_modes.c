/* test_modes.c - modes over pointings on the page: the plot and the table.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdlib.h>
#include <string.h>

#include "../../apps/quietaxis/report/pictures.h"
#include "../../apps/quietaxis/report/sections.h"

enum { POINTINGS = 5 };

/* Two modes; the second is lacking at the third pointing. axis: 0 this one turns, 1 the other one, 2 none
 * is stated. */
static struct tune_identification *some_pointings(int axis)
{
    struct tune_identification *id = calloc(1, sizeof *id);
    struct tune_tracked_fit plant[POINTINGS];
    const struct tune_tracks_opts opts = tune_tracks_defaults();
    struct tune_error err;
    assert_non_null(id);
    id->n_pointings = POINTINGS;
    id->pointing = calloc(POINTINGS, sizeof *id->pointing);
    assert_non_null(id->pointing);
    for (size_t p = 0; p < POINTINGS; p++) {
        struct tune_pointing_plant *at = &id->pointing[p];
        struct tune_fit *fit = &at->fit;
        const double turn_deg = 25.0 * (double)p - 50.0;
        (void)snprintf(at->name, sizeof at->name, "p<%zu>", p);
        at->angle_deg = axis == 0 ? turn_deg : axis == 1 ? 10.0 : (double)NAN;
        at->other_axis_deg = axis == 1 ? turn_deg : (double)NAN;
        fit->lines = 5000;
        fit->inertia = (struct tune_estimate){800.0 + turn_deg, 1.0};
        fit->plant.n_modes = p == 2 ? 1 : 2;
        for (size_t k = 0; k < fit->plant.n_modes; k++) {
            fit->plant.mode[k].payload_ratio = (double)NAN;
            fit->mode_f_hz[k] =
                (struct tune_estimate){(k ? 90.0 : 20.0) * (1.0 + 2e-4 * turn_deg), 0.01};
            fit->mode_zeta[k] = (struct tune_estimate){0.01, 1e-4};
            fit->mode_gain[k] = (struct tune_estimate){k ? -0.05 : 0.2, 1e-3};
        }
        plant[p] =
            (struct tune_tracked_fit){fit,
                                      {tune_rad_from_deg(at->angle_deg),
                                       tune_rad_from_deg(at->other_axis_deg), at->other_axis},
                                      {1.0, 300.0}};
    }
    assert_int_equal(tune_tracks_fit(&id->tracks, plant, POINTINGS, &opts, NULL, &err), TUNE_OK);
    (void)snprintf(id->interpolation_text, sizeof id->interpolation_text, "Is 1 < 2?");
    return id;
}

static void release(struct tune_identification *id)
{
    tune_identification_free(id);
    free(id);
}

static void modes_are_drawn_over_the_axis_that_turned(void **state)
{
    (void)state;
    for (int axis = 0; axis < 2; axis++) {
        struct tune_identification *id = some_pointings(axis);
        struct buffer svg = {0};
        struct tune_error err;
        tune_error_clear(&err);
        assert_true(picture_tracks_worth(id));
        if (picture_tracks(&svg, id, &err)) fail_msg("%s", err.text);
        assert_non_null(strstr(svg.bytes, "Change (%)"));
        assert_non_null(strstr(svg.bytes, axis ? "Angle of the other axis (deg)" : "Angle (deg)"));
        assert_non_null(strstr(svg.bytes, "mode 1: 20 Hz"));
        assert_non_null(strstr(svg.bytes, "mode 2: "));
        assert_non_null(strstr(svg.bytes, "inertia"));
        buffer_free(&svg);
        release(id);
    }
}

static void the_table_says_what_was_not_found(void **state)
{
    struct tune_identification *id = some_pointings(0);
    struct buffer html = {0};
    struct tune_error err;
    (void)state;
    id->pointing[3].other_axis_deg = 20.0;
    id->pointing[3].other_axis = TUNE_OTHER_AXIS_BRAKED;
    assert_int_equal(part_tracks(&html, id, &err), TUNE_OK);
    assert_non_null(strstr(html.bytes, "Modes over pointings"));
    assert_non_null(strstr(html.bytes, "<img"));
    assert_non_null(strstr(html.bytes, "Mode 2 (Hz)"));
    assert_non_null(strstr(html.bytes, "none; gain &lt; 0.0"));
    assert_non_null(strstr(html.bytes, "p&lt;2&gt;"));
    assert_non_null(strstr(html.bytes, "25 deg; 20 deg, braked"));
    assert_non_null(strstr(html.bytes, "What they follow"));
    assert_non_null(strstr(html.bytes, "sin(angle)"));
    assert_non_null(strstr(html.bytes, "Is 1 &lt; 2?"));
    buffer_free(&html);
    release(id);
}

static void without_angles_there_is_a_table_but_no_plot(void **state)
{
    struct tune_identification *id = some_pointings(2);
    struct buffer html = {0}, svg = {0};
    struct tune_error err;
    (void)state;
    assert_false(picture_tracks_worth(id));
    assert_int_equal(picture_tracks(&svg, id, &err), TUNE_EINVAL);
    assert_int_equal(part_tracks(&html, id, &err), TUNE_OK);
    assert_null(strstr(html.bytes, "<img"));
    assert_non_null(strstr(html.bytes, "Mode 1 (Hz)"));
    buffer_free(&html);
    release(id);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(modes_are_drawn_over_the_axis_that_turned),
        cmocka_unit_test(the_table_says_what_was_not_found),
        cmocka_unit_test(without_angles_there_is_a_table_but_no_plot),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
