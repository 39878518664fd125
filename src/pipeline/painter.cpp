#include "painter.hpp"

#include <utility>

#include "expectation.hpp"

namespace nocktrail::pipeline {
namespace {

// The arrow's paint and its place in each frame, which follow from each other: frames that lie
// askew on each other would blur the paint and push its ends outward.
struct Painting {
  track::PaintedArrow arrow;
  track::PaintedPlaces places;
};

class Painter {
 public:
  Painter(const track::Region& region, const std::vector<track::ShaftProfile>& profiles,
          double longest_exposure_s, const track::ShaftOptions& options)
      : region_(region),
        profiles_(profiles),
        longest_exposure_s_(longest_exposure_s),
        options_(options),
        side_(track::learn_side(profiles, options)) {}

  double side() const { return side_; }
  std::optional<track::PaintedArrow> learn() const {
    return track::learn_painted(region_, profiles_, side_, longest_exposure_s_, options_);
  }
  // From an arrow that the frames are placed by.
  std::optional<Painting> paint(const track::PaintedArrow& arrow,
                                const track::PaintedPlaces& near) const {
    const track::PaintedPlaces first = place_all(arrow, near);
    const auto again = track::learn_painted(region_, profiles_, side_, longest_exposure_s_,
                                            options_, first, &arrow);
    if (!again) {
      return std::nullopt;
    }
    return Painting{*again, place_all(*again, first)};
  }
  // The same without rims that nothing in the frames shows, if it explains them as well and they do
  // not grow again at once.
  std::optional<Painting> without_rims(const Painting& whole) const {
    const auto shorter = track::without_unseen_rims(whole.arrow, profiles_, whole.places);
    if (!shorter) {
      return std::nullopt;
    }
    auto painting = paint(shorter->arrow, shorter->places);
    constexpr double kGrown = 0.015;  // share; half a rim
    const bool stays_short =
        painting && painting->arrow.begin > -kGrown && painting->arrow.end < 1.0 + kGrown;
    return stays_short && as_good(painting->places, whole.places) ? std::move(painting)
                                                                  : std::nullopt;
  }

 private:
  track::PaintedPlaces place_all(const track::PaintedArrow& arrow,
                                 const track::PaintedPlaces& starts) const {
    return for_each_frame<track::PaintedPlace>(profiles_.size(), [&](std::size_t k) {
      return track::place_painted(region_, profiles_[k], arrow, options_,
                                  starts[k] ? &*starts[k] : nullptr);
    });
  }
  static bool as_good(const track::PaintedPlaces& shorter, const track::PaintedPlaces& whole) {
    // What the rims' freedom would have to gain to be worth having: a few natural units of evidence
    // for each end, and every twelfth pixel counts (see learn_painted).
    constexpr double kAllowance = 100.0;
    constexpr double kLeastShare = 0.8;
    double n = 0.0;
    double placed = 0.0;
    double difference = 0.0;
    for (std::size_t k = 0; k < whole.size(); ++k) {
      n += whole[k] ? 1.0 : 0.0;
      placed += shorter[k] ? 1.0 : 0.0;
      difference += whole[k] && shorter[k] ? shorter[k]->cost - whole[k]->cost : 0.0;
    }
    return placed >= kLeastShare * n && difference < kAllowance;
  }

  const track::Region& region_;
  const std::vector<track::ShaftProfile>& profiles_;
  double longest_exposure_s_;
  const track::ShaftOptions& options_;
  double side_;
};

}  // namespace

track::PaintedPlaces find_places(const track::Region& region,
                                 const std::vector<track::ShaftProfile>& profiles,
                                 double longest_exposure_s, const track::ShaftOptions& options,
                                 KnownArrow& known) {
  const Painter painter(region, profiles, longest_exposure_s, options);
  track::PaintedPlaces nowhere(profiles.size());
  known.side = painter.side();
  const bool first_round = !known.arrow.has_value();
  if (first_round) {
    known.arrow = painter.learn();
  }
  if (!known.arrow) {
    return nowhere;
  }
  std::optional<Painting> whole = painter.paint(track::stretched_to_ends(*known.arrow), nowhere);
  known.arrow.reset();
  if (!whole) {
    return nowhere;
  }
  // Rims are drawn where the frames lie askew, in the first round. Tried again and again, a dark
  // nock would come and go, and the rounds would not settle.
  std::optional<Painting> shorter = first_round ? painter.without_rims(*whole) : std::nullopt;
  Painting& best = shorter ? *shorter : *whole;
  known.arrow = std::move(best.arrow);
  return std::move(best.places);
}

}  // namespace nocktrail::pipeline
