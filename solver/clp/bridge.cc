#include "bridge.h"

#include <malloc.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstring>

#include "ClpEventHandler.hpp"
#include "ClpSimplex.hpp"
#include "ClpSolve.hpp"

namespace {

typedef std::chrono::steady_clock Clock;

// Stops a solve when the flag is raised or the time is up.
class Watch : public ClpEventHandler {
public:
  Watch(const int *cancel, double seconds, int *stopped_by)
      : cancel_(cancel), stopped_by_(stopped_by), timed_(seconds > 0) {
    if (timed_)
      until_ = Clock::now() + std::chrono::duration_cast<Clock::duration>(
                                  std::chrono::duration<double>(seconds));
  }
  int event(Event) override {
    if (cancel_ && __atomic_load_n(cancel_, __ATOMIC_RELAXED)) {
      *stopped_by_ = 1;
      return 0;
    }
    if (timed_ && Clock::now() >= until_) {
      *stopped_by_ = 2;
      return 0;
    }
    return -1;
  }
  ClpEventHandler *clone() const override { return new Watch(*this); }

private:
  const int *cancel_;
  int *stopped_by_;
  bool timed_;
  Clock::time_point until_;
};

// Clp's message texts, built once: building them anew takes longer than
// loading a small model.
struct Messages {
  Messages() {
    ClpSimplex model;
    clp = *model.messagesPointer();
    coin = *model.coinMessagesPointer();
  }
  CoinMessages clp, coin;
};

// Whether the coefficients are so near in size that scaling is wasted work.
bool even(const double *value, int count) {
  double smallest = 1, largest = 1;
  for (int k = 0; k < count; k++) {
    const double size = std::fabs(value[k]);
    smallest = std::min(smallest, size);
    largest = std::max(largest, size);
  }
  return smallest >= 1e-4 && largest <= 1e4 && largest <= 1e5 * smallest;
}

// Beyond this size there is no bound (solver.MaxBound) and no sound value.
const double far_out = 1e18;

// Whether every variable has a bound to rest on at its cost. If one has not,
// the dual simplex makes bounds up, and then its short cuts go wrong.
bool settled(int cols, const double *in) {
  const double *lower = in + cols, *upper = lower + cols;
  for (int j = 0; j < cols; j++)
    if (in[j] >= 0 ? lower[j] < -far_out : upper[j] > far_out)
      return false;
  return true;
}

bool beyond(ClpSimplex::Status status, double x, double lower, double upper) {
  return (status == ClpSimplex::atUpperBound && upper > far_out) ||
         (status == ClpSimplex::atLowerBound && lower < -far_out) ||
         std::fabs(x) > far_out;
}

// Whether an optimum rests on a bound that is not there. The dual simplex puts
// bounds of its own on open variables and now and then forgets to take one off.
bool made_up(const ClpSimplex &model) {
  for (int j = 0; j < model.numberColumns(); j++)
    if (beyond(model.getColumnStatus(j), model.primalColumnSolution()[j],
               model.columnLower()[j], model.columnUpper()[j]))
      return true;
  for (int i = 0; i < model.numberRows(); i++)
    if (beyond(model.getRowStatus(i), model.primalRowSolution()[i],
               model.rowLower()[i], model.rowUpper()[i]))
      return true;
  return false;
}

void run(ClpSimplex &model, int flags) {
  if (flags & MB_CAREFUL) {
    model.primal(0, 0);
  } else if (flags & MB_PRESOLVE) {
    ClpSolve how;
    how.setSolveType(ClpSolve::useDual);
    how.setPresolveType(ClpSolve::presolveOn);
    model.initialSolve(how);
  } else {
    model.dual(0, 0);
  }
  if (model.status() == 0 && made_up(model)) {
    model.setSpecialOptions(0);
    model.createStatus();
    model.primal(0, 0);
  }
  // Optimal when scaled, but not within tolerance once scaled back: go on
  // from there without scaling.
  if (model.status() == 0 && model.secondaryStatus() >= 2 &&
      model.secondaryStatus() <= 4) {
    model.scaling(0);
    model.dual(0, 0);
    if (model.status() == 0 && model.secondaryStatus() != 0)
      model.primal(1, 0);
  }
}

void read_ray(ClpSimplex &model, double *to, int *has) {
  const int status = model.status();
  double *from = nullptr;
  int size = 0;
  if (status == 1) {
    from = model.infeasibilityRay();
    size = model.numberRows();
  } else if (status == 2) {
    from = model.unboundedRay();
    size = model.numberColumns();
  }
  if (!from)
    return;
  std::memcpy(to, from, size * sizeof(double));
  *has = 1;
  delete[] from;
}

void solve(int rows, int cols, const int *start, const int *index,
           const double *value, const double *in,
           const unsigned char *basis_in, const int *cancel, double seconds,
           int flags, double *out, double *ray, unsigned char *basis_out,
           int *ints) {
  static_assert(sizeof(CoinBigIndex) == sizeof(int), "starts are ints");
  static const Messages messages;
  ClpSimplex model(true);
  *model.messagesPointer() = messages.clp;
  *model.coinMessagesPointer() = messages.coin;
  model.setLogLevel(0);
  const double *lower = in + cols, *upper = lower + cols;
  const double *row_lower = upper + cols, *row_upper = row_lower + rows;
  model.loadProblem(cols, rows, start, index, value, lower, upper, in,
                    row_lower, row_upper);
  // Small models go without the checks that the caller has made already (128)
  // and, where that is safe, without a last factorization after a few
  // iterations (2048).
  if (rows + cols < 1000 && !(flags & MB_CAREFUL))
    model.setSpecialOptions(model.specialOptions() | 128 |
                            (!basis_in && settled(cols, in) ? 2048 : 0));
  if (!(flags & MB_CAREFUL) && even(value, start[cols]))
    model.scaling(0);
  if (basis_in)
    model.copyinStatus(basis_in);
  if (flags & MB_WATCH) {
    Watch watch(cancel, seconds, &ints[MB_STOPPED_BY]);
    model.passInEventHandler(&watch);
  }
  run(model, flags);
  ints[MB_STATUS] = model.status();
  ints[MB_SECONDARY] = model.secondaryStatus();
  ints[MB_ITERATIONS] = model.numberIterations();
  std::memcpy(out, model.primalColumnSolution(), cols * sizeof(double));
  out += cols;
  std::memcpy(out, model.dualColumnSolution(), cols * sizeof(double));
  out += cols;
  std::memcpy(out, model.primalRowSolution(), rows * sizeof(double));
  out += rows;
  std::memcpy(out, model.dualRowSolution(), rows * sizeof(double));
  if (model.statusExists())
    std::memcpy(basis_out, model.statusArray(), cols + rows);
  read_ray(model, ray, &ints[MB_HAS_RAY]);
}

} // namespace

extern "C" void mb_setup(void) {
  // By default glibc gives memory back to the kernel after every solve and
  // asks for it again at the next one.
  mallopt(M_TRIM_THRESHOLD, 256 << 20);
  mallopt(M_MMAP_THRESHOLD, 64 << 20);
  mallopt(M_TOP_PAD, 1 << 20);
}

extern "C" int mb_solve(int rows, int cols, const int *start, const int *index,
                        const double *value, const double *in,
                        const unsigned char *basis_in, const int *cancel,
                        double seconds, int flags, double *out, double *ray,
                        unsigned char *basis_out, int *ints) {
  try {
    solve(rows, cols, start, index, value, in, basis_in, cancel, seconds,
          flags, out, ray, basis_out, ints);
    return 0;
  } catch (...) {
    return 1;
  }
}
