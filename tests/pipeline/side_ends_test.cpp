// Which ends of an arrow that crosses the picture are kept, on runs laid out by hand.
#include "side_ends.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "side_shot.hpp"

using namespace nocktrail;

namespace {

constexpr double kFrame_s = 1.0 / 240.0;
constexpr double kLength_px = 300.0;
constexpr double kSpeed_px_s = 20000.0;

side::Path path() {
  side::Path path;
  path.at_px = {100.0, 400.0};
  path.rate_px_s = kSpeed_px_s;
  path.cover_s = kLength_px / kSpeed_px_s;
  return path;
}

// A frame with its nock so many px short of where it is, or without one.
track::ArrowSighting frame(int index, std::optional<double> short_px) {
  track::ArrowSighting sighting;
  sighting.frame = index;
  sighting.t_s = index * kFrame_s;
  if (short_px) {
    const double nock_px = path().middle_px(sighting.t_s) - 0.5 * kLength_px + *short_px;
    sighting.nock = track::EndPoint{{100.0 + nock_px, 400.0}, 4.0, false};
  }
  return sighting;
}

std::vector<int> with_nock(const std::vector<track::ArrowSighting>& sightings) {
  std::vector<int> frames;
  for (const track::ArrowSighting& sighting : sightings) {
    if (sighting.nock) {
      frames.push_back(sighting.frame);
    }
  }
  return frames;
}

}  // namespace

TEST_CASE(
    "unit: of two runs of ends the outer one is the arrow's, and what goes with none is not") {
  std::vector<track::ArrowSighting> sightings;
  // In half of the frames vanes of the ground's grey hide the rear; one end is of a leaf.
  const std::vector<std::optional<double>> shorts{0.0, 80.0, 2.0,  82.0,         -1.0, 81.0,
                                                  3.0, 79.0, -2.0, std::nullopt, 80.0, 40.0};
  for (std::size_t i = 0; i < shorts.size(); ++i) {
    sightings.push_back(frame(static_cast<int>(i), shorts[i]));
  }
  pipeline::keep_ends_of_one_run(sightings, path(), kLength_px);
  CHECK(with_nock(sightings) == std::vector<int>{0, 2, 4, 6, 8});
}

TEST_CASE("unit: a run that drifts is one run; a few far out are none beside many") {
  std::vector<track::ArrowSighting> drifting;
  for (int i = 0; i < 10; ++i) {
    drifting.push_back(frame(i, 6.0 * i));  // the arrow looks shorter from frame to frame
  }
  drifting[3].nock->at_px.x() -= 60.0;
  drifting[7].nock->at_px.x() -= 60.0;
  pipeline::keep_ends_of_one_run(drifting, path(), kLength_px);
  CHECK(with_nock(drifting) == std::vector<int>{0, 1, 2, 4, 5, 6, 8, 9});
}

TEST_CASE("unit: where too few ends are seen to agree, all stay") {
  std::vector<track::ArrowSighting> few{frame(0, 0.0), frame(4, 90.0)};
  pipeline::keep_ends_of_one_run(few, path(), kLength_px);
  CHECK(with_nock(few).size() == 2);
  std::vector<track::ArrowSighting> none{frame(0, std::nullopt)};
  pipeline::keep_ends_of_one_run(none, path(), kLength_px);
  CHECK(with_nock(none).empty());
}

TEST_CASE("unit: an exit that has the bow outside of the picture leaves the rest's place open") {
  // 3 m beside the line, square to it; 1080 px across are 2.5 m.
  side::SideFit fit;
  fit.anchor_s = 0.35;
  fit.principal_px = {539.5, 959.5};
  fit.parameters[side::kCentreX] = 539.5;
  fit.parameters[side::kCentreY] = 959.5;
  fit.parameters[side::kLogDepth] = std::log(3.0);
  fit.parameters[side::kLogFocal] = std::log(1300.0);
  fit.parameters[side::kLogSpeed] = std::log(55.0);
  fit.parameters[side::kLogLength] = std::log(0.75);
  const auto sigma_for = [&](double exit_s) {
    flight::Stroke stroke;
    stroke.exit_s = exit_s;
    stroke.rest_forward_m = side::nock_forward_m(fit, exit_s) - 0.1;
    stroke.rest_sigma_m = 0.05;
    pipeline::doubt_rest_outside(fit, 1080.0, stroke);
    return stroke.rest_sigma_m;
  };
  CHECK(sigma_for(0.34) == 0.05);  // seen near the left edge
  // 40 ms sooner it is 2.2 m further back, some 2 m outside.
  CHECK(sigma_for(0.30) > 1.6);
  CHECK(sigma_for(0.30) < 2.4);
}
