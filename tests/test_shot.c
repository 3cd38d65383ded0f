/* test_shot.c: from folders to the shot table. The frames are invented (tiny_dng.h) or real. */
#include "check_main.h"

#include "scan_fixture.h"

START_TEST(what_is_no_frame_is_counted_apart)
{
    put_frame("I_0001.DNG", 0);
    put_frame("I_0002.DNG", 20);
    folder("deeper");
    put_frame("deeper/I_0003.dng", 40);
    put("I_0001.JPG", "\xff\xd8\xff\xe0 small");
    put("holiday.jpeg", "\xff\xd8\xff\xe0 small");
    put("I_0001.xmp", "<x/>");
    put("I_0002.DNG.xmp", "<x/>");
    put("I_0002.THM", "\xff\xd8\xff\xe0 small");
    put("I_0002.note", "words");
    put("film.MOV", "....ftypqt  ");
    put("notes.txt", "words");
    put(".hidden.DNG", "words");
    put("Thumbs.db", "words");
    folder(".Trash");
    put(".Trash/I_0009.DNG", "words");
    struct dw_shots s = scan();
    ck_assert_uint_eq(s.n, 3);
    ck_assert_uint_eq(s.counts.frames, 3);
    ck_assert_uint_eq(s.counts.raw_jpeg_pairs, 1);
    ck_assert_uint_eq(s.counts.pictures, 1);
    ck_assert_uint_eq(s.counts.sidecars, 4);
    ck_assert_uint_eq(s.counts.videos, 1);
    ck_assert_uint_eq(s.counts.other, 1);
    ck_assert_uint_eq(s.counts.system, 3);
    ck_assert_uint_eq(s.counts.unreadable, 0);
    dw_shots_free(&s);
}
END_TEST

START_TEST(the_decoder_decides_not_the_suffix)
{
    put_frame("frame-without-suffix", 0);
    put_frame("frame.jpg", 20);
    struct dw_shots s = scan();
    ck_assert_uint_eq(s.counts.frames, 2);
    dw_shots_free(&s);
}
END_TEST

START_TEST(the_same_file_twice_is_used_once)
{
    put_frame("I_0001.DNG", 0);
    put_frame("I_0002.DNG", 20);
    folder("backup");
    put_frame("backup/I_0002.DNG", 20); /* same bytes, same name */
    put_frame("backup/copy.DNG", 0);    /* same bytes, another name */
    ck_assert_int_eq(link(in_dir("I_0001.DNG"), in_dir("hard.DNG")), 0);
    ck_assert_int_eq(symlink("I_0001.DNG", in_dir("soft.DNG")), 0);
    ck_assert_int_eq(symlink(".", in_dir("loop")), 0); /* a folder within itself */
    struct dw_shots s;
    const char *in[] = {dir, in_dir("I_0001.DNG"), dir};
    ck_assert_int_eq(scan_of(in, 3, NULL, 2, &s), DW_OK);
    ck_assert_uint_eq(s.n, 2);
    ck_assert_uint_eq(s.counts.duplicates, 5);
    ck_assert_ptr_nonnull(strstr(heard.text, "given twice"));
    dw_shots_free(&s);
}
END_TEST

START_TEST(frames_that_only_look_alike_are_kept)
{
    struct tiny_dng t = TINY_DNG; /* equal in size, record and first rows: a burst in one second */
    uint16_t px[64 * 1200];
    tiny_picture(px, 64, 1200, 512, 15000, 40, 5);
    t.height = 1200;
    t.px = px;
    tiny_write(in_dir("I_0001.DNG"), &t);
    px[64 * 1199] ^= 1; /* far behind the first 64 KiB */
    tiny_write(in_dir("I_0002.DNG"), &t);
    struct dw_shots s = scan();
    ck_assert_uint_eq(s.n, 2);
    ck_assert_uint_eq(s.shot[0].id.head_hash, s.shot[1].id.head_hash);
    dw_shots_free(&s);
}
END_TEST

