/* documents.h: what the documents of a run share among themselves and with the frames' recipe. */
#ifndef DW_OUTPUT_DOCUMENTS_H
#define DW_OUTPUT_DOCUMENTS_H

#include <daywheel/output.h>

#include "base/buffers.h"
#include "base/csv.h"

/* Writes the finished text to dir/name, durably. Frees the buffer. */
enum dw_status dw_document_commit(const char *dir, const char *name, struct dw_buffer *b,
                                  struct dw_error *err);
/* Reads and parses the table dir/name. DW_WARN, with *out empty, when there is none. */
enum dw_status dw_document_table(const char *dir, const char *name, struct dw_csv *out,
                                 struct dw_error *err);

/* One line of frames.csv, without its end. Numbers are exact (17 significant digits). */
void dw_frames_line(struct dw_buffer *b, const struct dw_shots *shots,
                    const struct dw_frame *frame);

/* facts.json as text, one key a line, sorted. with_survey = false leaves out the identity of the
 * survey, which differs between copies of the same shoot. False when memory ran out. */
bool dw_facts_text(const struct dw_facts *facts, bool with_survey, struct dw_buffer *out);

/* Codes of fault bits separated by spaces. */
void dw_fault_codes(uint32_t faults, char out[128]);

/* A number with as many of `decimals` places as it needs; empty for NAN. */
void dw_csv_short(struct dw_buffer *b, double value, int decimals);
/* A number with 17 significant digits, so that reading it gives the same double; empty for NAN. */
void dw_csv_exact(struct dw_buffer *b, double value);

#endif
