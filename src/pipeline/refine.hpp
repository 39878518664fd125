// Sighting and fitting in turn, from a coarse flight to one that rests. Private to the pipeline.
#pragma once

#include <future>
#include <optional>
#include <vector>

#include "follow.hpp"
#include "nocktrail/steady/plumb.hpp"
#include "nocktrail/track/shaft.hpp"
#include "painter.hpp"

namespace nocktrail::pipeline {

// When the motion surged, and how well that tells the time of the loose.
struct Surge {
  double t_s = 0.0;
  double sigma_s = flight::StrokeOptions{}.surge_sigma_s;
};

// What only a streak that may be an arrow needs.
struct Later {
  std::future<steady::Plumb> plumb;
  std::future<track::Region> before;  // the picture as it was before the arrow left
};

// Of one streak: the frames are sighted, the flight is fitted to that, then the power stroke, so
// that no frame from before the exit takes part in the free flight; and so on until the offset
// rests.
class Refinement {
 public:
  Refinement(const Scene& scene, const track::Region& region, Later& later, const Surge& surge,
             const AnalysisOptions& options, const track::ShaftOptions& shaft_options,
             Effort& effort);

  // On from a coarse fit. Nothing where the streak is no arrow's.
  std::optional<Followed> from(flight::FlightFit coarse);

  // Sighting and fitting follow each other, and where little is seen they come to rest now here,
  // now there. So what was found is looked for three times more, each time without a third of the
  // frames and with what was learnt of the arrow forgotten (but for when it left the string): the
  // mean is nearer to the truth than the one flight from all frames, and how far they are apart is
  // part of what is not known. Not charged as effort: it is part of a reading.
  void weigh_thirds(Followed& found) const;

 private:
  std::optional<Followed> rounds();
  std::optional<Followed> without_third(const Followed& found, std::size_t third);
  // The steps of a round; false: there is no reason to go on.
  bool sight();
  bool fit_flight();
  void fit_stroke();

  void take_later();
  // `seen` with what is seen of the far arrow, and each frame's own doubt.
  std::vector<track::ArrowSighting> with_far_and_doubt(
      std::vector<track::ArrowSighting> seen) const;
  // Whether what was sighted is no arrow's, after this round and those before.
  bool hopeless() const;
  void hear_impact();
  // Of the rounds so far, once no more are needed.
  std::optional<Followed> settled();

  const Scene& scene_;
  const track::Region& region_;
  Later& later_;
  Surge surge_;
  const AnalysisOptions& analysis_options_;
  const track::ShaftOptions& shaft_options_;
  Effort& effort_;
  cv::Size size_;
  double frame_s_ = 0.0;

  std::size_t round_ = 0;
  std::optional<std::size_t> left_out_;  // a third of the frames
  double first_s_ = 0.0;                 // of the free flight
  flight::FlightFit fit_;
  flight::FlightPriors given_;  // those that hold whatever is learnt of the arrow
  flight::FitOptions options_;
  KnownArrow known_;
  track::Region before_;
  std::optional<double> in_the_air_s_;  // from string to butt, heard
  Followed candidate_;                  // of this round
  std::vector<std::size_t> both_;       // frames with both ends seen, by round
  std::vector<Followed> late_;          // the rounds in which only small changes are left
};

}  // namespace nocktrail::pipeline