START_TEST(a_list_on_standard_input)
{
    put_frame("I_0001.DNG", 0);
    put_frame("with blank.DNG", 20);
    put_frame("I_0003.DNG", 40);
    char list[700];
    snprintf(list, sizeof list, "%s/I_0001.DNG\r\n\n%s/with blank.DNG", dir, dir);
    put("list", list);
    ck_assert_ptr_nonnull(freopen(in_dir("list"), "r", stdin));
    struct dw_shots s;
    const char *in[] = {"-"};
    ck_assert_int_eq(scan_of(in, 1, NULL, 2, &s), DW_OK);
    expect_order(&s, "I_0001 with blank");
    dw_shots_free(&s);
}
END_TEST

START_TEST(two_cameras_are_named_and_one_can_be_chosen)
{
    char name[64];
    for (int i = 0; i < 5; i++) {
        snprintf(name, sizeof name, "I_%04d.DNG", i);
        put_frame(name, 20.0 * i);
    }
    for (int i = 0; i < 7; i++) {
        snprintf(name, sizeof name, "B_%04d.DNG", i);
        struct tiny_dng t = frame_at(20.0 * i + 7);
        t.model = "Othercam";
        tiny_write(in_dir(name), &t);
    }
    put("I_0001.CR2", "broken, of an unknown camera");
    struct dw_shots s;
    const char *in[] = {dir};
    ck_assert_int_eq(scan_of(in, 1, NULL, 2, &s), DW_ERR_MIXED);
    ck_assert_ptr_null(s.shot);
    static const char *const said[] = {"7 of Invented Othercam, 64x48", "5 of Invented Testcam",
                                       "I_0000.DNG", "--only 'Othercam'"};
    for (size_t i = 0; i < 4; i++)
        ck_assert_msg(strstr(error.text, said[i]) != NULL, "'%s' in: %s", said[i], error.text);
    ck_assert_int_eq(scan_of(in, 1, "testcam", 2, &s), DW_OK);
    ck_assert_uint_eq(s.counts.frames, 5);
    ck_assert_uint_eq(s.counts.unreadable, 1);
    dw_shots_free(&s);
    ck_assert_int_eq(scan_of(in, 1, "Invented Othercam", 2, &s), DW_OK);
    ck_assert_uint_eq(s.counts.frames, 7);
    dw_shots_free(&s);
    ck_assert_int_eq(scan_of(in, 1, "Nocam", 2, &s), DW_ERR_EMPTY);
    ck_assert_ptr_nonnull(strstr(error.text, "Testcam"));
}
END_TEST

/* A damaged record is no camera that a person could choose. */
START_TEST(a_model_that_nobody_can_type_is_not_suggested)
{
    static const char *const broken[] = {"\x14\x02 cam", "it's", "caf\xe9"};
    for (int i = 0; i < 3; i++) {
        put_frame("I_0001.DNG", 0);
        struct tiny_dng t = frame_at(20);
        t.model = broken[i];
        tiny_write(in_dir("I_0002.DNG"), &t);
        t = frame_at(40);
        t.model = broken[i];
        tiny_write(in_dir("I_0003.DNG"), &t);
        struct dw_shots s;
        const char *in[] = {dir};
        ck_assert_int_eq(scan_of(in, 1, NULL, 1, &s), DW_ERR_MIXED);
        ck_assert_msg(strstr(error.text, "--only 'Testcam'") != NULL, "%s", error.text);
    }
}
END_TEST

