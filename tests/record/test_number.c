/* test_number.c - every number of a log is the nearest double, by whichever way it is read.
 *
 * The outside value is the C library's strtod in the C locale, which the tests run in, bit by bit; where
 * a tie makes the right answer known, that answer too. Each text goes three ways: alone, in a log of
 * plain rows (read straight from the block) and in a log of quoted fields (read field by field).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <float.h>
#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "record/record.h"
#include "record/text.h"

enum { BATCH = 8192, NUMBER = 420 };

/* Numbers waiting to be read as one log. */
struct batch {
    char (*text)[NUMBER];
    size_t n;
    char *log;
};

static void same_bits(double got, double want, const char *text, const char *way)
{
    if (memcmp(&got, &want, sizeof got) == 0) return;
    fail_msg("'%s' %s: got %a want %a", text, way, got, want);
}

static void read_back(const struct batch *batch, const char *row, char mark, const char *way)
{
    struct tune_record_opts opts = tune_record_defaults();
    struct tune_record rec;
    struct tune_error err = {0};
    size_t used = (size_t)sprintf(batch->log, "torque_nm;remark;position_rad\n0.5;;0.5\n");
    opts.sample_rate_hz = 1000.0;
    for (size_t i = 0; i < used; i++)
        if (batch->log[i] == '.') batch->log[i] = mark;
    for (size_t i = 0; i < batch->n; i++) {
        char marked[NUMBER];
        strcpy(marked, batch->text[i]);
        if (strchr(marked, '.')) *strchr(marked, '.') = mark;
        used += (size_t)sprintf(batch->log + used, row, marked, marked);
    }
    if (tune_record_parse(&rec, "numbers", batch->log, used, &opts, &err) != TUNE_OK)
        fail_msg("line %ld column %ld: %s", err.line, err.column, err.text);
    assert_int_equal(rec.n, batch->n + 1);
    for (size_t i = 0; i < batch->n; i++) {
        const double want = strtod(batch->text[i], NULL) + 0.0; /* an offset of 0 makes -0 a 0 */
        same_bits(rec.channel[TUNE_ROLE_TORQUE][i + 1], want, batch->text[i], way);
        same_bits(rec.channel[TUNE_ROLE_POSITION][i + 1], want, batch->text[i], way);
    }
    tune_record_free(&rec);
}

static void empty_batch(struct batch *batch)
{
    read_back(batch, "%s;x;%s\n", '.', "in a plain row");
    read_back(batch, "%s;x;%s\r\n", ',', "in a plain row with decimal commas");
    read_back(batch, "\"%s\";x;\"%s\"\n", '.', "in a row of quoted fields");
    batch->n = 0;
}

static struct batch new_batch(void)
{
    struct batch batch = {.text = malloc(BATCH * sizeof *batch.text),
                          .log = malloc((size_t)BATCH * (2 * NUMBER + 16))};
    assert_true(batch.text && batch.log);
    return batch;
}

static void end_batch(struct batch *batch)
{
    empty_batch(batch);
    free(batch->text);
    free(batch->log);
}

/* Read text alone, and in a log when enough have come together. */
static void try_number(struct batch *batch, const char *text)
{
    const double want = strtod(text, NULL);
    double got = NAN;
    const enum tune_number kind = tune_number_parse(&got, text, strlen(text), '.');
    if (!isfinite(want)) {
        assert_int_equal(kind, TUNE_NUMBER_OVERFLOW);
        return;
    }
    if (kind != TUNE_NUMBER_GOOD) fail_msg("'%s' is refused (%d)", text, (int)kind);
    same_bits(got, want, text, "alone");
    strcpy(batch->text[batch->n++], text);
    if (batch->n == BATCH) empty_batch(batch);
}

static void try_known(struct batch *batch, const char *text, double want)
{
    double got = NAN;
    assert_int_equal(tune_number_parse(&got, text, strlen(text), '.'), TUNE_NUMBER_GOOD);
    same_bits(got, want, text, "against the known answer");
    try_number(batch, text);
}

/* ---- random numbers ------------------------------------------------------------------------------*/

