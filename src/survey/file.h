/* file.h: the survey file as a container: a header, then records, each whole and checked. While a
 * survey runs it grows at its end, in any order; a killed run leaves whole records and at most
 * one torn one, which the next run cuts off. Finished, it holds one record a shot in the order
 * of the shot table, so that its bytes depend on nothing but the shots. */
#ifndef DW_SURVEY_FILE_H
#define DW_SURVEY_FILE_H

#include <daywheel/survey.h>

#include "base/hash.h"

#define DW_SURVEY_VERSION 11 /* raise it whenever a measure is made differently */

/* Opens (or makes) the file and holds it against other processes. keys: one a shot, n of them,
 * copied. Calls take(ctx, i, record) for each shot that the file knows. Damaged, foreign or
 * older files are said and begun anew.
 * Errors: DW_ERR_BUSY, DW_ERR_IO, DW_ERR_FULL, DW_ERR_MEMORY. */
enum dw_status dw_survey_file_open(const char *path, const struct dw_survey_params *params,
                                   const struct dw_hash128 *keys, size_t n,
                                   const struct dw_run *run,
                                   void (*take)(void *ctx, size_t i, const char *record), void *ctx,
                                   struct dw_survey_file **out, struct dw_error *err);
/* The same for reading alone: the file is not made, locked, mended or moved; what it does not know
 * it does not know. Errors: DW_ERR_EMPTY (there is none that can be used: not there, being written,
 * made otherwise), DW_ERR_IO, DW_ERR_MEMORY. */
enum dw_status dw_survey_file_look(const char *path, const struct dw_survey_params *params,
                                   const struct dw_hash128 *keys, size_t n,
                                   void (*take)(void *ctx, size_t i, const char *record), void *ctx,
                                   struct dw_survey_file **out, struct dw_error *err);
/* Whether shot i has a record. */
bool dw_survey_file_knows(const struct dw_survey_file *f, size_t i);
/* Adds the record of shot i. Thread-safe. Errors: DW_ERR_FULL, DW_ERR_IO; the file then stays as
 * it was. */
enum dw_status dw_survey_file_append(struct dw_survey_file *f, size_t i, const char *record,
                                     size_t bytes, struct dw_error *err);
/* Puts the file into its final form if it is not in it already, and lets other processes at it.
 * DW_WARN (said) when there is no room for that: all is there, only not in order. */
enum dw_status dw_survey_file_finish(struct dw_survey_file *f, const struct dw_run *run,
                                     struct dw_error *err);
/* Reads the record of shot i into malloc'd memory. Thread-safe.
 * Errors: DW_ERR_EMPTY (there is none), DW_ERR_IO, DW_ERR_FORMAT, DW_ERR_MEMORY. */
enum dw_status dw_survey_file_read(const struct dw_survey_file *f, size_t i, char **record,
                                   struct dw_error *err);
/* How long the record of shot i is, bytes; 0: there is none. */
size_t dw_survey_file_length(const struct dw_survey_file *f, size_t i);
/* Reads `bytes` of the record of shot i, beginning `from` bytes into it, unchecked. Thread-safe.
 * Errors: DW_ERR_IO; DW_ERR_FORMAT (the record, or the file, ends before). */
enum dw_status dw_survey_file_read_part(const struct dw_survey_file *f, size_t i, size_t from,
                                        size_t bytes, void *out, struct dw_error *err);
void dw_survey_file_close(struct dw_survey_file *f);

#endif
