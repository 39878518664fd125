// What is seen against a shape of known form and unknown contrast: the matched filter (Turin, An
// introduction to matched filters, IRE Transactions on Information Theory 6, 1960). Private to the
// tracker.
#pragma once

#include <cmath>

namespace nocktrail::track {

struct Matched {
  double product = 0.0;  // of the shape and what is seen
  double squares = 0.0;  // of the shape

  // `shape` for a contrast of one; `trust` is an inverse variance.
  void add(double shape, double seen, double trust = 1.0) {
    product += shape * seen * trust;
    squares += shape * shape * trust;
  }
  // Of the shape as it is seen; 0 where none of it is in the picture.
  double contrast() const { return squares > 0.0 ? product / squares : 0.0; }
  // How much of the sum of squares the shape explains, in squared sigmas if trust was given.
  double gain() const { return squares > 0.0 ? product * product / squares : 0.0; }
  // The contrast's size over its noise.
  double strength() const { return std::sqrt(gain()); }
};

}  // namespace nocktrail::track