/* 1 to 25 digits, the decimal mark anywhere, an exponent or none. */
static void random_text(char text[NUMBER], struct tune_random *rng)
{
    const uint64_t bits = tune_random_bits(rng), more = tune_random_bits(rng);
    const unsigned digits = 1 + (unsigned)(bits % 25), mark = (unsigned)(bits >> 8) % (digits + 2);
    size_t used = 0;
    if (bits >> 16 & 1) text[used++] = '-';
    if ((bits >> 17 & 15) == 0) used += (size_t)sprintf(text + used, "000");
    for (unsigned i = 0; i < digits; i++) {
        if (i == mark) text[used++] = '.';
        text[used++] = (char)('0' + tune_random_bits(rng) % 10);
    }
    if (mark == digits) text[used++] = '.';
    text[used] = '\0';
    if (bits >> 24 & 1)
        (void)sprintf(text + used, "%c%+d", more & 1 ? 'e' : 'E',
                      (int)(more >> 8 & 1023) % 641 - 330);
}

static void random_numbers_are_the_nearest_double(void **state)
{
    struct batch batch = new_batch();
    struct tune_random rng;
    char text[NUMBER];
    (void)state;
    tune_random_init(&rng, 5, 0);
    for (unsigned i = 0; i < 400000 * check_multiplier(); i++) {
        random_text(text, &rng);
        try_number(&batch, text);
    }
    end_batch(&batch);
}

/* Doubles of any bits as printf writes them, scientific and fixed, 1 to 25 digits. */
static void written_doubles_are_read_back(void **state)
{
    struct batch batch = new_batch();
    struct tune_random rng;
    char text[NUMBER];
    (void)state;
    tune_random_init(&rng, 7, 0);
    for (unsigned i = 0; i < 300000 * check_multiplier(); i++) {
        const uint64_t bits = tune_random_bits(&rng);
        const int digits = 1 + (int)(bits % 25);
        double x;
        memcpy(&x, &bits, sizeof x);
        if (!isfinite(x)) continue;
        (void)snprintf(text, sizeof text, bits >> 8 & 1 ? "%.*g" : "%.*e", digits, x);
        try_number(&batch, text);
        x = pow(10.0, (double)(bits % 13) - 4.0) * tune_random_normal(&rng);
        (void)snprintf(text, sizeof text, bits >> 9 & 1 ? "%.*f" : "%.*g", digits % 20, x);
        try_number(&batch, text);
    }
    end_batch(&batch);
}

/* ---- hard numbers --------------------------------------------------------------------------------*/

static void numbers_known_to_be_hard_are_right(void **state)
{
    /* V. Paxson, "A Program for Testing IEEE Decimal-Binary Conversion", 1991: inputs that come close
     * to halfway between two doubles (from memory); decimals on which readers of other programs never
     * ended (PHP bug 53632, CVE-2010-4476); ends of the range (IEEE 754) */
    static const char *const hard[] = {
        "5e125",
        "69e267",
        "999e-026",
        "7861e-034",
        "75569e-254",
        "928609e-261",
        "9210917e80",
        "84863171e114",
        "653777767e273",
        "5232604057e-298",
        "27235667517e-109",
        "653532977297e-123",
        "3142213164987e-294",
        "46202199371337e-72",
        "231010996856685e-73",
        "9324754620109615e212",
        "78459735791271921e49",
        "272104041512242479e200",
        "6802601037806061975e198",
        "20505426358836677347e-221",
        "836168422905420598437e-234",
        "4891559871276714924261e222",
        "9e-265",
        "85e-037",
        "623e100",
        "3571e263",
        "81661e153",
        "920657e-023",
        "4603285e-024",
        "87575437e-309",
        "245540327e122",
        "6138508175e120",
        "83356057653e193",
        "619534293513e124",
        "2335141086879e218",
        "36167929443327e-159",
        "609610927149051e-255",
        "3743626360493413e-165",
        "94080055902682397e-242",
        "899810892172646163e283",
        "7120190517612959703e120",
        "25188282901709339043e-252",
        "308984926168550152811e-052",
        "6372891218502368041059e064",
        "2.2250738585072011e-308",
        "2.2250738585072012e-308",
        "2.2250738585072014e-308",
        "4.9406564584124654e-324",
        "4.9e-324",
        "2.4703282292062327e-324",
        "2.4703282292062328e-324",
        "1.7976931348623157e308",
        "1.7976931348623158e308",
        "179769313486231580793e289",
        "1e-400",
        "0e999999999",
        "1e22",
        "1e23",
        "1e27",
        "1e28",
        "1e-27",
        "1e-28",
        "9999999999999999999",
        "18446744073709551615",
        "18446744073709551616",
        "9007199254740993e22",
        "9007199254740993e-22",
        "9007199254740993e27",
        "9007199254740993e-27",
        "12345678901234567890e-19",
        "00.00e-5",
        "-0",
        "-0.000",
        "+1.5",
        ".5",
        "-.5e1",
        "5.",
        "123456789012345",
        "1234567890123456",
        "0.1",
        "0.3",
        "00000000000000000001.5",
        "1.50000000000000000000000000000000000000000",
        "0.00000000000001",
        "0.000000000000001",
        "000000000000000.1",
        "99999999999999.9",
        "9999999999999.99",
        "0.0000000000000000000000000000000000000000012345678901234567891234567890",
    };
    struct batch batch = new_batch();
    (void)state;
    for (size_t i = 0; i < sizeof hard / sizeof *hard; i++)
        try_number(&batch, hard[i]);
    /* ties to even: 2^53 + 1 and 2^53 + 3, 1 + 2^-53, each exact and a hair to either side */
    try_known(&batch, "9007199254740993", 9007199254740992.0);
    try_known(&batch, "9007199254740993.0000000000000000001", 9007199254740994.0);
    try_known(&batch, "9007199254740995", 9007199254740996.0);
    try_known(&batch, "9007199254740994.9999999999999999999", 9007199254740994.0);
    try_known(&batch, "1.00000000000000011102230246251565404236316680908203125", 1.0);
    try_known(&batch, "1.00000000000000011102230246251565404236316680908203124", 1.0);
    try_known(&batch, "1.00000000000000011102230246251565404236316680908203126", 1.0 + DBL_EPSILON);
    try_known(&batch, "4503599627370496.5", 4503599627370496.0);
    try_known(&batch, "4503599627370497.5", 4503599627370498.0);
    end_batch(&batch);
}