static void odd_one(struct tiny_dng odd, const char *saying)
{
    put_frame("I_0001.DNG", 0);
    put_frame("I_0002.DNG", 20);
    odd.seed = 77;
    tiny_write(in_dir("I_0003.DNG"), &odd);
    struct dw_shots s;
    const char *in[] = {dir};
    ck_assert_int_eq(scan_of(in, 1, NULL, 2, &s), DW_ERR_MIXED);
    ck_assert_msg(strstr(error.text, saying) && strstr(error.text, "I_0003.DNG") &&
                      strstr(error.text, "move the odd files elsewhere"),
                  "%s", error.text);
    ck_assert_ptr_null(strstr(error.text, "I_0002"));
}
START_TEST(two_sizes_are_an_error)
{
    struct tiny_dng t = TINY_DNG;
    t.width = 96;
    odd_one(t, "1 of Invented Testcam, 96x48");
}
END_TEST
START_TEST(two_orientations_are_an_error)
{
    struct tiny_dng t = TINY_DNG;
    t.orientation = 6;
    odd_one(t, "turned by 90 degrees");
}
END_TEST
START_TEST(two_bodies_of_one_model_are_an_error)
{
    struct tiny_dng t = TINY_DNG;
    t.serial = "B-2";
    put_frame("I_0000.DNG", -20);
    struct tiny_dng a = frame_at(-40);
    a.serial = "A-1";
    tiny_write(in_dir("I_0009.DNG"), &a);
    tiny_write(in_dir("I_0003.DNG"), &t);
    struct dw_shots s;
    const char *in[] = {dir};
    ck_assert_int_eq(scan_of(in, 1, NULL, 2, &s), DW_ERR_MIXED);
    ck_assert_ptr_nonnull(strstr(error.text, "serial number"));
}
END_TEST
START_TEST(two_bit_depths_are_an_error)
{
    struct tiny_dng t = TINY_DNG;
    t.white = 4095;
    odd_one(t, "white level");
}
END_TEST

START_TEST(nothing_to_work_on_says_what_was_there)
{
    struct dw_shots s;
    const char *in[] = {dir};
    ck_assert_int_eq(scan_of(in, 1, NULL, 2, &s), DW_ERR_EMPTY);
    ck_assert_ptr_nonnull(strstr(error.text, "found nothing at all"));
    put("a.jpg", "\xff\xd8\xff\xe0 small");
    put("b.jpg", "\xff\xd8\xff\xe0 other");
    put("c.mp4", "film");
    ck_assert_int_eq(scan_of(in, 1, NULL, 2, &s), DW_ERR_EMPTY);
    ck_assert_ptr_nonnull(strstr(error.text, "2 pictures"));
    ck_assert_ptr_nonnull(strstr(error.text, "1 video"));
    ck_assert_ptr_nonnull(strstr(error.text, "RAW files of the camera"));
    put("d.nef", "");
    ck_assert_int_eq(scan_of(in, 1, NULL, 2, &s), DW_ERR_EMPTY);
    ck_assert_ptr_nonnull(strstr(error.text, "1 unreadable RAW file"));
    ck_assert_ptr_nonnull(strstr(error.text, "is empty (0 bytes)"));
    const char *absent[] = {"/tmp/no-such-folder-of-frames"};
    ck_assert_int_eq(scan_of(absent, 1, NULL, 2, &s), DW_ERR_IO);
    ck_assert_ptr_nonnull(strstr(error.text, "/tmp/no-such-folder-of-frames: no such file"));
    const char *device[] = {"/dev/null"};
    ck_assert_int_eq(scan_of(device, 1, NULL, 2, &s), DW_ERR_IO);
    dw_shots_free(&s);
}
END_TEST

START_TEST(a_stopped_scan_says_so)
{
    put_frame("I_0001.DNG", 0);
    atomic_int stop = 1;
    struct dw_run run = {.jobs = 2, .stop = &stop};
    struct dw_shots s;
    const char *in[] = {dir};
    ck_assert_int_eq(dw_scan(in, 1, NULL, &run, &s, &error), DW_ERR_INTERRUPTED);
    ck_assert_ptr_null(s.shot);
}
END_TEST

