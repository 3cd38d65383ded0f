/* test_sheet.c: which frames a contact sheet shows, what it says, and that its pages are sound
 * pictures: read back with libjpeg through their pixels. */
#include "check_main.h"
#include "output_shoot.h"

#include "base/atomic_file.h"
#include "output/formats/frame_file.h"
#include "output/paper/paper.h"
#include "output/telling/problems.h"

#include <jpeglib.h>

static struct shoot *s;
static struct dw_survey survey;
static const struct dw_report_params params = {.look = NULL};

static void make(size_t n)
{
    s = shoot_new(n);
    survey = (struct dw_survey){.n = n, .measure = calloc(n, sizeof *survey.measure)};
}

static void teardown(void)
{
    free(survey.measure);
    shoot_free(s);
}

static void blame(size_t i, uint32_t faults, double severity)
{
    s->d.ledger[i].faults = faults;
    s->d.ledger[i].severity = severity;
}

/* Decodes a page; px is malloc'd RGB. */
static unsigned char *read_page(const char *name, int *w, int *h)
{
    struct jpeg_decompress_struct d;
    struct jpeg_error_mgr e;
    FILE *f = fopen(shoot_path(s, name), "rb");
    ck_assert_ptr_nonnull(f);
    d.err = jpeg_std_error(&e);
    jpeg_create_decompress(&d);
    jpeg_stdio_src(&d, f);
    jpeg_save_markers(&d, JPEG_APP0 + 2, 0xffff);
    jpeg_read_header(&d, TRUE);
    JOCTET *icc;
    unsigned icc_n;
    ck_assert(jpeg_read_icc_profile(&d, &icc, &icc_n)); /* a page has a profile, too */
    free(icc);
    jpeg_start_decompress(&d);
    *w = (int)d.output_width;
    *h = (int)d.output_height;
    unsigned char *px = malloc((size_t)*w * (size_t)*h * 3);
    while (d.output_scanline < d.output_height) {
        JSAMPROW row = px + (size_t)d.output_scanline * d.output_width * 3;
        jpeg_read_scanlines(&d, &row, 1);
    }
    ck_assert_int_eq(e.num_warnings, 0);
    jpeg_destroy_decompress(&d);
    fclose(f);
    return px;
}

/* Share of pixels darker than mid-grey in a box: ink. */
static double ink(const unsigned char *px, int w, int x0, int y0, int x1, int y1)
{
    int n = 0;
    for (int y = y0; y < y1; y++)
        for (int x = x0; x < x1; x++)
            n += px[((size_t)y * (size_t)w + (size_t)x) * 3 + 1] < 128;
    return (double)n / ((x1 - x0) * (y1 - y0));
}

START_TEST(no_fault_no_page)
{
    make(5);
    int pages = -1;
    ck_assert_int_eq(dw_write_sheets(s->dir, &s->shots, &survey, &s->d, &params, &pages, NULL),
                     DW_OK);
    ck_assert_int_eq(pages, 0);
    ck_assert_int_ne(access(shoot_path(s, "sheet-1.jpg"), F_OK), 0);
}
END_TEST

START_TEST(a_long_run_shows_first_worst_and_last)
{
    make(60);
    for (size_t i = 10; i < 40; i++)
        blame(i, DW_CLOUD, i == 22 ? 0.9 : 0.4);
    blame(40, DW_BRIGHT | DW_CLOUD, 0.7); /* leads with another fault: a run of its own */
    blame(50, DW_GAP, 0.1);
    blame(51, DW_GAP, 0.2);
    struct dw_problem_run *run;
    struct dw_problem *list;
    size_t n, n_runs, found;
    ck_assert_int_eq(dw_problem_runs(&s->d, &run, &n_runs, &found, NULL), DW_OK);
    ck_assert_int_eq(dw_problems(&s->d, run, n_runs, 240, &list, &n, NULL), DW_OK);
    ck_assert_uint_eq(n_runs, 3);
    ck_assert_uint_eq(found, 33);
    ck_assert_uint_eq(n, 8);
    /* For the eye: before the bright one the nearest clean one, with whose exposure it is shown;
     * before the clouds one that is far enough from their beginning. */
    static const size_t shots[] = {2, 10, 22, 39, 41, 40, 50, 51},
                        like[] = {2, 10, 22, 39, 41, 41, 50, 51},
                        unshown[] = {0, 11, 16, 0, 0, 0, 0, 0}, runs[] = {0, 0, 0, 0, 1, 1, 2, 2};
    static const enum dw_problem_role role[] = {DW_TO_COMPARE,  DW_FIRST_OF_RUN, DW_WORST_OF_RUN,
                                                DW_LAST_OF_RUN, DW_TO_COMPARE,   DW_ONE_OF_FEW,
                                                DW_ONE_OF_FEW,  DW_ONE_OF_FEW};
    for (size_t i = 0; i < 8; i++) {
        ck_assert_uint_eq(list[i].like, like[i]);
        ck_assert_int_eq(list[i].role, role[i]);
        ck_assert_uint_eq(list[i].shot, shots[i]);
        ck_assert_uint_eq(list[i].unshown, unshown[i]);
        ck_assert_uint_eq(list[i].run, runs[i]);
    }
    ck_assert_uint_eq(list[0].run_size, 30);
    ck_assert_uint_eq(run[0].worst, 22);
    free(list);
    free(run);
}
END_TEST

