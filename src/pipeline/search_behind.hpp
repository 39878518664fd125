// The search of a stretch for an arrow that flies away from the camera. Private to the pipeline.
#pragma once

#include <cstddef>
#include <vector>

#include "follow.hpp"
#include "nocktrail/track/sweep.hpp"
#include "shot_analysis.hpp"

namespace nocktrail::pipeline {

// Holds the best flight so far in `analysis`, which like `options` and `looked` outlives it.
class BehindSearch {
 public:
  BehindSearch(const AnalysisOptions& options, double surge_s, std::size_t reference,
               ShotAnalysis& analysis, LookedAt& looked);

  bool any() const { return analysis_.outcome == Outcome::measured; }
  bool sure() const { return any() && beyond_doubt(analysis_.fit); }

  void look_at_all(const Scene& scene, const std::vector<track::Passing>& passings);

  // The first `frames` of the scene by themselves, where all showed nothing. Passings are those
  // that begin in frame `from` or later.
  void look_at_first(std::size_t frames, const Scene& scene, std::size_t from);

 private:
  // `share` of the effort is how far streaks but the first of each search may take it.
  void look(const Scene& scene, const std::vector<track::Passing>& passings, double share);
  void take(const Scene& scene, const track::Sweep& sweep);

  const AnalysisOptions& options_;
  double surge_s_;
  std::size_t reference_;
  ShotAnalysis& analysis_;
  LookedAt& looked_;
  track::SweepOptions sweep_options_;
};

}  // namespace nocktrail::pipeline