static bool same_row(const struct dw_shot *a, const struct dw_shot *b)
{
    return strcmp(a->path, b->path) == 0 && a->clock_s == b->clock_s && a->width == b->width &&
           a->id.head_hash == b->id.head_hash && a->id.size == b->id.size &&
           (a->shutter_s == b->shutter_s || isnan(a->shutter_s)) &&
           strcmp(a->problem, b->problem) == 0 && a->clock_guessed == b->clock_guessed;
}
START_TEST(the_table_is_the_same_for_any_number_of_workers)
{
    char name[64];
    for (int i = 0; i < 200; i++) {
        snprintf(name, sizeof name, "I_%04d.DNG", i * 37 % 200);
        if (i % 19 == 5)
            put(name, "broken");
        else
            put_frame(name, 3.0 * (i * 37 % 200));
    }
    static const int jobs[] = {1, 2, 3, 8};
    struct dw_shots s[4];
    const char *in[] = {dir};
    for (int k = 0; k < 4; k++) {
        ck_assert_int_eq(scan_of(in, 1, NULL, jobs[k], &s[k]), DW_OK);
        ck_assert_uint_eq(s[k].n, 200);
        for (size_t i = 0; i < 200; i++)
            ck_assert(same_row(&s[0].shot[i], &s[k].shot[i]));
    }
    for (int k = 0; k < 4; k++)
        dw_shots_free(&s[k]);
}
END_TEST

START_TEST(records_are_read_as_written)
{
    struct tiny_dng t = frame_at(3.07);
    t.shutter[0] = 30;
    t.shutter[1] = 1;
    t.iso = 65535;
    t.rei = 102400;
    t.orientation = 8;
    t.serial = "  A\x01\xff"
               "7 ";
    t.offset_original = "+00:00";
    t.gps = true;
    memcpy(t.lat, (uint32_t[]){51, 1, 28, 1, 4044, 100}, sizeof t.lat);
    memcpy(t.lon, (uint32_t[]){33, 1, 521281, 10000, 0, 1}, sizeof t.lon);
    t.lat_ref = 'N';
    t.lon_ref = 'W';
    tiny_write(in_dir("IMG_0042.DNG"), &t);
    struct dw_shots s = scan();
    const struct dw_shot *h = &s.shot[0];
    ck_assert_str_eq(h->make, "Invented");
    ck_assert_str_eq(h->model, "Testcam");
    ck_assert_str_eq(h->serial, "A\\x01\\xff7");
    ck_assert_int_eq(h->width, 64);
    ck_assert_int_eq(h->height, 48);
    ck_assert_int_eq(h->turn_deg, 270);
    ck_assert_int_eq(h->cfa, DW_CFA_BAYER);
    ck_assert(h->has_cam_xyz);
    ck_assert_double_eq_tol((double)h->cam_xyz[3], -0.4, 1e-5);
    ck_assert_double_eq((double)h->daylight_mul[1], 0); /* no table of its own */
    ck_assert_double_eq_tol(h->clock_s, START_CLOCK + 3.07, 1e-6);
    ck_assert(h->has_offset && h->offset_s == 0); /* a zero offset is not a missing one */
    ck_assert(h->has_gps);
    ck_assert_double_eq_tol(h->lat_deg, 51.4779, 1e-9);
    ck_assert_double_eq_tol(h->lon_deg, -33.8688017, 1e-6);
    ck_assert_int_eq((int)h->file_number, 42);
    ck_assert_double_eq(h->shutter_marked_s, 30);
    ck_assert_double_eq_tol(h->shutter_s, 32, 1e-9);
    ck_assert_double_eq(h->iso, 102400);
    ck_assert_double_eq_tol(h->f_number, sqrt(8), 1e-9);
    ck_assert_double_eq_tol(h->ev100, 3 - 5 - 10, 1e-9);
    dw_shots_free(&s);
}
END_TEST

