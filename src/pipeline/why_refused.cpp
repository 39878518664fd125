#include "why_refused.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "doubts.hpp"
#include "limb_in_the_way.hpp"
#include "nocktrail/median.hpp"
#include "nocktrail/rules/safety.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/units/units.hpp"

namespace nocktrail::pipeline {
namespace {

double middle_shown(const ShotAnalysis& analysis) {
  std::vector<double> shown;
  for (const track::ArrowSighting& sighting : analysis.sightings) {
    shown.push_back(sighting.shown);
  }
  return upper_median(shown);
}

// Of the front half in all frames, each weighed by its squared length: as a line's direction is
// known from its picture.
double front_shown(const ShotAnalysis& analysis) {
  double shown = 0.0;
  double all = 0.0;
  for (const track::ArrowSighting& sighting : analysis.sightings) {
    const auto seen = [&](double share) {
      return flight::seen_px(analysis.fit, sighting.t_s, share);
    };
    const double weight = (seen(1.0) - seen(0.5)).squaredNorm();
    shown += weight * sighting.front_shown;
    all += weight;
  }
  return shown / std::max(all, 1e-9);
}

// Whether what was followed is one arrow in free flight at all.
std::vector<Doubt> is_no_arrow(const ShotAnalysis& analysis, const RefusalOptions& options) {
  const flight::FlightFit& fit = analysis.fit;
  const auto frames = static_cast<double>(analysis.sightings.size());
  const auto both = static_cast<double>(
      std::count_if(analysis.sightings.begin(), analysis.sightings.end(),
                    [](const auto& s) { return s.nock.has_value() && s.tip.has_value(); }));
  const std::string ends_seen =
      fmt::format("both ends of the arrow were seen in only {:.0f} of {:.0f} frames", both, frames);
  const char* const see_ends =
      "film from behind, at a higher rate, with more light, and with the arrow's flight clear of "
      "hat, hand and limb";
  // A flight that fits costs no more than about a half for each observation, whatever the noise, as
  // its sigmas are rescaled. Where it costs twice that, many sightings are of something else, or of
  // a part of the arrow.
  const double misfit = fit.cost / std::max(1, fit.centre_points + fit.ends + fit.middles);
  const double shown = middle_shown(analysis);
  const double front = front_shown(analysis);
  std::vector<Doubt> table{
      {both, Keep::at_least, static_cast<double>(options.least_frames), ends_seen, see_ends}};
  if (both >= options.least_frames) {
    // A string or a limb that swings has no ends that go along with it.
    table.push_back(
        {both / std::max(1.0, frames), Keep::at_least, options.least_share, ends_seen, see_ends});
  }
  table.push_back({fit.centre_scale, Keep::at_most, options.most_centre_scale,
                   "what was followed does not fly like one arrow seen from behind",
                   "film from behind and above the archer, looking downrange"});
  table.push_back({fit.end_scale, Keep::at_most, options.most_end_scale,
                   "what was taken for the ends of the arrow does not fly like them",
                   "use more light, and a background of another brightness than nock and point"});
  table.push_back({misfit, Keep::at_most, options.most_misfit,
                   "too many sightings lie off the flight that fits best",
                   "use more light, and a background of another brightness than the shaft"});
  // String and limbs move because the string was let go: a flight that says it was later followed
  // something else, or has its speed and place wrong. (One that can tell by itself has had its say,
  // see follow.)
  if (analysis.stroke) {
    table.push_back({analysis.stroke->loose_s - analysis.surge_s, Keep::at_most,
                     options.latest_loose_s,
                     "the arrow seems to leave after bow and string have come to rest",
                     "use more light, and keep the arrow's flight clear of hat, hand and limb"});
  }
  table.push_back(
      {shown, Keep::at_least, options.least_shown,
       fmt::format("only {:.0f} % of the shaft's length stands out from the ground", 100.0 * shown),
       "film the arrow before a background of another brightness"});
  // Vanes stand beside the axis: what they say alone may be off by degrees.
  if (shown >= options.least_shown) {
    table.push_back({front, Keep::at_least, options.least_front_shown,
                     fmt::format("only {:.0f} % of the shaft's front half stands out from the "
                                 "ground, and its rear alone does not tell its axis",
                                 100.0 * front),
                     "film the arrow before a background of another brightness"});
  }
  return those_that_hold(std::move(table));
}

// Whether marks are of one arrow in free flight. What is asked of the program's own sights, how
// much of the shaft stood out and in how many frames, is no question to a person.
std::vector<Doubt> marks_make_no_flight(const ShotAnalysis& analysis,
                                        const RefusalOptions& options) {
  const flight::FlightFit& fit = analysis.fit;
  const double scatter = std::max(fit.end_scale, fit.centre_scale);
  const double misfit = fit.cost / std::max(1, fit.centre_points + fit.ends);
  long worst_frame = 0;
  double worst = -1.0;
  for (const flight::FrameResidual& residual : fit.residuals) {
    const double off = std::max({residual.centre_rms, std::abs(residual.nock.value_or(0.0)),
                                 std::abs(residual.tip.value_or(0.0))});
    if (off > worst) {
      worst = off;
      worst_frame = analysis.frame_index[static_cast<std::size_t>(residual.frame)];
    }
  }
  const char* const what = "the marks do not lie on the flight of one arrow";
  const std::string again =
      fmt::format("look at the marks again, those of frame {} first", worst_frame);
  return those_that_hold({{scatter, Keep::at_most, options.most_mark_scale, what, again},
                          {misfit, Keep::at_most, options.most_misfit, what, again}});
}

// Whether what its flight says is of use.
std::vector<Doubt> is_of_no_use(const ShotAnalysis& analysis, const flight::Headline& headline,
                                const RefusalOptions& options, RateSource rate_source) {
  const double length = std::exp(analysis.fit.parameters[flight::kLogLength]);
  const double typical_speed = headline.speed_mps.value * 0.76 / length;
  const std::string would_fly =
      fmt::format("the arrow would fly at {:.0f} m/s", headline.speed_mps.value);
  const bool told = rate_source == RateSource::user;
  const std::string too_fast = would_fly + (told ? " at the given capture rate" : "");
  const char* const say_rate = told ? rules::kCheckRate : rules::kSayRate;
  const double offset =
      units::deg_from_rad(std::hypot(headline.right_rad.value, headline.high_rad.value));
  const double u95 = units::deg_from_rad(headline.right_rad.u95);
  const double high_u95 = units::deg_from_rad(headline.high_rad.u95);
  const double wandering = units::deg_from_rad(analysis.scatter.right_rad);
  const bool marked = analysis.by == ReadBy::hand;
  const char* const know_right = marked ? "mark more frames, over all of the flight, and tell how "
                                          "wide the picture is and the arrow's length"
                                        : "stand behind the line of flight, tell how wide the "
                                          "picture is and the arrow's length, use more "
                                          "light";
  const char* const know_high =
      marked ? "mark more frames, over all of the flight, and the frame in which the nock leaves "
               "the string"
             : "film from behind and above, closer to the line of flight, with more light";
  return those_that_hold(
      {{typical_speed, Keep::at_least, options.least_speed_mps, too_fast, say_rate},
       {typical_speed, Keep::at_most, options.most_speed_mps, too_fast, say_rate},
       {offset, Keep::at_most, options.most_offset_deg,
        fmt::format("the arrow seems to stand {:.0f} deg {}", offset, rules::kAcrossItsFlight),
        "stop shooting this arrow and check the set-up"},
       {u95, Keep::at_most, options.most_lateral_u95_deg,
        fmt::format("the sideways offset is only known within {:.1f} deg", u95), know_right},
       {wandering, Keep::at_most, options.most_wandering_deg,
        fmt::format("the arrow was seen too poorly to settle on one flight (answers up to {:.1f} "
                    "deg apart)",
                    4.0 * wandering),
        "use more light, a plainer background, and steady the phone"},
       {static_cast<double>(analysis.thirds_lost), Keep::at_most, 0.0,
        "the arrow was seen too poorly: two thirds of its frames alone make no flight",
        "use more light, a plainer background, and steady the phone"},
       {high_u95, Keep::at_most, options.most_vertical_u95_deg,
        fmt::format("the flight fits up and down only within {:.1f} deg", high_u95), know_high}});
}

std::vector<Doubt> behind_the_limb(const ShotAnalysis& analysis, const RefusalOptions& options) {
  const LimbInTheWay limb = limb_in_the_way(analysis);
  constexpr double kCentimetres = 100.0;
  constexpr double kLeast_cm = 2.0;
  const double move_cm = std::max(kLeast_cm, std::ceil(std::abs(limb.move_right_m) * kCentimetres));
  return those_that_hold(
      {{limb.share, Keep::at_most, options.most_behind_limb,
        fmt::format("the upper limb of the bow stands before the first metres of the flight "
                    "({:.0f} % of them)",
                    100.0 * limb.share),
        fmt::format("move the phone {:.0f} cm to the {}", move_cm,
                    limb.move_right_m > 0.0 ? "right" : "left")}});
}

}  // namespace

std::string why_refused(const ShotAnalysis& analysis, const flight::Headline& headline,
                        const RefusalOptions& options, RateSource rate_source) {
  const bool marked = analysis.by == ReadBy::hand;
  std::vector<Doubt> doubts =
      marked ? marks_make_no_flight(analysis, options) : is_no_arrow(analysis, options);
  if (doubts.empty()) {
    doubts = is_of_no_use(analysis, headline, options, rate_source);
  }
  // No doubt of its own, but where there is one its likely cause.
  if (!marked && !doubts.empty()) {
    std::vector<Doubt> cause = behind_the_limb(analysis, options);
    doubts.insert(doubts.begin(), cause.begin(), cause.end());
  }
  return in_one_sentence(doubts);
}

}  // namespace nocktrail::pipeline