#if LDBL_MANT_DIG >= 64
/* Halfway between x and the next double away from 0, exactly, as a long double: all its digits without
 * zeros at the end, in text; false where they are too many. */
static bool tie_text(char text[NUMBER], double x, bool scientific)
{
    const double next = nextafter(x, x < 0.0 ? -INFINITY : INFINITY);
    const long double tie = 0.5L * ((long double)x + (long double)next);
    char *end;
    const int length = scientific ? snprintf(text, NUMBER, "%.360Le", tie)
                                  : snprintf(text, NUMBER, "%.120Lf", tie);
    if (length >= NUMBER - 8) return false;
    char *exponent = strchr(text, 'e'), tail[16] = "";
    if (exponent) strcpy(tail, exponent);
    end = exponent ? exponent : text + length;
    while (end[-1] == '0')
        end--;
    if (end[-1] == '.') end--;
    strcpy(end, tail);
    return strtold(text, NULL) == tie && end - text < 370;
}

/* The last digit of the mantissa down by one and nines behind it, or a one far behind it. */
static void beside(char text[NUMBER], const char *tie, bool above)
{
    const char *exponent = strchr(tie, 'e');
    const size_t width = exponent ? (size_t)(exponent - tie) : strlen(tie);
    memcpy(text, tie, width);
    text[width] = '\0';
    if (!above) {
        size_t last = width - 1;
        for (; text[last] == '0'; last--)
            text[last] = '9';
        text[last]--;
    }
    if (!strchr(text, '.')) strcat(text, ".");
    strcat(text, above ? "00000001" : "99999999");
    if (exponent) strcat(text, exponent);
}

static void try_tie(struct batch *batch, double x, bool scientific)
{
    const double next = nextafter(x, x < 0.0 ? -INFINITY : INFINITY);
    char tie[NUMBER], text[NUMBER];
    uint64_t bits;
    memcpy(&bits, &x, sizeof bits);
    if (!tie_text(tie, x, scientific)) return;
    try_known(batch, tie, bits & 1 ? next : x);
    beside(text, tie, true);
    try_known(batch, text, next);
    beside(text, tie, false);
    try_known(batch, text, x);
}