START_TEST(lenses_without_contacts_and_missing_records)
{
    struct tiny_dng t = frame_at(0);
    t.f[0] = 0;
    t.f[1] = 10;
    tiny_write(in_dir("I_0001.DNG"), &t);
    t = frame_at(20);
    t.f[0] = t.f[1] = 0;
    t.f_zero_by_zero = true;
    tiny_write(in_dir("I_0002.DNG"), &t);
    t = frame_at(40);
    t.f[0] = t.f[1] = 0;
    tiny_write(in_dir("I_0003.DNG"), &t);
    t = frame_at(60);
    t.shutter[0] = t.shutter[1] = 0;
    t.iso = 0;
    tiny_write(in_dir("I_0004.DNG"), &t);
    struct dw_shots s = scan();
    for (size_t i = 0; i < 3; i++) {
        ck_assert(!s.shot[i].has_aperture);
        ck_assert_double_eq_tol(s.shot[i].ev100, 6, 1e-9);
    }
    ck_assert(!s.shot[3].has_shutter && !s.shot[3].has_iso && isnan(s.shot[3].ev100));
    dw_shots_free(&s);
}
END_TEST

START_TEST(the_whole_shoot_tells_how_the_camera_times)
{
    struct tiny_dng t = frame_at(0);
    t.tv[0] = 5906891;
    t.tv[1] = 1000000;
    tiny_write(in_dir("I_0001.DNG"), &t); /* 1/60 s beside -log2(1/60): exact */
    t = frame_at(20);
    t.shutter[0] = 30;
    t.shutter[1] = 1;
    tiny_write(in_dir("I_0002.DNG"), &t); /* says nothing itself, but is of the same camera */
    struct dw_shots s = scan();
    ck_assert_double_eq(s.shot[1].shutter_s, 30);
    ck_assert_ptr_nonnull(strstr(heard.text, "times its marks exactly"));
    dw_shots_free(&s);
}
END_TEST

START_TEST(a_freely_running_shutter_is_taken_at_its_word)
{
    for (uint32_t i = 0; i < 6; i++) {
        char name[64];
        snprintf(name, sizeof name, "I_%04u.DNG", i);
        struct tiny_dng t = frame_at(20.0 * i);
        t.shutter[1] = 57 + i; /* 1/57 .. 1/62, among them 1/60 */
        tiny_write(in_dir(name), &t);
    }
    struct dw_shots s = scan();
    ck_assert_double_eq_tol(s.shot[3].shutter_s, 1 / 60., 1e-9);
    ck_assert_ptr_nonnull(strstr(heard.text, "off the third-stop series"));
    dw_shots_free(&s);
}
END_TEST

START_TEST(offsets_of_another_time_are_not_taken)
{
    struct tiny_dng t = frame_at(0);
    t.modified = "2025:04:01 09:00:00"; /* a converter's own zone */
    t.offset_modified = "+05:00";
    tiny_write(in_dir("I_0001.DNG"), &t);
    struct dw_shots s = scan();
    ck_assert(!s.shot[0].has_offset);
    dw_shots_free(&s);
    t = frame_at(0);
    t.modified = t.original;
    t.offset_modified = "+05:00";
    tiny_write(in_dir("I_0001.DNG"), &t);
    s = scan();
    ck_assert(s.shot[0].has_offset && s.shot[0].offset_s == 18000);
    dw_shots_free(&s);
}
END_TEST

START_TEST(position_fixes_tell_the_offset)
{
    for (uint32_t i = 0; i < 4; i++) {
        char name[64];
        snprintf(name, sizeof name, "I_%04u.DNG", i);
        struct tiny_dng t = frame_at(20.0 * i); /* 20:00 by the camera, 17:00 UTC */
        t.gps = true;
        t.gps_date = "2025:03:28";
        memcpy(t.gps_time, (uint32_t[]){17, 0, 20 * i}, sizeof t.gps_time);
        tiny_write(in_dir(name), &t);
    }
    struct dw_shots s = scan();
    for (size_t i = 0; i < 4; i++)
        ck_assert(s.shot[i].has_offset && s.shot[i].offset_s == 3 * 3600 && !s.shot[i].has_gps);
    ck_assert_ptr_nonnull(strstr(heard.text, "UTC+3.00 h"));
    dw_shots_free(&s);
}
END_TEST

