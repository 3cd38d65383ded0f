/* documents_main.c: a program of the build: writes the manual page and the completions. */
#include "cli/documents.h"

#include <string.h>

int main(int argc, char **argv)
{
    if (argc < 2)
        return 2;
    if (strcmp(argv[1], "bash") == 0)
        dw_completion_bash(stdout);
    else if (strcmp(argv[1], "zsh") == 0)
        dw_completion_zsh(stdout);
    else if (strcmp(argv[1], "fish") == 0)
        dw_completion_fish(stdout);
    else if (strcmp(argv[1], "man") == 0 && argc == 3) {
        FILE *f = fopen(argv[2], "r");
        if (!f) {
            perror(argv[2]);
            return 1;
        }
        int failed = dw_manual_write(f, stdout);
        fclose(f);
        if (failed)
            return failed;
    } else
        return 2;
    return fflush(stdout) != 0 || ferror(stdout);
}
