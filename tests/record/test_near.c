/* test_near.c - columns whose name comes near to that of a role that is missing: told, never taken.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdio.h>
#include <string.h>

#include "record/record.h"

/* A log whose header is time_s and what is given, with as many numbers under it. */
static struct tune_record parse(const char *columns)
{
    struct tune_record_opts opts = tune_record_defaults();
    struct tune_record rec;
    struct tune_error err = {0};
    char text[512], row[64] = "";
    opts.torque_per_unit_nm = opts.encoder_counts_per_turn = 1.0;
    for (const char *c = columns; *c; c++)
        if (*c == ',') (void)strcat(row, ",7");
    (void)snprintf(text, sizeof text, "time_s,%s\n0,7%s\n0.001,7%s\n", columns, row, row);
    if (tune_record_parse(&rec, "log.csv", text, strlen(text), &opts, &err) != TUNE_OK)
        fail_msg("%s: %s", columns, err.text);
    return rec;
}

static const struct {
    const char *columns;
    enum tune_role role;
    const char *near;
    long field;
} misspelt[] = {
    {"excitatoin_nm,torque_nm", TUNE_ROLE_EXCITATION, "excitatoin_nm", 2},
    {"torque_nm,exitation_nm", TUNE_ROLE_EXCITATION, "exitation_nm", 3},
    {"position_deg,torqe_nm", TUNE_ROLE_TORQUE, "torqe_nm", 3},
    {"position_deg,Troque_A", TUNE_ROLE_TORQUE, "Troque_A", 3},
    {"torque_nm,postion_arcsec", TUNE_ROLE_POSITION, "postion_arcsec", 3},
    {"torque_nm,Position [arcsec]", TUNE_ROLE_POSITION, "Position [arcsec]", 3},
    {"torque_nm,position_degrees", TUNE_ROLE_POSITION, "position_degrees", 3},
    {"torque_nm,position_arsec", TUNE_ROLE_POSITION, "position_arsec", 3},
    {"position_deg,torque_mn", TUNE_ROLE_TORQUE, "torque_mn", 3},
    {"position_deg,excitation (N m)", TUNE_ROLE_EXCITATION, "excitation (N m)", 3},
    {"position_deg,excitaton", TUNE_ROLE_EXCITATION, "excitaton", 3},
    {"position_deg,targte_deg", TUNE_ROLE_TARGET, "targte_deg", 3},
    {"position_deg,load_postion_deg", TUNE_ROLE_LOAD_POSITION, "load_postion_deg", 3},
    {"position_deg,payload_acel_g", TUNE_ROLE_PAYLOAD_ACCEL, "payload_acel_g", 3},
};

static void a_misspelt_name_is_near(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof misspelt / sizeof *misspelt; i++) {
        struct tune_record rec = parse(misspelt[i].columns);
        for (int role = 0; role < TUNE_ROLE_COUNT; role++) {
            const bool meant = role == (int)misspelt[i].role;
            if (strcmp(rec.near[role].name, meant ? misspelt[i].near : "") != 0)
                fail_msg("%s: '%s' near %s", misspelt[i].columns, rec.near[role].name,
                         tune_role_name((enum tune_role)role));
        }
        assert_int_equal(rec.near[misspelt[i].role].field, misspelt[i].field);
        assert_null(rec.channel[misspelt[i].role]);
        assert_int_equal(rec.header_line, 1);
        tune_record_free(&rec);
    }
}

/* Names that logs of drives and telescopes do have beside the roles. */
static void another_column_is_not(void **state)
{
    static const char *const columns[] = {
        "torque_nm,motor_temp_c",           "position_deg,target2_arcsec",
        "torque_nm,position2_arcsec",       "torque_nm,position_error_arcsec",
        "position_deg,torque_demand_nm",    "position_deg,motor_position_deg",
        "torque_nm,rotation_deg",           "position_deg,speed_deg_per_s",
        "position_deg,target_dec",          "position_deg,current_a",
        "position_deg,voltage_v",           "torque_nm,pos_deg",
        "position_deg,state,mode,fault",    "position_deg,velocity_rad_per_s",
        "position_deg,skx_arcsec",          "torque_nm,wind_speed_m",
        "position_deg,filter_position_deg", "position_deg,outer_position_deg",
    };
    (void)state;
    for (size_t i = 0; i < sizeof columns / sizeof *columns; i++) {
        struct tune_record rec = parse(columns[i]);
        for (int role = 0; role < TUNE_ROLE_COUNT; role++)
            if (rec.near[role].name[0])
                fail_msg("%s: '%s' taken for the %s", columns[i], rec.near[role].name,
                         tune_role_name((enum tune_role)role));
        tune_record_free(&rec);
    }
}

/* What is logged is not missed; what is mapped is no stranger. */
static void only_missing_roles_are_missed(void **state)
{
    static const char text[] = "time_s,torque_nm,torqe_nm,postion_deg\n0,1,1,1\n0.001,1,1,1\n";
    struct tune_record_opts opts = tune_record_defaults();
    struct tune_record rec;
    struct tune_error err = {0};
    (void)state;
    (void)snprintf(opts.map[TUNE_ROLE_POSITION].column, TUNE_COLUMN_NAME, "postion_deg");
    assert_int_equal(tune_record_parse(&rec, "a", text, strlen(text), &opts, &err), TUNE_OK);
    for (int role = 0; role < TUNE_ROLE_COUNT; role++)
        assert_string_equal(rec.near[role].name, "");
    tune_record_free(&rec);
}

static void refusals_guess(void **state)
{
    struct tune_record rec = parse("position_deg,torqe_nm");
    struct tune_record_opts opts = tune_record_defaults();
    struct tune_error err = {0};
    static const char text[] = "tiem_s,torque_nm\n0,1\n1,1\n", mapped[] = "time_s,Iq act\n0,1\n";
    (void)state;
    assert_int_equal(tune_record_require(&rec, TUNE_ROLE_TORQUE, "a.csv", &err), TUNE_EDATA);
    assert_non_null(strstr(err.text, "did you mean 'torqe_nm'? rename it, or map it, torque = "
                                     "\"torqe_nm\""));
    assert_string_equal(err.file, "a.csv");
    assert_int_equal(err.line, 1);
    assert_int_equal(err.column, 3);
    assert_int_equal(tune_record_require(&rec, TUNE_ROLE_SKY, "a.csv", &err), TUNE_EDATA);
    assert_null(strstr(err.text, "did you mean"));
    tune_record_free(&rec);
    assert_int_equal(tune_record_parse(&rec, "a", text, strlen(text), &opts, &err), TUNE_EDATA);
    assert_non_null(strstr(err.text, "did you mean 'tiem_s'? rename it time_s"));
    (void)snprintf(opts.map[TUNE_ROLE_TORQUE].column, TUNE_COLUMN_NAME, "Iq_act");
    assert_int_equal(tune_record_parse(&rec, "a", mapped, strlen(mapped), &opts, &err), TUNE_EDATA);
    assert_non_null(strstr(err.text, "did you mean 'Iq act'?"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_misspelt_name_is_near),
        cmocka_unit_test(another_column_is_not),
        cmocka_unit_test(only_missing_roles_are_missed),
        cmocka_unit_test(refusals_guess),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
