/* test_buffer.c - escaping, base64, numbers as people read them.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <string.h>

#include "../../apps/quietaxis/report/buffer.h"

static void expect_escaped(const char *words, const char *want)
{
    struct buffer text = {0};
    buffer_escape(&text, words);
    assert_string_equal(text.bytes ? text.bytes : "", want);
    buffer_free(&text);
}

static void html_characters_become_references(void **state)
{
    (void)state;
    expect_escaped("", "");
    expect_escaped("<b a=\"1\" c='2'>&amp;</b>",
                   "&lt;b a=&quot;1&quot; c=&#39;2&#39;&gt;&amp;amp;&lt;/b&gt;");
    expect_escaped("line\nand\ttab", "line\nand\ttab");
    expect_escaped("1\xe2\x80\xb3 \xc2\xb1 \xf0\x9f\x94\xad",
                   "1\xe2\x80\xb3 \xc2\xb1 \xf0\x9f\x94\xad");
}

#define REPLACED "\xef\xbf\xbd"

static void broken_utf8_and_control_characters_are_replaced(void **state)
{
    (void)state;
    expect_escaped("a\x01\x7f", "a" REPLACED REPLACED);
    expect_escaped("\xff<", REPLACED "&lt;");
    expect_escaped("\xc3", REPLACED);                                        /* cut short */
    expect_escaped("\xe2\x80", REPLACED REPLACED);                           /* cut short */
    expect_escaped("\xc0\xbc", REPLACED REPLACED);                           /* overlong '<' */
    expect_escaped("\xe0\x80\xbc", REPLACED REPLACED REPLACED);              /* overlong '<' */
    expect_escaped("\xed\xa0\x80", REPLACED REPLACED REPLACED);              /* surrogate */
    expect_escaped("\xf4\x90\x80\x80", REPLACED REPLACED REPLACED REPLACED); /* beyond U+10FFFF */
}

static void base64_of_the_standard(void **state)
{
    /* S. Josefsson, RFC 4648 (2006), section 10 */
    static const char *const pair[][2] = {{"", ""},
                                          {"f", "Zg=="},
                                          {"fo", "Zm8="},
                                          {"foo", "Zm9v"},
                                          {"foob", "Zm9vYg=="},
                                          {"fooba", "Zm9vYmE="},
                                          {"foobar", "Zm9vYmFy"}};
    (void)state;
    for (size_t i = 0; i < sizeof pair / sizeof *pair; i++) {
        struct buffer text = {0};
        buffer_base64(&text, pair[i][0], strlen(pair[i][0]));
        assert_string_equal(text.bytes ? text.bytes : "", pair[i][1]);
        buffer_free(&text);
    }
}

static void base64_of_every_byte_decodes_again(void **state)
{
    static const char digit[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    unsigned char bytes[255]; /* a multiple of three: no padding */
    struct buffer text = {0};
    (void)state;
    for (size_t i = 0; i < sizeof bytes; i++)
        bytes[i] = (unsigned char)(i * 37u);
    buffer_base64(&text, bytes, sizeof bytes);
    assert_int_equal(text.size, sizeof bytes / 3 * 4);
    for (size_t i = 0; i < sizeof bytes / 3; i++) {
        unsigned long word = 0;
        for (size_t k = 0; k < 4; k++) {
            const char *found = strchr(digit, text.bytes[4 * i + k]);
            assert_non_null(found);
            word = word << 6 | (unsigned long)(found - digit);
        }
        assert_int_equal(word, (unsigned long)bytes[3 * i] << 16 |
                                   (unsigned long)bytes[3 * i + 1] << 8 | bytes[3 * i + 2]);
    }
    buffer_free(&text);
}

static void expect_estimate(double value, double std, const char *want)
{
    struct buffer text = {0};
    buffer_estimate(&text, value, std);
    assert_string_equal(text.bytes, want);
    buffer_free(&text);
}

static void estimates_end_where_their_doubt_begins(void **state)
{
    (void)state;
    expect_estimate(14.80312, 0.00213, "14.8031 &plusmn; 0.0021");
    expect_estimate(1500.4, 1.23, "1500.4 &plusmn; 1.2");
    expect_estimate(1500.4, 31.0, "1500 &plusmn; 31");
    expect_estimate(-0.08, 0.0996, "-0.08 &plusmn; 0.10");
    expect_estimate(0.25, 0.996, "0.2 &plusmn; 1.0");
    expect_estimate(3.14159, (double)NAN, "3.142");
    expect_estimate(267989342.0, 270863.0, "267990000 &plusmn; 270000");
    expect_estimate(1.5e12, 2.1e6, "1.5e+12 &plusmn; 2.1e+06");
    expect_estimate((double)INFINITY, (double)NAN, "no limit");
    expect_estimate((double)NAN, (double)NAN, "not determined");
}

static void growing_keeps_everything(void **state)
{
    struct buffer text = {0};
    (void)state;
    for (int i = 0; i < 10000; i++)
        buffer_format(&text, "%04d", i);
    assert_int_equal(text.size, 40000);
    assert_memory_equal(text.bytes + 4 * 4321, "4321", 4);
    assert_int_equal(strlen(text.bytes), 40000);
    buffer_free(&text);
    assert_null(text.bytes);
}

static void lost_memory_is_remembered(void **state)
{
    struct buffer text = {0};
    char block[5000];
    (void)state;
    memset(block, 'x', sizeof block);
    buffer_add(&text, "kept");
    check_fail_allocation(1);
    buffer_add_bytes(&text, block, sizeof block);
    check_fail_allocation(0);
    assert_true(text.failed);
    buffer_add(&text, "not added");
    buffer_format(&text, "%d", 1);
    buffer_escape(&text, "<");
    buffer_base64(&text, "abc", 3);
    assert_string_equal(text.bytes, "kept");
    buffer_free(&text);
    buffer_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(html_characters_become_references),
        cmocka_unit_test(broken_utf8_and_control_characters_are_replaced),
        cmocka_unit_test(base64_of_the_standard),
        cmocka_unit_test(base64_of_every_byte_decodes_again),
        cmocka_unit_test(estimates_end_where_their_doubt_begins),
        cmocka_unit_test(growing_keeps_everything),
        cmocka_unit_test(lost_memory_is_remembered),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