START_TEST(the_time_zone_of_the_machine_does_not_matter)
{
    static const char *const zones[] = {"UTC0", "America/New_York", "Asia/Kathmandu", "XYZ-14"};
    struct tiny_dng t = TINY_DNG;
    t.original = NULL;
    t.modified = "1997:04:23 08:00:47"; /* what old formats hold alone */
    tiny_write(in_dir("I_0001.DNG"), &t);
    for (size_t i = 0; i < 4; i++) {
        setenv("TZ", zones[i], 1);
        struct dw_shots s = scan();
        ck_assert_double_eq(s.shot[0].clock_s, 861782447);
        dw_shots_free(&s);
    }
}
END_TEST

START_TEST(a_folder_that_cannot_be_read_is_passed_over)
{
    if (geteuid() == 0)
        return; /* nothing is closed to root */
    put_frame("I_0001.DNG", 0);
    folder("closed");
    ck_assert_int_eq(chmod(in_dir("closed"), 0), 0);
    struct dw_shots s = scan();
    ck_assert_uint_eq(s.n, 1);
    ck_assert_ptr_nonnull(strstr(heard.text, "cannot be read and is passed over"));
    dw_shots_free(&s);
}
END_TEST

/* Real files, each alone: what it must come to. Needs DAYWHEEL_REAL_DATA. */
static const struct real {
    const char *file;
    double clock, shutter, f, iso; /* NAN: none recorded; marks as read */
    bool offset;
    int offset_s;
    bool gps;
    double lat, lon;
} real[] = {
    {"real-chart-14bit.dng", NAN, NAN, NAN, NAN, false, 0, false, 0, 0},
    {"real/nikon-d1.nef", 974638910.24, 1 / 250., 7.6, 200, false, 0, false, 0, 0},
    {"real/canon-d30-5s.crw", 1514811812, 4.967, 5.596, 100, false, 0, false, 0, 0},
    {"real/kodak-dc50.kdc", 861782447, 1 / 230., 6.2, 84, false, 0, false, 0, 0},
    {"real/nikon-d500-linear-lossy.dng", 1784586059.43, 1 / 1600., 2.8, 400, false, 0, false, 0, 0},
    {"real/lg-g4-linear-lossy-gps.dng", 1447346778, 1 / 250., 1.8, 800, false, 0, true, 53.834508,
     10.695850},
    {"stubs/canon-m50.cr3", 1519214936.21, 1 / 80., 3.5, 12800, true, 0, false, 0, 0},
    {"stubs/contax-n-digital.raw", 1121537670, 1 / 125., 11.3137, 100, false, 0, false, 0, 0},
    {"stubs/minolta-a2.mrw", 1100819698, 1 / 5., 2.8, 64, false, 0, false, 0, 0},
    {"odd/fuzz-1827.crw", 1114278876, NAN, NAN, NAN, false, 0, false, 0, 0},
};
/* Files that must be refused at the scan, with a word that the reason must hold. */
static const char *const refused[][2] = {
    {"odd/gopro-fusion-front.gpr", "not supported"},
    {"stubs/nikon-z9-30s-jxl.dng", "not supported"},
    {"stubs/sigma-dp2.x3f", "not supported"},
    {"stubs/canon-r6-pruned.cr3", "not supported"},
    {"stubs/canon-r6-gps.cr3", "cut short"},
    {"stubs/canon-t5i.cr2", "cut short"},
    {"stubs/sony-zv-e10.arw", "cut short"},
    {"stubs/leica-m10.dng", "cut short"},
    {"stubs/sony-a7m3-f0.arw", "cut short"},
    {"stubs/apple-iphone12pro-proraw.dng", "cut short"},
    {"odd/cut-sony-a55-silent.arw", "cut short"},
    {"odd/cut-sony-a330.arw", "cut short"},
    {"odd/cut-canon-sd450.dng", "cut short"},
    {"odd/head-128bytes.orf", "cut short"},
    {"odd/fuzz-9324-20bytes.crw", "cut short"},
    {"odd/fuzz-1838.crw", "damaged"},
    {"odd/fuzz-839.rw2", "damaged"},
    {"odd/fuzz-857.raf", "cut short"},
    {"odd/headerless-768x512-rggb.raw", "no header"},
    {"odd/headerless-768x512-rggb-badpixels.raw", "no header"},
    {"real/kodak-c330-yrgb.raw", "no header"},
    {"stubs/fuji-s5pro.raf", "45 degrees"},
    {"stubs/fuji-xt4.raf", "does not begin like a RAW file"},
    {"stubs/pentax-k7-8x8.pef", "not supported"},
    {"odd/not-raw-nikon-d1x.tif", "1 picture"},
};

