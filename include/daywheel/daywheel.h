/* daywheel.h: the whole library, one header per stage, in the order in which data flows. */
#ifndef DAYWHEEL_DAYWHEEL_H
#define DAYWHEEL_DAYWHEEL_H

#include <daywheel/base.h>
#include <daywheel/sky.h>
#include <daywheel/shot.h>
#include <daywheel/survey.h>
#include <daywheel/decide.h>
#include <daywheel/render.h>
#include <daywheel/output.h>

#endif