START_TEST(a_neighbour_to_compare_is_clean_and_near)
{
    make(12);
    blame(5, DW_BRIGHT, 0.5);
    blame(4, DW_GAP, 0.1);
    blame(6, DW_GAP, 0.1);
    struct dw_problem_run *run;
    struct dw_problem *list;
    size_t n, n_runs, found;
    ck_assert_int_eq(dw_problem_runs(&s->d, &run, &n_runs, &found, NULL), DW_OK);
    ck_assert_int_eq(dw_problems(&s->d, run, n_runs, 240, &list, &n, NULL), DW_OK);
    ck_assert_uint_eq(n, 4); /* a gap needs none */
    ck_assert_int_eq(list[1].role, DW_TO_COMPARE);
    ck_assert_uint_eq(list[1].shot, 3);
    free(list);
    free(run);
}
END_TEST

START_TEST(too_many_runs_leave_the_mildest_out)
{
    make(100);
    for (size_t i = 0; i < 100; i += 2)
        blame(i, DW_FLASH, (double)i / 100);
    struct dw_problem_run *run;
    struct dw_problem *list;
    size_t n, n_runs, found;
    ck_assert_int_eq(dw_problem_runs(&s->d, &run, &n_runs, &found, NULL), DW_OK);
    ck_assert_uint_eq(found, 50);
    ck_assert_uint_eq(n_runs, 50);
    ck_assert_int_eq(dw_problems(&s->d, run, n_runs, 15, &list, &n, NULL), DW_OK);
    ck_assert_uint_eq(n, 14); /* each with its neighbour */
    for (size_t i = 0; i < n; i += 2) {
        ck_assert_uint_eq(list[i].shot, 85 + i);
        ck_assert_uint_eq(list[i + 1].shot, 86 + i); /* the worst, in order of time */
    }
    free(list);
    free(run);
}
END_TEST

/* A sheet is read along time, also where a short run lies within a long one. */
START_TEST(pictures_stand_in_order_of_time)
{
    make(60);
    for (size_t i = 10; i < 40; i++)
        blame(i, DW_HAZE, i == 14 ? 0.9 : 0.4);
    blame(25, DW_BRIGHT, 1); /* within the haze */
    blame(44, DW_GAP, 0.1);
    blame(45, DW_BRIGHT, 1); /* compared with the one after it, which still stands before it */
    struct dw_problem_run *run;
    struct dw_problem *list;
    size_t n, n_runs, found;
    ck_assert_int_eq(dw_problem_runs(&s->d, &run, &n_runs, &found, NULL), DW_OK);
    ck_assert_int_eq(dw_problems(&s->d, run, n_runs, 240, &list, &n, NULL), DW_OK);
    dw_problems_by_time(list, n);
    static const size_t shots[] = {2, 10, 14, 25, 39, 44, 46, 45};
    ck_assert_uint_eq(n, 8);
    for (size_t i = 0; i < n; i++)
        ck_assert_uint_eq(list[i].shot, shots[i]);
    ck_assert_int_eq(list[1].next, DW_WORST_OF_RUN);
    ck_assert_int_eq(list[2].next, DW_LAST_OF_RUN);
    free(list);
    free(run);
}
END_TEST