static const char *real_data(void)
{
    const char *root = getenv("DAYWHEEL_REAL_DATA");
    if (!root)
        fprintf(stderr, "# skipped: DAYWHEEL_REAL_DATA names no folder of real frames\n");
    return root;
}
static void close_enough(double got, double want, double tolerance, const char *what,
                         const char *file)
{
    ck_assert_msg(isnan(want) ? isnan(got) : fabs(got - want) <= tolerance, "%s: %s %.6f, not %.6f",
                  file, what, got, want);
}

START_TEST(real_records)
{
    const char *root = real_data();
    if (!root)
        return;
    setenv("TZ", _i % 2 ? "America/New_York" : "Asia/Kathmandu", 1);
    const struct real *r = &real[_i];
    char path[512];
    snprintf(path, sizeof path, "%s/%s", root, r->file);
    struct dw_shots s;
    const char *in[] = {path};
    ck_assert_msg(scan_of(in, 1, NULL, 1, &s) == DW_OK, "%s", error.text);
    const struct dw_shot *h = &s.shot[0];
    ck_assert_msg(h->has_clock == !isnan(r->clock), "%s: clock", r->file);
    if (h->has_clock)
        close_enough(h->clock_s, r->clock, 1e-3, "clock", r->file);
    close_enough(h->shutter_marked_s, r->shutter, 1e-3 * r->shutter, "shutter", r->file);
    close_enough(h->f_marked, r->f, 1e-3, "aperture", r->file);
    close_enough(h->iso_marked, r->iso, 1e-3, "ISO", r->file);
    ck_assert_msg(h->has_offset == r->offset && h->offset_s == r->offset_s, "%s: offset", r->file);
    ck_assert_msg(h->has_gps == r->gps, "%s: position", r->file);
    if (r->gps) {
        close_enough(h->lat_deg, r->lat, 1e-5, "latitude", r->file);
        close_enough(h->lon_deg, r->lon, 1e-5, "longitude", r->file);
    }
    for (const char *c = h->model; *c; c++) /* fuzzed names are made printable */
        ck_assert((unsigned char)*c >= 0x20 && (unsigned char)*c != 0x7f);
    dw_shots_free(&s);
}
END_TEST

/* A camera that balances its samples itself: daylight (D65, CIE 15) is equal in all colours of
 * them. */
