// The arrow as the exposure smears it: its paint along the shaft, where it begins and ends, and how
// long the shutter was open, learnt from all frames together; and its place in one frame.
//
// While the shutter is open the arrow moves by up to a decimetre, each point along its own path,
// which is not the shaft's own line when the nock trails to a side. A pixel therefore shows the
// mean over the exposure of what lies before it: paint g(s) of the arrow at share s of its length
// where the shaft covers it, background elsewhere. That is linear in g, so that for a given
// exposure and given ends the likelihood of the pixels, with g (a Gaussian process along the shaft)
// integrated out, is a closed form (Rasmussen & Williams, Gaussian Processes for Machine Learning,
// 2006, eq. 2.30). Exposure and ends are weighed by it: beyond the ends the background is seen
// unchanged, whatever the colour of the nock.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "nocktrail/track/shaft.hpp"

namespace nocktrail::track {

struct PaintedArrow {
  double first = 0.0;        // share at which grey[0] begins
  double step = 0.008;       // share that one value of grey covers
  std::vector<double> grey;  // linear light, 255 at white
  double begin = 0.0;        // shares of the model's length between which the arrow lies: 0 and 1
  double end = 1.0;          // where the model has the visible ends right
  double begin_sigma = 0.0;  // shares, 1 sigma
  double end_sigma = 0.0;
  double side = 0.0;  // rise of the grey across, see learn_side
  double exposure_s = 0.0;
  double contrast = 0.0;  // usual difference from the background
};

// The arrow's place in one frame, px: how far the ends of its chord are off the expected ones along
// the shaft, and where they stand across it.
struct PaintedPlace {
  enum Index { kNockAlong, kTipAlong, kNockAcross, kTipAcross };
  Eigen::Vector4d off = Eigen::Vector4d::Zero();
  Eigen::Matrix4d covariance = Eigen::Matrix4d::Zero();
  // Something nearer may hide the end: hardly anything of the arrow is to be seen just before it,
  // or it lies at an edge of the scene (nock_at_an_edge).
  bool nock_may_be_hidden = false;
  bool tip_may_be_hidden = false;
  double cost = 0.0;  // robust sum of squares that the frame's pixels leave unexplained, in sigmas
};

// Which frames' places are known, one for each profile.
using PaintedPlaces = std::vector<std::optional<PaintedPlace>>;

// From profiles cut open along the model's arrow. `places` and `known` are those of an earlier pass
// over the same profiles, if any. nullopt when too few frames show the arrow long enough.
std::optional<PaintedArrow> learn_painted(const Region& region,
                                          const std::vector<ShaftProfile>& profiles, double side,
                                          double longest_exposure_s, const ShaftOptions& options,
                                          const PaintedPlaces& places = {},
                                          const PaintedArrow* known = nullptr);

// The same arrow with its ends at shares 0 and 1. Paint that is drawn out together with the chords
// that carry it makes the same picture, so that nothing else holds its ends there, and they are
// looked for near these shares only.
PaintedArrow stretched_to_ends(PaintedArrow arrow);

// An arrow learnt too long has rims that look like whatever lies behind them: nothing in the frames
// contradicts them. This is the arrow without its unseen rims, and where it then lies in each
// frame; nullopt where neither end has one. Whether the shorter arrow explains the frames as well
// is left to whoever compares the costs of the places.
struct ShorterArrow {
  PaintedArrow arrow;
  PaintedPlaces places;  // no covariances
};
std::optional<ShorterArrow> without_unseen_rims(const PaintedArrow& arrow,
                                                const std::vector<ShaftProfile>& profiles,
                                                const PaintedPlaces& places);

// Least squares over the frame's pixels, robust (Cauchy). nullopt when it does not come to rest
// within the profile's reach. With a `start`, the ends are looked for near it only.
std::optional<PaintedPlace> place_painted(const Region& region, const ShaftProfile& profile,
                                          const PaintedArrow& arrow, const ShaftOptions& options,
                                          const PaintedPlace* start = nullptr);

// The sighting that follows from a place: three points of the centre line, and the ends as far as
// they can be told.
ArrowSighting sight_painted(const ShaftProfile& profile, const PaintedArrow& arrow,
                            const PaintedPlace& place, const ShaftOptions& options);

}  // namespace nocktrail::track
