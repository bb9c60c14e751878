/* bound_cones.c - second-order cones: s = (head, tail), head >= |tail|.
 *
 * Products and scaling of the cone's algebra (Y. E. Nesterov, M. J. Todd, SIAM J. Optimization 8, 1998;
 * L. Vandenberghe, The CVXOPT linear and quadratic cone program solvers, 2010, from memory): W symmetric
 * with W z = W^-1 s, W^2 = eta^2 (2 w w' - J), J = diag(1, -1, ... -1).
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "design/bound_internal.h"

static double dot(const double complex *a, const double complex *b, size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += creal(a[i]) * creal(b[i]) + cimag(a[i]) * cimag(b[i]);
    return sum;
}

/* a' J b of one cone */
static double lorentz(const struct bound_cones *cones, const struct bound_product *a,
                      const struct bound_product *b, size_t c)
{
    const size_t first = cones->first[c];
    return a->head[c] * b->head[c] - dot(a->tail + first, b->tail + first, cones->length[c]);
}

double bound_cones_inner(const struct bound_cones *cones, const struct bound_product *a,
                         const struct bound_product *b)
{
    double sum = 0.0;
    for (size_t c = 0; c < cones->n; c++)
        sum += a->head[c] * b->head[c] +
               dot(a->tail + cones->first[c], b->tail + cones->first[c], cones->length[c]);
    return sum;
}

void bound_cones_inverse(struct bound_product *out, const struct bound_cones *cones,
                         const struct bound_product *s, double mu)
{
    for (size_t c = 0; c < cones->n; c++) {
        const double factor = mu / lorentz(cones, s, s, c);
        out->head[c] = s->head[c] * factor;
        for (size_t i = cones->first[c]; i < cones->first[c] + cones->length[c]; i++)
            out->tail[i] = scaled(s->tail[i], -factor);
    }
}

void bound_cones_scale(struct bound_product *w, double *eta, const struct bound_cones *cones,
                       const struct bound_product *s, const struct bound_product *z)
{
    for (size_t c = 0; c < cones->n; c++) {
        const size_t first = cones->first[c], n = cones->length[c];
        const double s2 = lorentz(cones, s, s, c), z2 = lorentz(cones, z, z, c);
        const double over_s = 1.0 / sqrt(s2), over_z = 1.0 / sqrt(z2);
        const double inner = s->head[c] * z->head[c] + dot(s->tail + first, z->tail + first, n);
        const double gamma = sqrt(0.5 * (1.0 + inner * over_s * over_z));
        w->head[c] = (s->head[c] * over_s + z->head[c] * over_z) / (2.0 * gamma);
        for (size_t i = first; i < first + n; i++)
            w->tail[i] =
                scaled(scaled(s->tail[i], over_s) - scaled(z->tail[i], over_z), 0.5 / gamma);
        eta[c] = sqrt(sqrt(s2 / z2));
    }
}

/* out = W y, or W^-1 y with inverse */
void bound_cones_apply(struct bound_product *out, const struct bound_cones *cones,
                       const struct bound_product *w, const double *eta, bool inverse,
                       const struct bound_product *y)
{
    const double sign = inverse ? -1.0 : 1.0;
    for (size_t c = 0; c < cones->n; c++) {
        const size_t first = cones->first[c], n = cones->length[c];
        const double along = dot(w->tail + first, y->tail + first, n), y0 = y->head[c];
        const double factor = inverse ? 1.0 / eta[c] : eta[c];
        const double share = sign * y0 + along / (1.0 + w->head[c]);
        out->head[c] = factor * (w->head[c] * y0 + sign * along);
        for (size_t i = first; i < first + n; i++)
            out->tail[i] = scaled(y->tail[i] + scaled(w->tail[i], share), factor);
    }
}

/* out = -l o l + aim e - a o b, then what times l gives that. */
void bound_cones_target(struct bound_product *out, const struct bound_cones *cones,
                        const struct bound_product *l, double aim, const struct bound_product *a,
                        const struct bound_product *b)
{
    for (size_t c = 0; c < cones->n; c++) {
        const size_t first = cones->first[c], n = cones->length[c];
        const double l0 = l->head[c], a0 = a->head[c], b0 = b->head[c];
        const double l2 = dot(l->tail + first, l->tail + first, n);
        const double y0 = aim - l0 * l0 - l2 - a0 * b0 - dot(a->tail + first, b->tail + first, n);
        double along = 0.0;
        for (size_t i = first; i < first + n; i++) {
            out->tail[i] =
                -scaled(l->tail[i], 2.0 * l0) - scaled(b->tail[i], a0) - scaled(a->tail[i], b0);
            along += creal(conj(l->tail[i]) * out->tail[i]);
        }
        out->head[c] = (l0 * y0 - along) / lorentz(cones, l, l, c);
        for (size_t i = first; i < first + n; i++)
            out->tail[i] = scaled(out->tail[i] - scaled(l->tail[i], out->head[c]), 1.0 / l0);
    }
}

/* Largest t <= most with s + t d in every cone: (s + t d)' J (s + t d) = 0 at the border. */
double bound_cones_reach(const struct bound_cones *cones, const struct bound_product *s,
                         const struct bound_product *d, double most)
{
    for (size_t c = 0; c < cones->n; c++) {
        const double a = lorentz(cones, d, d, c), b = lorentz(cones, s, d, c);
        const double e = lorentz(cones, s, s, c), root = b * b - a * e;
        if (root < 0.0) continue;
        const double below = sqrt(root) - b;
        if (below > 0.0) most = fmin(most, e / below);
    }
    return most;
}

void bound_cones_move(struct bound_product *s, const struct bound_cones *cones,
                      const struct bound_product *d, double t)
{
    for (size_t c = 0; c < cones->n; c++) {
        s->head[c] += t * d->head[c];
        for (size_t i = cones->first[c]; i < cones->first[c] + cones->length[c]; i++)
            s->tail[i] += scaled(d->tail[i], t);
    }
}