static void ties_go_to_even_and_what_is_beside_them_does_not(void **state)
{
    struct batch batch = new_batch();
    struct tune_random rng;
    (void)state;
    tune_random_init(&rng, 9, 0);
    for (unsigned i = 0; i < 20000 * check_multiplier(); i++) {
        const double mantissa = 1.0 + (double)(tune_random_bits(&rng) >> 12) * DBL_EPSILON;
        const double sign = i & 1 ? -1.0 : 1.0;
        /* 16 to 19 digits, the mark anywhere: integers and quotients of 128 bits decide */
        try_tie(&batch, sign * ldexp(mantissa, 49 + (int)(tune_random_bits(&rng) % 14)), false);
        /* up to 360 digits */
        try_tie(&batch, sign * ldexp(mantissa, (int)(tune_random_bits(&rng) % 1200) - 300), true);
    }
    end_batch(&batch);
}
#else
static void ties_go_to_even_and_what_is_beside_them_does_not(void **state)
{
    (void)state;
    skip(); /* a long double holds no more than a double here */
}
#endif

static void subnormal_numbers_are_the_nearest(void **state)
{
    struct batch batch = new_batch();
    struct tune_random rng;
    char text[NUMBER];
    (void)state;
    tune_random_init(&rng, 13, 0);
    for (unsigned i = 0; i < 20000 * check_multiplier(); i++) {
        const uint64_t random = tune_random_bits(&rng), bits = (random >> 12) >> random % 52;
        double x;
        memcpy(&x, &bits, sizeof x);
        (void)snprintf(text, sizeof text, "%.*e", (int)(random % 20), x);
        try_number(&batch, text);
    }
    end_batch(&batch);
}

/* ---- every other text ----------------------------------------------------------------------------*/

/* What one field gives: the number, or the refusal. */
struct reading {
    enum tune_status status;
    double value;
    struct tune_error err;
};

static struct reading read_field(const char *field, bool quoted, char separator, const char *first)
{
    struct tune_record_opts opts = tune_record_defaults();
    struct reading reading = {0};
    struct tune_record rec;
    char text[128];
    const char *quote = quoted ? "\"" : "";
    const int length =
        snprintf(text, sizeof text, "a%ctorque_nm%cb\nx%c%s%cy\nx%c%s%s%s%cy\n", separator,
                 separator, separator, first, separator, separator, quote, field, quote, separator);
    opts.sample_rate_hz = 1000.0;
    reading.status = tune_record_parse(&rec, "f", text, (size_t)length, &opts, &reading.err);
    if (reading.status == TUNE_OK) reading.value = rec.channel[TUNE_ROLE_TORQUE][rec.n - 1];
    tune_record_free(&rec);
    return reading;
}

/* A plain row and a row with quotes are read in different ways; they must come to the same. */
static void both_ways_of_reading_a_row_agree(void **state)
{
    static const char separators[] = ",;\t", *const firsts[] = {"0", "0.5"};
    static const char letters[] = "00123456789..--+eE \t,;xn";
    struct tune_random rng;
    unsigned good = 0, bad = 0;
    (void)state;
    tune_random_init(&rng, 17, 0);
    for (unsigned i = 0; i < 15000 * check_multiplier(); i++) {
        const char separator = separators[i % 3];
        const char *first = firsts[i / 3 % 2];
        const size_t length = 1 + tune_random_bits(&rng) % 12;
        char field[16] = "";
        for (size_t k = 0; k < length; k++) {
            const char c = letters[tune_random_bits(&rng) % (sizeof letters - 1)];
            field[k] = c == separator ? '7' : c;
        }
        const struct reading plain = read_field(field, false, separator, first);
        const struct reading quoted = read_field(field, true, separator, first);
        if (plain.status != quoted.status || plain.value != quoted.value)
            fail_msg("'%s' between '%c': %d %a against %d %a", field, separator, (int)plain.status,
                     plain.value, (int)quoted.status, quoted.value);
        assert_int_equal(plain.err.line, quoted.err.line);
        assert_int_equal(plain.err.column, quoted.err.column);
        if (plain.status == TUNE_OK)
            good++;
        else
            bad++;
    }
    assert_true(good > 1000 && bad > 1000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(random_numbers_are_the_nearest_double),
        cmocka_unit_test(written_doubles_are_read_back),
        cmocka_unit_test(numbers_known_to_be_hard_are_right),
        cmocka_unit_test(ties_go_to_even_and_what_is_beside_them_does_not),
        cmocka_unit_test(subnormal_numbers_are_the_nearest),
        cmocka_unit_test(both_ways_of_reading_a_row_agree),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
