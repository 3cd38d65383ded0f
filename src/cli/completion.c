/* completion.c: shell completions. See documents.h. What each shell needs to know of an option
 * is only its names, its commands and what kind of value it takes. */
#include "cli/commands.h"
#include "cli/documents.h"

#include <string.h>

/* The words that an option's value may be, separated by blanks; false if it is open. */
static bool value_words(const struct dw_option *o, char *out, size_t n)
{
    out[0] = '\0';
    if (o->kind == DW_OPT_FOLDER || !o->form || strpbrk(o->form, "|") == NULL)
        return false;
    size_t used = 0;
    for (const char *c = o->form; *c && used + 1 < n;) { /* lower-case alternatives of the form */
        size_t k = strcspn(c, "|");
        bool word = c[0] >= 'a' && c[0] <= 'z';
        if (word)
            used += (size_t)snprintf(out + used, n - used, "%s%.*s", used ? " " : "", (int)k, c);
        c += k + (c[k] == '|');
    }
    return used > 0;
}

static void put_words(FILE *out, unsigned commands)
{
    const char *blank = "";
    for (size_t i = 0; i < dw_option_count; i++) {
        if ((dw_options[i].commands & commands) == 0)
            continue;
        fprintf(out, "%s--%s", blank, dw_options[i].name);
        if (dw_options[i].letter)
            fprintf(out, " -%c", dw_options[i].letter);
        blank = " ";
    }
}

static void put_bash_pattern(FILE *out, const struct dw_option *o)
{
    fprintf(out, "        --%s", o->name);
    if (o->letter)
        fprintf(out, "|-%c", o->letter);
    fputs(")\n", out);
}

void dw_completion_bash(FILE *out)
{
    fputs("# bash completion for daywheel, made from its table of options\n"
          "_daywheel()\n{\n"
          "    local cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD-1]} words\n"
          "    COMPREPLY=()\n"
          "    if [[ $cur == = ]]; then\n"
          "        cur=\n"
          "    elif [[ $prev == = ]]; then\n"
          "        prev=${COMP_WORDS[COMP_CWORD-2]}\n"
          "    fi\n"
          "    if (( COMP_CWORD == 1 )); then\n"
          "        mapfile -t COMPREPLY < <(compgen -W '",
          out);
    for (size_t i = 0; i < dw_command_count; i++)
        fprintf(out, "%s ", dw_commands[i].name);
    fputs("--help --version' -- \"$cur\")\n"
          "        return\n"
          "    fi\n"
          "    case $prev in\n",
          out);
    for (size_t i = 0; i < dw_option_count; i++) {
        const struct dw_option *o = &dw_options[i];
        char words[120];
        if (o->kind == DW_OPT_FLAG)
            continue;
        put_bash_pattern(out, o);
        if (o->kind == DW_OPT_FOLDER)
            fputs("            mapfile -t COMPREPLY < <(compgen -d -- \"$cur\")\n", out);
        else if (o->kind == DW_OPT_FILE || o->kind == DW_OPT_LIST)
            fputs("            mapfile -t COMPREPLY < <(compgen -f -- \"$cur\")\n", out);
        else if (value_words(o, words, sizeof words))
            fprintf(out, "            mapfile -t COMPREPLY < <(compgen -W '%s' -- \"$cur\")\n",
                    words);
        fputs("            return ;;\n", out);
    }
    fputs("    esac\n"
          "    case ${COMP_WORDS[1]} in\n",
          out);
    for (size_t i = 0; i < dw_command_count; i++) {
        fprintf(out, "        %s) words='", dw_commands[i].name);
        put_words(out, (unsigned)dw_commands[i].bit);
        fputs("' ;;\n", out);
    }
    fputs("        *) return ;;\n"
          "    esac\n"
          "    if [[ $cur == -* ]]; then\n"
          "        mapfile -t COMPREPLY < <(compgen -W \"$words\" -- \"$cur\")\n"
          "    else\n"
          "        mapfile -t COMPREPLY < <(compgen -f -- \"$cur\")\n"
          "    fi\n"
          "}\n"
          "complete -o filenames -F _daywheel daywheel\n",
          out);
}

/* Text inside '...[ ]' of zsh: brackets, colons and quotes mean something there. */
static void put_zsh_text(FILE *out, const char *text)
{
    for (; *text; text++) {
        if (*text == '\'')
            fputs("'\\''", out);
        else if (strchr("[]:\\", *text))
            fprintf(out, "\\%c", *text);
        else
            fputc(*text, out);
    }
}

