/* compare.h: the state of a comparison of all shots, shared by pairs.c and pair.c (what one pair
 * says), heap.c (which tiles are believed), drift.c and still.c (what is each tile's own doing),
 * unrest.c and along.c (where light itself bent). */
#ifndef DW_DECIDE_COMPARE_H
#define DW_DECIDE_COMPARE_H

#include "decide/compare/pairs.h"

#define DW_COMPARE_BLOCK 32 /* steps that share one judgement of the tiles' noise */
#define DW_COMPARE_REGION 5 /* tiles, across and down */
#define DW_COMPARE_REGIONS 256
#define DW_TUKEY 4.685 /* 95 % efficient at the normal (Beaton & Tukey 1974) */

/* Sums over the tiles of a pair, gamma being how much of its weight each has in the heap. */
struct dw_heap_sums {
    double all;                  /* of weights w */
    double s1, sl, sll, sd, sld; /* of gamma w times 1, lever, its square, d, lever d */
};

/* A step goes from shot j to shot j+1. */
struct dw_compare {
    const struct dw_grids *g;
    const struct dw_pair_params *p;
    const struct dw_compare_kernels *kernels;
    struct dw_pair *pair; /* steps, then those over one shot: steps-1 */
    size_t tiles, steps;
    double *seconds;    /* of each step, at least a millisecond */
    float *rate;        /* steps*tiles: the tile's own drift, stops a second */
    float *still;       /* steps*tiles: how still the tile was, 0..1 */
    float *rel;         /* steps*tiles: its change beside the common one; NAN unknown */
    float *excess;      /* blocks*tiles: variance of that beyond photon noise, when still */
    bool *agreed;       /* steps: nearly all tiles changed alike */
    double *v, *centre; /* steps: common change; the slow part of it, */
    size_t about;       /* as so many steps to either side tell */
    double reach;       /* stops: errors of neighbours differ by less, in this shoot */
    bool last;          /* variances of changes are asked for now, not in the passes before */
    double black_var;   /* DN^2, of the black level's wander in a step */
    bool black_learnt;  /* ... as this shoot tells it */
    double *wander, *wander_var; /* steps: found without a prior, and its photon variance */
    int regions, *region;        /* of each tile */

    /* the pair at work, each worker's own: n tiles that both shots have */
    size_t n;
    double *d, *w, *sigma, *narrow, *lever, *gamma; /* change, 1/variance, its root, 1/(c sigma),
                                                     * per DN of black, weight share */
    int *tile;
    struct dw_heap_sums sums; /* with gamma as it stands */
};

/* pair.c, heap.c, drift.c and still.c are compiled twice: as they stand, and for machines with
 * AVX2, with equal bits. What each builds bears a name of its own. */
#ifdef DW_WIDE
#define DW_COMPARE_NAME(name) name##_wide
#else
#define DW_COMPARE_NAME(name) name
#endif
#define dw_pair_look DW_COMPARE_NAME(dw_pair_look)
#define dw_pair_compare DW_COMPARE_NAME(dw_pair_compare)
#define dw_heap_find DW_COMPARE_NAME(dw_heap_find)
#define dw_heap_variance DW_COMPARE_NAME(dw_heap_variance)
#define dw_heap_wander DW_COMPARE_NAME(dw_heap_wander)
#define dw_own_drift_work DW_COMPARE_NAME(dw_own_drift_work)
#define dw_own_noise_work DW_COMPARE_NAME(dw_own_noise_work)
#define dw_own_first_drift DW_COMPARE_NAME(dw_own_first_drift)
#define dw_own_drift DW_COMPARE_NAME(dw_own_drift)
#define dw_own_noise DW_COMPARE_NAME(dw_own_noise)

/* pair.c. A first v for step j, the median of its tiles, before anything is known of them. */
void dw_pair_look(struct dw_compare *c, size_t j);
/* The common change from shot a to b, with the drifts and the noise of tiles as they stand; of a
 * step it is kept what it teaches about its tiles. */
struct dw_pair dw_pair_compare(struct dw_compare *c, size_t a, size_t b);

/* heap.c. Moves v (and the wander b) from where they stand to the middle of the heap of still
 * tiles; if tiles disagree, to the heap with the best evidence. Returns the variance that stands
 * for the chance of a rival; *agree: nearly all tiles lie in one heap. c->gamma and c->sums are
 * left right. */
double dw_heap_find(struct dw_compare *c, double centre, bool free, double *v, double *b,
                    bool *agree);
/* Variance of v as the regions of the picture disagree about it. */
double dw_heap_variance(const struct dw_compare *c, double v, double b);
/* The wander as the still tiles alone show it, after dw_heap_find. */
void dw_heap_wander(const struct dw_compare *c, double *b, double *var);

/* drift.c, still.c. Of the tiles first..end-1, which have nothing to do with the others. Work: as
 * many bytes as dw_own_drift_work (of both drifts) or dw_own_noise_work says for end - first tiles.
 */
enum {
    DW_COMPARE_GROUP = 32
}; /* tiles that go side by side; many enough that no compiler unrolls
    * their loops instead of taking several at a time */
void dw_own_first_drift(struct dw_compare *c, size_t first, size_t end, void *work);
void dw_own_drift(struct dw_compare *c, size_t first, size_t end, void *work);
size_t dw_own_drift_work(size_t tiles);
void dw_own_noise(struct dw_compare *c, size_t first, size_t end, void *work);
size_t dw_own_noise_work(size_t tiles);

/* Both builds of them: the plain one, and the fastest that this machine runs. */
struct dw_compare_kernels {
    void (*look)(struct dw_compare *c, size_t j);
    struct dw_pair (*compare)(struct dw_compare *c, size_t a, size_t b);
    void (*first_drift)(struct dw_compare *c, size_t first, size_t end, void *work);
    void (*drift)(struct dw_compare *c, size_t first, size_t end, void *work);
    void (*noise)(struct dw_compare *c, size_t first, size_t end, void *work);
};
const struct dw_compare_kernels *dw_compare_kernels_plain(void);
const struct dw_compare_kernels *dw_compare_kernels_best(void);
/* Bytes of a worker's own room for the pair at work, and the state that has it there. */
size_t dw_compare_work(const struct dw_compare *c);
struct dw_compare dw_compare_at_work(const struct dw_compare *shared, void *work);

/* unrest.c. How much light is seen to bend by the picture's contrasts over shots i .. i+3: rms
 * third difference per unit_s cubed, stops, of the middle region, as far as that is unusual; 0
 * where part of the picture stood still; and the regions' own changes, from which that is told.
 * Errors: DW_ERR_MEMORY, DW_ERR_INTERRUPTED. */
enum dw_status dw_own_unrest(const struct dw_compare *c, struct dw_arena *arena,
                             struct dw_beside *beside, struct dw_error *err);
/* Unrest that goes on is weather, broken cloud, in which errors are told by the many shots about;
 * only what exceeds the usual of the half hour on either side is an event of its own: squares are
 * subtracted. own, unrest: n values. */
void dw_unusual_unrest(const double *own, size_t n, double *unrest);
/* along.c. How much light is seen to bend by night, where no region shows its bend for noise but
 * all together do: third difference per unit_s cubed, stops rms over the regions, along what
 * contrasts do in these hours. change: of each region beside the common one, steps*regions; var: of
 * its level, by noise. along: a value for each of the steps-2 bends. False when memory ran out. */
bool dw_own_along(const struct dw_compare *c, struct dw_arena *arena, double unit_s,
                  const double *change, const double *var, double *along);

#endif