START_TEST(balanced_samples_are_not_balanced_again)
{
    const char *root = real_data();
    if (!root)
        return;
    char path[512];
    snprintf(path, sizeof path, "%s/real/nikon-d1.nef", root);
    struct dw_shots s;
    const char *in[] = {path};
    ck_assert_int_eq(scan_of(in, 1, NULL, 1, &s), DW_OK);
    const float *m = s.shot[0].cam_xyz;
    const double d65[3] = {0.95046, 1, 1.08906};
    double level[3] = {0, 0, 0};
    for (int i = 0; i < 9; i++)
        level[i / 3] += (double)m[i] * d65[i % 3];
    ck_assert(s.shot[0].has_cam_xyz);
    ck_assert_double_eq_tol(level[0] / level[1], 1, 1e-3);
    ck_assert_double_eq_tol(level[2] / level[1], 1, 1e-3);
    dw_shots_free(&s);
}
END_TEST

START_TEST(real_files_that_are_no_frames)
{
    const char *root = real_data();
    if (!root)
        return;
    char path[512];
    snprintf(path, sizeof path, "%s/%s", root, refused[_i][0]);
    struct dw_shots s;
    const char *in[] = {path};
    ck_assert_int_eq(scan_of(in, 1, NULL, 1, &s), DW_ERR_EMPTY);
    ck_assert_msg(strstr(error.text, refused[_i][1]) != NULL, "%s: %s", refused[_i][0], error.text);
}
END_TEST

START_TEST(all_real_files_together_are_mixed_and_one_model_can_be_chosen)
{
    const char *root = real_data();
    if (!root)
        return;
    struct dw_shots s;
    const char *in[] = {root};
    ck_assert_int_eq(scan_of(in, 1, NULL, 2, &s), DW_ERR_MIXED);
    ck_assert_int_eq(scan_of(in, 1, "D1", 2, &s), DW_OK);
    ck_assert_uint_eq(s.counts.frames, 1);
    dw_shots_free(&s);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("shot");
    TCase *t = tcase_create("scan");
    tcase_add_checked_fixture(t, set_up, tear_down);
    tcase_add_test(t, what_is_no_frame_is_counted_apart);
    tcase_add_test(t, the_decoder_decides_not_the_suffix);
    tcase_add_test(t, the_same_file_twice_is_used_once);
    tcase_add_test(t, frames_that_only_look_alike_are_kept);
    tcase_add_test(t, a_list_on_standard_input);
    tcase_add_test(t, two_cameras_are_named_and_one_can_be_chosen);
    tcase_add_test(t, a_model_that_nobody_can_type_is_not_suggested);
    tcase_add_test(t, two_sizes_are_an_error);
    tcase_add_test(t, two_orientations_are_an_error);
    tcase_add_test(t, two_bodies_of_one_model_are_an_error);
    tcase_add_test(t, two_bit_depths_are_an_error);
    tcase_add_test(t, nothing_to_work_on_says_what_was_there);
    tcase_add_test(t, a_stopped_scan_says_so);
    tcase_add_test(t, the_table_is_the_same_for_any_number_of_workers);
    tcase_add_test(t, records_are_read_as_written);
    tcase_add_test(t, lenses_without_contacts_and_missing_records);
    tcase_add_test(t, the_whole_shoot_tells_how_the_camera_times);
    tcase_add_test(t, a_freely_running_shutter_is_taken_at_its_word);
    tcase_add_test(t, offsets_of_another_time_are_not_taken);
    tcase_add_test(t, position_fixes_tell_the_offset);
    tcase_add_test(t, the_time_zone_of_the_machine_does_not_matter);
    tcase_add_test(t, a_folder_that_cannot_be_read_is_passed_over);
    suite_add_tcase(s, t);
    t = tcase_create("real");
    tcase_add_loop_test(t, real_records, 0, (int)(sizeof real / sizeof *real));
    tcase_add_loop_test(t, real_files_that_are_no_frames, 0,
                        (int)(sizeof refused / sizeof *refused));
    tcase_add_test(t, all_real_files_together_are_mixed_and_one_model_can_be_chosen);
    tcase_add_test(t, balanced_samples_are_not_balanced_again);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