static void put_zsh_option(FILE *out, const struct dw_option *o)
{
    char words[120];
    fputs("                ", out);
    if (o->letter)
        fprintf(out, "'(-%c --%s)'{-%c%s,--%s%s}'", o->letter, o->name, o->letter,
                o->form ? "+" : "", o->name, o->form ? "=" : "");
    else
        fprintf(out, "'--%s%s", o->name, o->form ? "=" : "");
    fputc('[', out);
    put_zsh_text(out, o->help);
    fputc(']', out);
    if (o->form) {
        fputc(':', out);
        put_zsh_text(out, o->form);
        fputc(':', out);
        if (o->kind == DW_OPT_FOLDER)
            fputs("_files -/", out);
        else if (o->kind == DW_OPT_FILE || o->kind == DW_OPT_LIST)
            fputs("_files", out);
        else if (value_words(o, words, sizeof words))
            fprintf(out, "(%s)", words);
    }
    fputs("' \\\n", out);
}

void dw_completion_zsh(FILE *out)
{
    fputs("#compdef daywheel\n"
          "# zsh completion for daywheel, made from its table of options\n"
          "_daywheel() {\n"
          "    local curcontext=$curcontext state line\n"
          "    _arguments -C '(-h --help)'{-h,--help}'[show help]' \\\n"
          "        '(-V --version)'{-V,--version}'[show versions]' \\\n"
          "        '1:command:->command' '*::argument:->argument'\n"
          "    case $state in\n"
          "    command)\n"
          "        local -a commands=(\n",
          out);
    for (size_t i = 0; i < dw_command_count; i++) {
        fprintf(out, "            '%s:", dw_commands[i].name);
        put_zsh_text(out, dw_commands[i].help);
        fputs("'\n", out);
    }
    fputs("        )\n"
          "        _describe command commands ;;\n"
          "    argument)\n"
          "        case $line[1] in\n",
          out);
    for (size_t i = 0; i < dw_command_count; i++) {
        fprintf(out, "        %s)\n            _arguments -s -S \\\n", dw_commands[i].name);
        for (size_t k = 0; k < dw_option_count; k++)
            if (dw_options[k].commands & (unsigned)dw_commands[i].bit)
                put_zsh_option(out, &dw_options[k]);
        fputs("                '*:shots:_files' ;;\n", out);
    }
    fputs("        esac ;;\n"
          "    esac\n"
          "}\n"
          "_daywheel \"$@\"\n",
          out);
}

static void put_fish_text(FILE *out, const char *text)
{
    fputc('\'', out);
    for (; *text; text++)
        fprintf(out, *text == '\'' || *text == '\\' ? "\\%c" : "%c", *text);
    fputc('\'', out);
}

void dw_completion_fish(FILE *out)
{
    fputs("# fish completion for daywheel, made from its table of options\n"
          "complete -c daywheel -n __fish_use_subcommand -f -l help -s h -d 'show help'\n"
          "complete -c daywheel -n __fish_use_subcommand -f -l version -s V -d 'show versions'\n",
          out);
    for (size_t i = 0; i < dw_command_count; i++) {
        fprintf(out, "complete -c daywheel -n __fish_use_subcommand -f -a %s -d ",
                dw_commands[i].name);
        put_fish_text(out, dw_commands[i].help);
        fputc('\n', out);
    }
    for (size_t i = 0; i < dw_option_count; i++) {
        const struct dw_option *o = &dw_options[i];
        char words[120];
        fputs("complete -c daywheel -n '__fish_seen_subcommand_from", out);
        for (size_t k = 0; k < dw_command_count; k++)
            if (o->commands & (unsigned)dw_commands[k].bit)
                fprintf(out, " %s", dw_commands[k].name);
        fprintf(out, "' -l %s", o->name);
        if (o->letter)
            fprintf(out, " -s %c", o->letter);
        if (o->kind == DW_OPT_FOLDER)
            fputs(" -x -a '(__fish_complete_directories)'", out);
        else if (o->kind == DW_OPT_FILE || o->kind == DW_OPT_LIST)
            fputs(" -r -F", out);
        else if (value_words(o, words, sizeof words))
            fprintf(out, " -x -a '%s'", words);
        else if (o->form)
            fputs(" -x", out);
        fputs(" -d ", out);
        put_fish_text(out, o->help);
        fputc('\n', out);
    }
}
