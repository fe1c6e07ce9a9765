#include "bridge.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstring>

#include "CbcEventHandler.hpp"
#include "CbcHeuristic.hpp"
#include "CbcHeuristicDiveCoefficient.hpp"
#include "CbcModel.hpp"
#include "ClpEventHandler.hpp"
#include "ClpSimplex.hpp"
#include "OsiClpSolverInterface.hpp"

namespace {

typedef std::chrono::steady_clock Clock;

Clock::duration span(double seconds) {
  return std::chrono::duration_cast<Clock::duration>(
      std::chrono::duration<double>(seconds));
}

// What one search shares with its event handlers. Everything happens on one
// thread, except that the flag is raised from another.
struct Search {
  const int *cancel;
  bool timed;
  Clock::time_point until; // the search ends at the next node
  Clock::time_point latest; // even a linear program is broken off
  CbcModel *model;
  double bound;     // the best that is proven
  bool broken_off;  // a linear program was: what Cbc concludes is worth nothing
  int end;

  bool cancelled() {
    if (cancel && __atomic_load_n(cancel, __ATOMIC_RELAXED))
      end = MB_CANCELLED;
    return end == MB_CANCELLED;
  }
  // Whether to stop between two nodes.
  bool over() {
    if (cancelled())
      return true;
    if (timed && Clock::now() >= until)
      end = MB_OUT_OF_TIME;
    return end != MB_SEARCHED;
  }
  // Whether to stop in the middle of a linear program.
  bool break_off() {
    if (broken_off)
      return true;
    if (!cancelled() && !(timed && Clock::now() >= latest))
      return false;
    if (end == MB_SEARCHED)
      end = MB_OUT_OF_TIME;
    broken_off = true;
    // Cuts and heuristics look at this limit only.
    model->setMaximumSeconds(-1);
    return true;
  }
  void raise() {
    const double now = model->getBestPossibleObjValue();
    if (!broken_off && std::fabs(now) < 1e40)
      bound = std::max(bound, now);
  }
};

class WatchLinear : public ClpEventHandler {
public:
  explicit WatchLinear(Search *search) : search_(search) {}
  int event(Event) override { return search_->break_off() ? 0 : -1; }
  ClpEventHandler *clone() const override { return new WatchLinear(*this); }

private:
  Search *search_;
};

class WatchTree : public CbcEventHandler {
public:
  explicit WatchTree(Search *search) : search_(search) {}
  CbcAction event(CbcEvent) override {
    search_->raise();
    return search_->over() ? stop : noAction;
  }
  CbcEventHandler *clone() const override { return new WatchTree(*this); }

private:
  Search *search_;
};

// No cuts: on formulas of a plant's size they cost more than they save.
void add_heuristics(CbcModel &model) {
  CbcRounding rounding(model);
  model.addHeuristic(&rounding);
  CbcHeuristicDiveCoefficient dive(model);
  model.addHeuristic(&dive);
}

void settings(CbcModel &model, double relaxed, double gap, bool careful) {
  const double size = std::max(1.0, std::fabs(relaxed));
  model.setLogLevel(0);
  model.setIntegerTolerance(careful ? 1e-9 : 1e-7);
  model.setCutoffIncrement(1e-9 * size);
  model.setAllowableGap(1e-10 * size);
  model.setAllowableFractionGap(gap);
  model.setNumberStrong(5);
  model.setNumberBeforeTrust(5);
  if (!careful)
    add_heuristics(model);
}

void search(int rows, int cols, const int *start, const int *index,
            const double *value, const double *in, const unsigned char *whole,
            const unsigned char *basis, double relaxed, double gap,
            const int *cancel, double seconds, int careful, double *x,
            double *figures, int *ints) {
  Search state = {cancel, seconds > 0, {}, {}, nullptr, relaxed, false,
                  MB_SEARCHED};
  if (state.timed) {
    state.until = Clock::now() + span(seconds);
    state.latest = state.until + span(0.05 + 0.05 * seconds);
  }
  OsiClpSolverInterface linear;
  linear.messageHandler()->setLogLevel(0);
  const double *lower = in + cols, *upper = lower + cols;
  const double *row_lower = upper + cols, *row_upper = row_lower + rows;
  linear.loadProblem(cols, rows, start, index, value, lower, upper, in,
                     row_lower, row_upper);
  for (int j = 0; j < cols; j++)
    if (whole[j])
      linear.setInteger(j);
  linear.setHintParam(OsiDoReducePrint, true, OsiHintTry);
  ClpSimplex *clp = linear.getModelPtr();
  clp->setLogLevel(0);
  if (basis)
    clp->copyinStatus(basis);
  CbcModel model(linear);
  state.model = &model;
  WatchLinear watch_linear(&state);
  dynamic_cast<OsiClpSolverInterface *>(model.solver())
      ->getModelPtr()
      ->passInEventHandler(&watch_linear);
  WatchTree watch_tree(&state);
  model.passInEventHandler(&watch_tree);
  settings(model, relaxed, gap, careful != 0);
  model.initialSolve();
  model.branchAndBound();
  state.raise();

  ints[MB_END] = state.end;
  if (state.end == MB_SEARCHED && (model.isAbandoned() || model.status() != 0))
    ints[MB_END] = MB_GAVE_UP;
  ints[MB_NODES] = model.getNodeCount();
  ints[MB_ITERATIONS] = model.getIterationCount();
  figures[MB_BOUND] = state.bound;
  if (model.bestSolution()) {
    ints[MB_HAS_POINT] = 1;
    figures[MB_OBJECTIVE] = model.getMinimizationObjValue();
    std::memcpy(x, model.bestSolution(), cols * sizeof(double));
  }
}

} // namespace

extern "C" int mb_search(int rows, int cols, const int *start, const int *index,
                         const double *value, const double *in,
                         const unsigned char *whole, const unsigned char *basis,
                         double relaxed, double gap, const int *cancel,
                         double seconds, int careful, double *x,
                         double *figures, int *ints) {
  try {
    search(rows, cols, start, index, value, in, whole, basis, relaxed, gap,
           cancel, seconds, careful, x, figures, ints);
    return 0;
  } catch (...) {
    return 1;
  }
}
