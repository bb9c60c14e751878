/* bound_room.c - room for an interior-point method, and its cones.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "design/bound_interior_internal.h"

enum { PRODUCTS = 10 };

void interior_free(struct interior *b)
{
    free(b->block);
    free(b->reals);
    free(b->counts);
}

/* Cone i < n: (M, S_i), where limited; the last one: (limit, root(torque) R), where limited. */
static void place_cones(struct interior *b)
{
    const struct bound_points *p = b->points;
    const size_t n = p->n;
    struct bound_cones *cones = &b->cones;
    for (size_t i = 0; i < n && b->limits.peak2 > 0.0; i++) {
        cones->first[cones->n] = cones->tails;
        cones->length[cones->n++] = 1;
        b->base[cones->tails] = p->s0[i];
        b->gain[cones->tails++] = -p->g[i];
    }
    if (b->limits.torque2 <= 0.0) return;
    cones->first[cones->n] = cones->tails;
    cones->length[cones->n++] = n;
    for (size_t i = 0; i < n; i++) {
        b->base[cones->tails] = scaled(p->r0[i], sqrt(p->torque[i]));
        b->gain[cones->tails++] = sqrt(p->torque[i]);
    }
}

static void lay_out(struct interior *b)
{
    const size_t n = b->points->n, k = b->space->n;
    struct bound_product *product[PRODUCTS] = {&b->s,         &b->z,   &b->w,      &b->l,
                                               &b->ds,        &b->dz,  &b->target, &b->scaled_ds,
                                               &b->scaled_dz, &b->work};
    double complex *c = b->block;
    double *r = b->reals;
    b->gain = c, c += 2 * n;
    b->base = c, c += 2 * n;
    b->dr = c, c += n;
    b->step = c, c += n;
    for (int i = 0; i < PRODUCTS; i++) {
        product[i]->tail = c, c += 2 * n;
        product[i]->head = r, r += n + 1;
    }
    b->excess = r, r += n + 1;
    b->eta = r, r += n + 1;
    b->x = r, r += k;
    b->dx = r, r += k;
    b->slope = r, r += k;
    b->rows = r, r += ROWS * k;
    b->hessian = r;
    b->cones.first = b->counts;
    b->cones.length = b->counts + n + 1;
    b->order = b->counts + 2 * (n + 1);
}

enum tune_status interior_init(struct interior *b, struct tune_error *err)
{
    const size_t n = b->points->n, k = b->space->n;
    b->block = calloc((6 + 2 * PRODUCTS) * n, sizeof *b->block);
    b->reals = calloc((2 + PRODUCTS) * (n + 1) + k * (3 + ROWS + k), sizeof *b->reals);
    b->counts = calloc(2 * (n + 1) + k, sizeof *b->counts);
    if (!b->block || !b->reals || !b->counts) {
        interior_free(b);
        return tune_error_memory(err, "bounding the jitter");
    }
    lay_out(b);
    place_cones(b);
    return TUNE_OK;
}