/* Dew comes slowly: a shot or two that look clean do not end it, nor does a graver fault within. */
START_TEST(what_creeps_is_one_run)
{
    make(60);
    for (size_t i = 10; i < 40; i++)
        if (i != 15 && i != 16)
            blame(i, DW_SOFT, 0.5);
    blame(20, DW_SOFT | DW_FLASH, 0.9);
    blame(45, DW_SOFT, 0.5); /* five clean ones before it: another run */
    struct dw_problem_run *run;
    size_t n_runs, found;
    ck_assert_int_eq(dw_problem_runs(&s->d, &run, &n_runs, &found, NULL), DW_OK);
    ck_assert_uint_eq(n_runs, 3);
    ck_assert_uint_eq(run[0].first, 10);
    ck_assert_uint_eq(run[0].last, 39);
    ck_assert_uint_eq(run[0].n, 28);
    ck_assert_uint_eq(run[1].first, 20);
    ck_assert_uint_eq(run[1].n, 1);
    ck_assert_uint_eq(run[2].first, 45);
    char text[300];
    dw_problem_run_remedy(&s->shots, &s->d, &run[0], text);
    ck_assert_str_eq(text, "All 28 are kept in the sequence.");
    for (size_t i = 10; i < 13; i++) {
        s->d.ledger[i].use = false;
        s->d.ledger[i].done = i < 12 ? DW_DONE_BRIDGED : DW_DONE_LEFT_OUT;
    }
    free(run);
    ck_assert_int_eq(dw_problem_runs(&s->d, &run, &n_runs, &found, NULL), DW_OK);
    dw_problem_run_remedy(&s->shots, &s->d, &run[0], text);
    ck_assert_str_eq(text, "3 of 28 are left out; 2 of their places are bridged.");
    free(run);
}
END_TEST

START_TEST(sentences_say_what_is_wrong_and_what_was_done)
{
    make(6);
    char text[300];
    blame(2, DW_BRIGHT, 0.5);
    strcpy(s->d.ledger[2].reason, "half of it is clipped");
    dw_problem_reason(&s->d.ledger[2], text);
    ck_assert_str_eq(text, "Half of it is clipped.");
    blame(3, DW_HAZE, 0.5);
    dw_problem_reason(&s->d.ledger[3], text); /* a judge that gave no reason */
    ck_assert_str_eq(text, "Contrast is lost: fog or haze.");
    dw_problem_remedy(&s->shots, &s->d, 3, text);
    ck_assert_str_eq(text, "Used in frame 4.");
    struct dw_ledger_row *row = &s->d.ledger[2];
    row->use = false;
    row->frame = 0;
    row->done = DW_DONE_BRIDGED;
    row->bridge[0] = 1;
    row->bridge[1] = 3;
    dw_problem_remedy(&s->shots, &s->d, 2, text);
    ck_assert_str_eq(text, "Left out; mixed from INV_0002.DNG and INV_0004.DNG in its place.");
    row->bridge[0] = 3;
    dw_problem_remedy(&s->shots, &s->d, 2, text);
    ck_assert_str_eq(text, "Left out; INV_0004.DNG is shown again in its place.");
    row->done = DW_DONE_LEFT_OUT;
    dw_problem_remedy(&s->shots, &s->d, 2, text);
    ck_assert_str_eq(text, "Left out, with no frame in its place.");
    blame(3, DW_GAP, 0.2);
    s->d.ledger[3].frame = 5;
    s->d.ledger[3].bridged_before = 1;
    dw_problem_remedy(&s->shots, &s->d, 3, text);
    ck_assert_str_eq(text, "Used in frame 5; 1 frame before it is bridged.");
    s->d.ledger[3].done = DW_DONE_SPARE;
    s->d.ledger[3].frame = 0;
    dw_problem_remedy(&s->shots, &s->d, 3, text);
    ck_assert_str_eq(text, "Good enough to be used, but no frame needs it.");
    blame(4, DW_MOVED, 0.8);
    s->d.frame[4].source[0].shift_x = -2;
    dw_problem_remedy(&s->shots, &s->d, 4, text);
    ck_assert_str_eq(text, "Used in frame 5, moved back to where the camera stood before.");
    s->d.frame[4].source[0].shift_x = 0; /* too far: it stays displaced */
    dw_problem_remedy(&s->shots, &s->d, 4, text);
    ck_assert_str_eq(text, "Used in frame 5.");
}
END_TEST

