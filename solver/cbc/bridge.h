// The one call into Cbc: load, search, read back, free.

#ifndef MILLBASE_CBC_BRIDGE_H
#define MILLBASE_CBC_BRIDGE_H

#ifdef __cplusplus
extern "C" {
#endif

// How a search ended.
enum {
  MB_SEARCHED,     // to the end: the best point is the optimum, within the gap
  MB_OUT_OF_TIME,
  MB_CANCELLED,
  MB_GAVE_UP       // on numerical grounds
};

// Places of the integers and of the figures that mb_search reports.
enum { MB_END, MB_HAS_POINT, MB_NODES, MB_ITERATIONS, MB_INTS };
enum { MB_OBJECTIVE, MB_BOUND, MB_FIGURES };

// Minimises a model with whole-number variables, in sparse column order. in
// holds cost, column lower, column upper (cols each), row lower, row upper
// (rows each). whole is 1 for each whole-number column; their bounds are whole.
// basis is null or the optimal basis of the relaxation, one status per column,
// then per row. relaxed is the objective of the relaxation, gap the relative
// gap at which the search may stop. seconds is the time from now, 0 for no
// limit. careful asks for tighter tolerances and no short cuts. x receives the
// best point, if there is one. Returns 0, or 1 when Cbc threw.
int mb_search(int rows, int cols, const int *start, const int *index,
              const double *value, const double *in,
              const unsigned char *whole, const unsigned char *basis,
              double relaxed, double gap, const int *cancel, double seconds,
              int careful, double *x, double *figures, int *ints);

#ifdef __cplusplus
}
#endif

#endif
