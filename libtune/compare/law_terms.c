/* law_terms.c - what a law may be made of.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "compare/law_internal.h"

const char *tune_law_term_name(enum tune_law_term term)
{
    static const char *const name[TUNE_LAW_TERMS] = {
        [TUNE_TERM_CONSTANT] = "constant",
        [TUNE_TERM_COS_ANGLE] = "cos_angle",
        [TUNE_TERM_SIN_ANGLE] = "sin_angle",
        [TUNE_TERM_COS_OTHER] = "cos_other_axis",
        [TUNE_TERM_SIN_OTHER] = "sin_other_axis",
        [TUNE_TERM_COS_TWICE_OTHER] = "cos_twice_other_axis",
        [TUNE_TERM_OTHER_UNKNOWN] = "other_axis_unknown",
        [TUNE_TERM_OTHER_HOLDING] = "other_axis_holding",
        [TUNE_TERM_OTHER_BRAKED] = "other_axis_braked",
        [TUNE_TERM_OTHER_FREE] = "other_axis_free",
    };
    return (unsigned)term < TUNE_LAW_TERMS ? name[term] : NULL;
}

static const char *term_text(enum tune_law_term term)
{
    static const char *const text[TUNE_LAW_TERMS] = {
        [TUNE_TERM_CONSTANT] = "",
        [TUNE_TERM_COS_ANGLE] = "cos(angle)",
        [TUNE_TERM_SIN_ANGLE] = "sin(angle)",
        [TUNE_TERM_COS_OTHER] = "cos(other)",
        [TUNE_TERM_SIN_OTHER] = "sin(other)",
        [TUNE_TERM_COS_TWICE_OTHER] = "cos(2 other)",
        [TUNE_TERM_OTHER_UNKNOWN] = "state unknown",
        [TUNE_TERM_OTHER_HOLDING] = "holding",
        [TUNE_TERM_OTHER_BRAKED] = "braked",
        [TUNE_TERM_OTHER_FREE] = "free",
    };
    return text[term];
}

/* Two points lie on any line; that they do says nothing. */
void tune_law_text(char *text, size_t size, const struct tune_law *law)
{
    const size_t least = 3;
    size_t used = 0;
    text[0] = '\0';
    if (law->n_points < least) {
        (void)snprintf(text, size, "no law can be told from %s",
                       law->n_points == 2 ? "two pointings" : "one pointing");
        return;
    }
    for (size_t j = 1; j < law->n_terms && used < size; j++)
        used += (size_t)snprintf(text + used, size - used, "%s%.3g %s", used ? ", " : "",
                                 100.0 * law->coefficient[j].value, term_text(law->term[j]));
    if (law->n_terms < 2) (void)snprintf(text, size, "the same everywhere");
}

double law_term_value(enum tune_law_term term, const struct tune_condition *at)
{
    switch (term) {
    case TUNE_TERM_CONSTANT:
        return 1.0;
    case TUNE_TERM_COS_ANGLE:
        return cos(at->angle_rad);
    case TUNE_TERM_SIN_ANGLE:
        return sin(at->angle_rad);
    case TUNE_TERM_COS_OTHER:
        return cos(at->other_axis_rad);
    case TUNE_TERM_SIN_OTHER:
        return sin(at->other_axis_rad);
    case TUNE_TERM_COS_TWICE_OTHER:
        return cos(2.0 * at->other_axis_rad);
    default:
        return at->other_axis == (enum tune_other_axis)(term - TUNE_TERM_OTHER_UNKNOWN) ? 1.0 : 0.0;
    }
}

/* ---- which terms can be told -------------------------------------------------------------------*/

/* A term that is the same everywhere, or not known somewhere, says nothing. with_asked: the condition to
 * be predicted counts too. */
static bool term_varies(const struct law_series *series, enum tune_law_term term, bool with_asked)
{
    const double least = 1e-6;
    double low = (double)INFINITY, high = -(double)INFINITY;
    for (size_t i = 0; i < series->n; i++) {
        if (!series->known[i] && !(with_asked && i == series->asked)) continue;
        const double x = law_term_value(term, &series->plant[i].at);
        if (!isfinite(x)) return false;
        low = fmin(low, x);
        high = fmax(high, x);
    }
    return high - low > least;
}

static enum tune_law_term commonest_state(const struct law_series *series)
{
    size_t count[TUNE_OTHER_AXIS_STATES] = {0}, best = 0;
    for (size_t i = 0; i < series->n; i++)
        if (series->known[i]) count[series->plant[i].at.other_axis]++;
    for (size_t s = 1; s < TUNE_OTHER_AXIS_STATES; s++)
        if (count[s] > count[best]) best = s;
    return (enum tune_law_term)(TUNE_TERM_OTHER_UNKNOWN + best);
}

static bool add_term(struct law_terms *set, const struct law_series *series,
                     enum tune_law_term term)
{
    if (!term_varies(series, term, true)) return false;
    set->told += term_varies(series, term, false) ? 1 : 0;
    set->term[set->n++] = term;
    return true;
}

/* Group g of terms added where `set` says so; false where one of them cannot be told. */
static bool add_group(struct law_terms *set, const struct law_series *series, size_t g)
{
    const enum tune_law_term common = commonest_state(series);
    bool any = false;
    if (g + 1 < LAW_GROUPS)
        return add_term(set, series, (enum tune_law_term)(TUNE_TERM_COS_ANGLE + g));
    for (enum tune_law_term t = TUNE_TERM_OTHER_UNKNOWN; t <= TUNE_TERM_OTHER_FREE; t++)
        if (t != common && add_term(set, series, t)) any = true;
    return any;
}

bool law_terms_choose(struct law_terms *set, const struct law_series *series, size_t groups)
{
    set->n = set->told = 1;
    set->term[0] = TUNE_TERM_CONSTANT;
    for (size_t g = 0; g < LAW_GROUPS; g++)
        if (groups & ((size_t)1 << g) && !add_group(set, series, g)) return false;
    return true;
}
