#include "search_behind.hpp"

#include <algorithm>
#include <optional>
#include <utility>

#include "debug_pictures.hpp"

namespace nocktrail::pipeline {

BehindSearch::BehindSearch(const AnalysisOptions& options, double surge_s, std::size_t reference,
                           ShotAnalysis& analysis, LookedAt& looked)
    : options_(options),
      surge_s_(surge_s),
      reference_(reference),
      analysis_(analysis),
      looked_(looked) {}

void BehindSearch::take(const Scene& scene, const track::Sweep& sweep) {
  std::optional<Followed> found =
      follow(scene, sweep, surge_s_, options_, any() ? analysis_.fit.ends : -1, looked_.effort);
  if (!found || (any() && found->fit.ends <= analysis_.fit.ends)) {
    return;
  }
  analysis_.surge_s = found->surge_s;
  analysis_.sweep = sweep;
  analysis_.fit = std::move(found->fit);
  analysis_.sightings = std::move(found->sightings);
  analysis_.stroke = found->stroke;
  analysis_.scatter = found->scatter;
  analysis_.apart = found->apart;
  analysis_.thirds_lost = found->thirds_lost;
  analysis_.outcome = Outcome::measured;
}

void BehindSearch::look(const Scene& scene, const std::vector<track::Passing>& passings,
                        double share) {
  Effort& effort = looked_.effort;
  effort.spend(effort.options.search_us_per_passing * 1e-3 *
               static_cast<double>(std::min(passings.size(), sweep_options_.search_events)));
  const std::vector<track::Sweep> sweeps =
      track::find_sweeps(passings, scene.t_s, options_.focal_px, sweep_options_);
  debug_sweeps(options_.debug_dir, surge_s_, scene.luma[reference_], passings, sweeps);
  bool followed = false;
  for (const track::Sweep& sweep : sweeps) {
    if (sweep.frames >= 4 && sweep.score >= sweep_options_.least_share * sweeps.front().score) {
      looked_.noticed.receding = true;
      if (followed && !effort.may_go_on(share)) {
        break;
      }
      take(scene, sweep);
      followed = true;
    }
    if (sure()) {
      effort.unlimited = true;
      break;
    }
  }
  ++sweep_options_.seed;
}

void BehindSearch::look_at_all(const Scene& scene, const std::vector<track::Passing>& passings) {
  // The search draws at random: where it found nothing good it is worth another try.
  const int tries = options_.colour ? 1 : 3;
  for (int attempt = 0; attempt < tries && !sure(); ++attempt) {
    if (attempt > 0 && !looked_.effort.may_go_on(looked_.effort.options.retry_share)) {
      break;
    }
    look(scene, passings, looked_.effort.options.streak_share);
  }
}

void BehindSearch::look_at_first(std::size_t frames, const Scene& scene, std::size_t from) {
  Effort& effort = looked_.effort;
  if (any() || !effort.may_go_on()) {
    return;
  }
  const auto count = static_cast<std::ptrdiff_t>(frames);
  const std::vector<cv::Mat> luma(scene.luma.begin(), scene.luma.begin() + count);
  const std::vector<double> t_s(scene.t_s.begin(), scene.t_s.begin() + count);
  effort.spend(effort.options.background_ns_per_px * 1e-6 *
               static_cast<double>(luma.size() * luma.front().total()));
  const track::Background background = track::learn_background(luma, sweep_options_);
  const std::vector<track::Passing> passings =
      track::find_passings(luma, background, from, t_s, sweep_options_);
  for (const int cell_px : {32, 0}) {
    sweep_options_.cell_px = cell_px;
    if (!any() && (cell_px > 0 || effort.may_go_on(effort.options.early_share))) {
      look({luma, t_s, scene.motion, scene.still, scene.fit_options}, passings,
           effort.options.early_share);
    }
  }
}

}  // namespace nocktrail::pipeline
