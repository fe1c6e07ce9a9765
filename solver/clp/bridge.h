// The one call into Clp: load, solve, read back, free.

#ifndef MILLBASE_CLP_BRIDGE_H
#define MILLBASE_CLP_BRIDGE_H

#ifdef __cplusplus
extern "C" {
#endif

enum {
  MB_PRESOLVE = 1,   // presolve first (large models)
  MB_WATCH = 2,      // look at the cancel flag and the clock while solving
  MB_CAREFUL = 4     // primal simplex, scaled, without short cuts
};

// Places of the integers that mb_solve reports.
enum { MB_STATUS, MB_SECONDARY, MB_ITERATIONS, MB_HAS_RAY, MB_STOPPED_BY, MB_INTS };

// Sets the allocator up so that it keeps memory between solves. Call it once.
void mb_setup(void);

// Solves a minimisation problem in sparse column order. in holds cost, column
// lower, column upper (cols each), row lower, row upper (rows each). basis_in
// is null or one status per column, then per row. out receives column values,
// reduced costs (cols each), row activities, row duals (rows each). ray takes
// the larger of rows and cols and, if MB_HAS_RAY is set, holds a ray: rows
// long for an infeasible model, cols for an unbounded one. Returns 0, or 1
// when Clp threw.
int mb_solve(int rows, int cols, const int *start, const int *index,
             const double *value, const double *in,
             const unsigned char *basis_in, const int *cancel, double seconds,
             int flags, double *out, double *ray, unsigned char *basis_out,
             int *ints);

#ifdef __cplusplus
}
#endif

#endif