START_TEST(pages_are_sound_pictures_with_ink_where_words_belong)
{
    make(60);
    for (size_t i = 0; i < 26; i += 2) {
        blame(i, DW_UNREADABLE, 1);
        snprintf(s->d.ledger[i].reason, 200, "the file is cut short");
        s->d.ledger[i].use = false;
    }
    free(s->shots.shot[4].name);
    s->shots.shot[4].name = shoot_copy("bytes \xff\xfe that are no text, and a name so long that "
                                       "it cannot ever fit into one cell of the sheet.DNG");
    int pages = 0, w, h;
    enum dw_status st = dw_write_sheets(s->dir, &s->shots, &survey, &s->d, &params, &pages, NULL);
    ck_assert_int_ge(st, DW_OK); /* DW_WARN on a machine without fonts */
    ck_assert_int_eq(pages, 2);
    unsigned char *px = read_page("sheet-1.jpg", &w, &h);
    ck_assert_int_eq(w, 2000);
    ck_assert_int_eq(h, 1414);
    ck_assert_double_gt(ink(px, w, 70, 45, 500, 85), 0.03);        /* title */
    ck_assert_double_gt(ink(px, w, 70, 408, 300, 432), 0.03);      /* first name */
    ck_assert_double_gt(ink(px, w, 1700, 1360, 1930, 1385), 0.01); /* page number */
    ck_assert_double_eq(ink(px, w, 0, 0, 60, h), 0);               /* margins stay empty */
    ck_assert_double_eq(ink(px, w, 1940, 0, 2000, h), 0);
    free(px);
    px = read_page("sheet-2.jpg", &w, &h);
    ck_assert_double_gt(ink(px, w, 70, 408, 300, 432), 0.03);
    ck_assert_double_lt(ink(px, w, 600, 408, 1900, h - 60), 1e-4); /* one cell only */
    ck_assert_int_eq(h, 1414 - 2 * 398);                           /* and no empty rows below it */
    ck_assert_double_gt(ink(px, w, 1700, h - 54, 1930, h - 29), 0.01); /* the page's number */
    free(px);
    /* A later run with one page takes its own second page away, a person's third stays. */
    ck_assert_int_eq(dw_write_whole(shoot_path(s, "sheet-3.jpg"), "mine", 4, false, NULL), DW_OK);
    for (size_t i = 6; i < 26; i++)
        blame(i, 0, 0);
    ck_assert_int_ge(dw_write_sheets(s->dir, &s->shots, &survey, &s->d, &params, &pages, NULL),
                     DW_OK);
    ck_assert_int_eq(pages, 1);
    ck_assert_int_ne(access(shoot_path(s, "sheet-2.jpg"), F_OK), 0);
    ck_assert_int_eq(access(shoot_path(s, "sheet-3.jpg"), F_OK), 0);
}
END_TEST

START_TEST(pages_are_the_same_in_every_run)
{
    make(8);
    blame(3, DW_MOVED, 1);
    char *first, *second;
    size_t n, k;
    int pages;
    ck_assert_int_ge(dw_write_sheets(s->dir, &s->shots, &survey, &s->d, &params, &pages, NULL),
                     DW_OK);
    ck_assert_int_eq(dw_read_whole(shoot_path(s, "sheet-1.jpg"), 1 << 24, &first, &n, NULL), DW_OK);
    sleep(1);
    ck_assert_int_ge(dw_write_sheets(s->dir, &s->shots, &survey, &s->d, &params, &pages, NULL),
                     DW_OK);
    ck_assert_int_eq(dw_read_whole(shoot_path(s, "sheet-1.jpg"), 1 << 24, &second, &k, NULL),
                     DW_OK);
    ck_assert_uint_eq(n, k);
    ck_assert_mem_eq(first, second, n);
    free(first);
    free(second);
}
END_TEST

/* The sheet of the whole shoot stands there without a fault, too, and one PDF holds all pages; it
 * is read back with somebody else's reader. */
