/* main.c: daywheel-score SHOOT OUT: figures of a finished run of an invented shoot. */
#include "score.h"

#include <stdio.h>
#include <string.h>

int main(int argc, char **argv)
{
    bool exact = argc == 4 && strcmp(argv[3], "exact") == 0;
    bool stars = argc == 4 && strcmp(argv[3], "stars") == 0;
    if ((argc != 3 && !exact && !stars) || strcmp(argv[1], "--help") == 0) {
        fprintf(stderr,
                "usage: daywheel-score SHOOT OUT [exact|stars]\n"
                "SHOOT was made by daywheel-invent, OUT by daywheel render.\n"
                "Prints how steady, how right and how smooth the result is; with exact, how "
                "the pictures flicker beside those that the true exposures give, which are "
                "rendered to OUT/exact; with stars, only how the stars of the darkest frame are "
                "seen, one by one.\n");
        return argc == 2 ? 0 : 2;
    }
    struct score_truth t;
    if (!score_read(argv[1], argv[2], &t))
        return 1;
    if (exact) {
        bool made = score_exact(&t, argv[1], argv[2]);
        score_free(&t);
        return made ? 0 : 1;
    }
    if (stars) {
        score_stars(&t, argv[1], argv[2], true);
        score_free(&t);
        return 0;
    }
    score_judgement(&t);
    score_steadiness(&t);
    score_settings(&t);
    bool fine = score_pictures(&t, argv[2]);
    score_stars(&t, argv[1], argv[2], false);
    score_free(&t);
    return fine ? 0 : 1;
}
