/* kinds.c - the results, for what is done to all of them alike.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "chain/chain_internal.h"
#include "results/balance.h"
#include "results/forecast.h"
#include "results/inspection.h"
#include "results/precheck.h"
#include "results/proposal.h"
#include "results/verification.h"

/* ---- inspect ------------------------------------------------------------------------------------*/

static enum tune_status inspect_json(char **text, const void *result, struct tune_error *err)
{
    return tune_inspection_json(text, result, err);
}

static enum tune_status inspect_parse(void *out, const char *name, const char *text, size_t size,
                                      struct tune_error *err)
{
    return tune_inspection_parse(out, name, text, size, err);
}

static void inspect_empty(void *result)
{
    tune_inspection_free(result);
}

static struct tune_provenance *inspect_provenance(void *result)
{
    return &((struct tune_inspection *)result)->provenance;
}

const struct chain_kind chain_inspect_kind = {"inspect.json", inspect_json,       inspect_parse,
                                              inspect_empty,  inspect_provenance, NULL};

/* ---- precheck -----------------------------------------------------------------------------------*/

static enum tune_status precheck_json(char **text, const void *result, struct tune_error *err)
{
    return tune_precheck_json(text, result, err);
}

static enum tune_status precheck_parse(void *out, const char *name, const char *text, size_t size,
                                       struct tune_error *err)
{
    return tune_precheck_parse(out, name, text, size, err);
}

static void precheck_empty(void *result)
{
    tune_precheck_free(result);
}

static struct tune_provenance *precheck_provenance(void *result)
{
    return &((struct tune_precheck *)result)->provenance;
}

const struct chain_kind chain_precheck_kind = {"precheck.json", precheck_json,       precheck_parse,
                                               precheck_empty,  precheck_provenance, NULL};

/* ---- identify -----------------------------------------------------------------------------------*/

static enum tune_status identify_json(char **text, const void *result, struct tune_error *err)
{
    return tune_identification_json(text, result, err);
}

static enum tune_status identify_parse(void *out, const char *name, const char *text, size_t size,
                                       struct tune_error *err)
{
    return tune_identification_parse(out, name, text, size, err);
}

static void identify_empty(void *result)
{
    tune_identification_free(result);
}

static struct tune_provenance *identify_provenance(void *result)
{
    return &((struct tune_identification *)result)->provenance;
}

static const struct tune_result_file *identify_part(const void *result, size_t i)
{
    const struct tune_identification *r = result;
    if (i >= 5 * r->n_pointings) return NULL;
    const struct tune_pointing_plant *p = &r->pointing[i / 5];
    const struct tune_result_file *const file[] = {&p->frf_file, &p->model_file, &p->assisted_file,
                                                   &p->plant_file, &p->cross.file};
    return file[i % 5];
}

const struct chain_kind chain_identify_kind = {"identify.json", identify_json,       identify_parse,
                                               identify_empty,  identify_provenance, identify_part};

/* ---- design -------------------------------------------------------------------------------------*/

static enum tune_status design_json(char **text, const void *result, struct tune_error *err)
{
    return tune_proposal_json(text, result, err);
}

static enum tune_status design_parse(void *out, const char *name, const char *text, size_t size,
                                     struct tune_error *err)
{
    return tune_proposal_parse(out, name, text, size, err);
}

static void design_empty(void *result)
{
    tune_proposal_free(result);
}

static struct tune_provenance *design_provenance(void *result)
{
    return &((struct tune_proposal *)result)->provenance;
}

/* controller.ini is a part too: somebody may have edited it, and would be told nothing. */
static const struct tune_result_file *design_part(const void *result, size_t i)
{
    const struct tune_proposal *r = result;
    const struct tune_result_file *const typed[] = {&r->to_type.coefficients_file,
                                                    &r->to_type.header_file, &r->to_type.text_file};
    const struct tune_candidate *c;
    if (i == 0) return &r->controller_file;
    if (r->recommended >= r->n_candidates) return NULL;
    c = &r->candidate[r->recommended];
    if (i - 1 < c->n_margins) return &c->margins[i - 1].loop_file;
    i -= 1 + c->n_margins;
    if (i < r->n_rungs) return &r->rung[i].file;
    i -= r->n_rungs;
    return i < sizeof typed / sizeof *typed ? typed[i] : NULL;
}

const struct chain_kind chain_design_kind = {"design.json", design_json,       design_parse,
                                             design_empty,  design_provenance, design_part};

const struct chain_kind chain_evaluate_kind = {"evaluate.json", design_json,       design_parse,
                                               design_empty,    design_provenance, design_part};

/* ---- predict ------------------------------------------------------------------------------------*/

static enum tune_status predict_json(char **text, const void *result, struct tune_error *err)
{
    return tune_forecast_json(text, result, err);
}

static enum tune_status predict_parse(void *out, const char *name, const char *text, size_t size,
                                      struct tune_error *err)
{
    return tune_forecast_parse(out, name, text, size, err);
}

static void predict_empty(void *result)
{
    tune_forecast_free(result);
}

static struct tune_provenance *predict_provenance(void *result)
{
    return &((struct tune_forecast *)result)->provenance;
}

static const struct tune_result_file *predict_part(const void *result, size_t i)
{
    return i == 0 ? &((const struct tune_forecast *)result)->spectrum : NULL;
}

const struct chain_kind chain_predict_kind = {"predict.json", predict_json,       predict_parse,
                                              predict_empty,  predict_provenance, predict_part};

/* ---- verify -------------------------------------------------------------------------------------*/

static enum tune_status verify_json(char **text, const void *result, struct tune_error *err)
{
    return tune_verification_json(text, result, err);
}

static enum tune_status verify_parse(void *out, const char *name, const char *text, size_t size,
                                     struct tune_error *err)
{
    return tune_verification_parse(out, name, text, size, err);
}

static void verify_empty(void *result)
{
    tune_verification_free(result);
}

static struct tune_provenance *verify_provenance(void *result)
{
    return &((struct tune_verification *)result)->provenance;
}

const struct chain_kind chain_verify_kind = {"verify.json", verify_json,       verify_parse,
                                             verify_empty,  verify_provenance, NULL};

/* ---- balance ------------------------------------------------------------------------------------*/

static enum tune_status balance_json(char **text, const void *result, struct tune_error *err)
{
    return tune_balance_json(text, result, err);
}

static enum tune_status balance_parse(void *out, const char *name, const char *text, size_t size,
                                      struct tune_error *err)
{
    return tune_balance_parse(out, name, text, size, err);
}

static void balance_empty(void *result)
{
    tune_balance_free(result);
}

static struct tune_provenance *balance_provenance(void *result)
{
    return &((struct tune_balance *)result)->provenance;
}

static const struct tune_result_file *balance_part(const void *result, size_t i)
{
    const struct tune_balance *balance = result;
    return i == 0 ? &balance->table : i == 1 ? &balance->turns : NULL;
}

const struct chain_kind chain_balance_kind = {"balance.json", balance_json,       balance_parse,
                                              balance_empty,  balance_provenance, balance_part};
