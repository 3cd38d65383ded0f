/* kinds.h: what a person is told of each kind of fault: its words, its ink, and what to do about it
 * the next time. By code, so that a kind which `decide` adds is shown at once, in plain words. */
#ifndef DW_OUTPUT_KINDS_H
#define DW_OUTPUT_KINDS_H

#include "output/paper/paper.h"

struct dw_kind {
    const char *code;
    const char *title;      /* "Dew or lost focus" */
    const char *words;      /* a shot's sentence where its judge gave none: "detail is lost ..." */
    struct dw_ink ink;      /* of like depth, told apart in grey print by the word beside it */
    bool creeps;            /* comes and goes slowly: a few clean shots do not end a run */
    bool comparable;        /* seen best beside a neighbour */
    bool as_taken;          /* ... and with its exposure not put right */
    const char *next_title; /* advice for the next shoot; NULL without */
    const char *next_text;
};

/* The kind of bit `i` of enum dw_fault; never NULL for a bit that dw_fault_name knows. */
const struct dw_kind *dw_kind(int i);

#endif
