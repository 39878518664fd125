// The curve of a limb fitted to its edges. Private to the room.
#pragma once

#include <vector>

#include "nocktrail/bow/limb.hpp"

namespace nocktrail::bow {

// From a start within some degrees. Gauss-Newton on the edges' middles with Tukey's weights; priors
// as in the options; covariance from the weighted normal equations, residual scale included.
struct LimbFit {
  LimbShape shape;
  double cant_sigma_rad = 0.0;
  double residual_px = 0.0;
};
LimbFit fit_limb(const std::vector<Edges>& edges, const Place& place, const LimbShape& start,
                 const LimbOptions& options);

}  // namespace nocktrail::bow
