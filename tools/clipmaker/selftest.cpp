#include "selftest.hpp"

#include <fmt/core.h>

#include <cmath>

#include "beam.hpp"

namespace clipmaker {
namespace {

int failures = 0;

}  // namespace

int self_test() {
  struct Row {
    double nock, tip, beta;
  };
  int bad = failures;
  for (const Row& row : {Row{0, 0.10, 4.4303}, Row{0, 0.25, 4.2490}, Row{0, 1.0, 4.0418},
                         Row{0.03, 0.25, 4.1438}, Row{0.25, 0.25, 3.8135}}) {
    const BeamMode mode(row.nock, row.tip);
    const bool ok = std::abs(mode.beta_l() - row.beta) < 1e-4;
    bad += ok ? 0 : 1;
    fmt::print("{} beta_L for masses {} / {}: {:.4f} (table {:.4f})\n", ok ? "ok  " : "FAIL",
               row.nock, row.tip, mode.beta_l(), row.beta);
  }
  return bad;
}

}  // namespace clipmaker
