// A flight that tests of the pipeline look at: a camera 0.5 m above an arrow of 0.76 m and 52 m/s,
// 3.6 m before it at the anchor, its nock trailing to the right.
#pragma once

#include <cmath>

#include "nocktrail/flight/fit.hpp"

namespace nocktrail::test {

inline flight::FlightFit example_flight(double right_rad) {
  using namespace flight;
  FlightFit fit;
  fit.converged = true;
  fit.principal_px = {959.5, 539.5};
  Parameters& p = fit.parameters;
  p[kVanishX] = 960.0;
  p[kVanishY] = 520.0;
  p[kCentreX] = 964.0;
  p[kCentreY] = 715.0;
  p[kLogDepth] = std::log(3.6);
  p[kLogSpeed] = std::log(52.0);
  p[kLogLength] = std::log(0.76);
  p[kLogFocal] = std::log(1375.0);
  p[kLogWave] = std::log(14.0);
  p[kDamping] = 0.1;
  p[kRight] = right_rad;
  p[kTipMass] = 0.43;
  return fit;
}

}  // namespace nocktrail::test
