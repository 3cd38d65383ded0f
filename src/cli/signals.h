/* signals.h: Ctrl-C and its relatives. */
#ifndef DW_CLI_SIGNALS_H
#define DW_CLI_SIGNALS_H

#include <stdatomic.h>

/* Nonzero once SIGINT, SIGTERM or SIGHUP came: the frame in hand is finished or discarded and the
 * run returns. A second one ends the program at once; since files get their final names only when
 * whole, nothing half-written is left under one. SIGPIPE is ignored (writing then fails with a
 * message instead). A SIGHUP that was ignored at the start (nohup) stays ignored. */
void dw_signals_open(void);
const atomic_int *dw_signals_stop(void);
/* Ends the program by the signal that stopped it, so that a shell's loop ends too; returns when
 * none came. */
void dw_signals_reraise(void);

#endif