START_TEST(the_whole_shoot_and_a_pdf_for_print)
{
    make(60);
    int pages, w, h;
    for (size_t i = 0; i < 60; i++)
        s->d.ledger[i].utc_s = SHOOT_START + 1800.0 * (double)i; /* 30 hours: two pages */
    blame(3, DW_MOVED, 1);
    ck_assert_int_ge(dw_write_sheets(s->dir, &s->shots, &survey, &s->d, &params, &pages, NULL),
                     DW_OK);
    ck_assert_int_eq(pages, 1);
    unsigned char *px = read_page("whole-1.jpg", &w, &h);
    ck_assert_int_eq(w, 2000);
    ck_assert_double_gt(ink(px, w, 70, 45, 500, 85), 0.03);   /* title */
    ck_assert_double_gt(ink(px, w, 70, 338, 160, 360), 0.03); /* the first row's hour */
    ck_assert_double_eq(ink(px, w, 1940, 0, 2000, h), 0);
    /* night and day as grounds: the timeline is darker at midnight than at noon (invented site near
     * Greenwich, 21 June) */
    ck_assert_int_lt(px[(200 * (size_t)w + 90) * 3], px[(200 * (size_t)w + 790) * 3]);
    free(px);
    free(read_page("whole-2.jpg", &w, &h));
    char *first, *second;
    size_t n, k;
    ck_assert_int_eq(dw_read_whole(shoot_path(s, "sheets.pdf"), 1 << 24, &first, &n, NULL), DW_OK);
    ck_assert_int_eq(strncmp(first, "%PDF-1", 6), 0);
    if (shoot_has_program("pdfinfo")) {
        char command[400], said[4000];
        snprintf(command, sizeof command, "pdfinfo %s", shoot_path(s, "sheets.pdf"));
        ck_assert_int_eq(shoot_run(command, said, sizeof said), 0);
        ck_assert_msg(strstr(said, "Pages:           3") && strstr(said, "(A4)"), "%s", said);
    } else {
        fprintf(stderr, "# pdfinfo is not here: the pages of the PDF were not counted\n");
    }
    sleep(1);
    ck_assert_int_ge(dw_write_sheets(s->dir, &s->shots, &survey, &s->d, &params, &pages, NULL),
                     DW_OK);
    ck_assert_int_eq(dw_read_whole(shoot_path(s, "sheets.pdf"), 1 << 24, &second, &k, NULL), DW_OK);
    ck_assert_uint_eq(n, k);
    ck_assert_mem_eq(first, second, n); /* no time of writing in it */
    free(first);
    free(second);
    for (size_t i = 0; i < 60; i++)
        s->d.ledger[i].utc_s = SHOOT_START + 20.0 * (double)i;
    ck_assert_int_ge(dw_write_sheets(s->dir, &s->shots, &survey, &s->d, &params, &pages, NULL),
                     DW_OK);
    ck_assert_int_ne(access(shoot_path(s, "whole-2.jpg"), F_OK), 0); /* of the longer one before */
    free(read_page("whole-1.jpg", &w, &h));
    ck_assert_int_eq(h, 1414 - 8 * 113); /* twenty minutes are one row */
}
END_TEST

START_TEST(words_wrap_and_end_in_an_ellipsis)
{
    make(2);
    struct dw_paper p;
    const struct dw_letters l = {20, false, {0, 0, 0}};
    ck_assert_int_eq(dw_paper_new(400, 200, (struct dw_ink){1, 1, 1}, &p, NULL), DW_OK);
    ck_assert_int_eq(dw_paper_words(&p, 0, 20, 390, 3, 25, &l, ""), 0);
    ck_assert_int_eq(dw_paper_words(&p, 0, 20, 390, 3, 25, &l, "short"), 1);
    const char *text = "a sentence with quite a few words that cannot stand in a single line";
    int lines = dw_paper_words(&p, 0, 20, 200, 9, 25, &l, text);
    ck_assert_int_ge(lines, 3); /* how many depends on the font that is there */
    ck_assert_int_le(lines, 6);
    ck_assert_int_eq(dw_paper_words(&p, 0, 20, 200, 2, 25, &l, text), 2);
    ck_assert_int_eq(dw_paper_words(&p, 0, 20, 40, 2, 25, &l, "Unbreakableword"), 1);
    ck_assert_double_le(dw_paper_line(&p, 0, 20, 120, DW_LEFT, &l, text), 120);
    ck_assert_double_gt(dw_paper_line(&p, 0, 20, 120, DW_LEFT, &l, text), 60);
    ck_assert_int_eq(cairo_status(p.c), CAIRO_STATUS_SUCCESS);
    dw_paper_free(&p);
    ck_assert_int_eq(dw_paper_new(40000, 200, (struct dw_ink){1, 1, 1}, &p, NULL), DW_ERR_USAGE);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("sheet");
    TCase *c = tcase_create("sheet");
    tcase_add_checked_fixture(c, NULL, teardown);
    tcase_add_test(c, no_fault_no_page);
    tcase_add_test(c, a_long_run_shows_first_worst_and_last);
    tcase_add_test(c, a_neighbour_to_compare_is_clean_and_near);
    tcase_add_test(c, too_many_runs_leave_the_mildest_out);
    tcase_add_test(c, pictures_stand_in_order_of_time);
    tcase_add_test(c, what_creeps_is_one_run);
    tcase_add_test(c, sentences_say_what_is_wrong_and_what_was_done);
    tcase_add_test(c, pages_are_sound_pictures_with_ink_where_words_belong);
    tcase_add_test(c, pages_are_the_same_in_every_run);
    tcase_add_test(c, the_whole_shoot_and_a_pdf_for_print);
    tcase_add_test(c, words_wrap_and_end_in_an_ellipsis);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
