#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "charts.hpp"
#include "numbers.hpp"
#include "plot.hpp"
#include "region.hpp"
#include "style.hpp"

namespace nocktrail::page {
namespace {

constexpr double kHeight_px = 430.0;

Plot::Mark mark_of(const tune::JudgedShot& shot) {
  if (shot.dropped) {
    return Plot::Mark::cross;
  }
  return shot.outlier ? Plot::Mark::diamond : Plot::Mark::dot;
}

std::string description(const SetupView& setup) {
  std::string words = "Seen from behind: right is the shooter's right, up is nock high.";
  for (const ShotView& view : setup.shots) {
    words += fmt::format(" Shot {}: {}, {}{}.", view.number, lateral_cell(view.judged->lat_deg),
                         vertical_cell(view.judged->vert_deg),
                         view.judged->dropped   ? ", left out"
                         : view.judged->outlier ? ", far from the others"
                                                : "");
  }
  return words;
}

std::string caption(const SetupView& setup, const Regions& regions) {
  std::string words = regions.mean.empty() ? "Too few shots for an ellipse." : "";
  const auto add = [&](const char* more) {
    words += words.empty() ? more : fmt::format(" {}", more);
  };
  const auto any = [&](bool tune::JudgedShot::*flag) {
    return std::any_of(setup.shots.begin(), setup.shots.end(),
                       [&](const ShotView& view) { return view.judged->*flag; });
  };
  if (any(&tune::JudgedShot::outlier)) {
    add("Open diamond: far from the others, counts less.");
  }
  if (any(&tune::JudgedShot::dropped)) {
    add("×: left out.");
  }
  return words;
}

void corner_words(Plot& plot, Hand hand) {
  const double row = plot.bottom_px() - 8.0;
  if (hand == Hand::unknown) {
    plot.words(plot.left_px() + 7.0, row, "start", "nock left", kSoft, 12);
    plot.words(plot.right_px() - 7.0, row, "end", "nock right", kSoft, 12);
  } else {
    const bool right = hand == Hand::right;
    plot.words(plot.left_px() + 7.0, row, "start", right ? "left: weak" : "left: stiff", kSoft, 12);
    plot.words(plot.right_px() - 7.0, row, "end", right ? "right: stiff" : "right: weak", kSoft,
               12);
  }
}

// Each number on the far side of its mark from the middle of all, where there is most room.
void number_marks(Plot& plot, const SetupView& setup) {
  Eigen::Vector2d middle = Eigen::Vector2d::Zero();
  double count = 0.0;
  for (const ShotView& view : setup.shots) {
    if (finite(view.judged->lat_deg) && finite(view.judged->vert_deg)) {
      middle += Eigen::Vector2d(view.judged->lat_deg.value, view.judged->vert_deg.value);
      count += 1.0;
    }
  }
  middle /= std::max(count, 1.0);
  constexpr double kAside_px = 12.0;
  constexpr double kHalfCapital_px = 4.5;
  for (const ShotView& view : setup.shots) {
    const double lat = view.judged->lat_deg.value;
    const double vert = view.judged->vert_deg.value;
    Eigen::Vector2d away(plot.x(lat) - plot.x(middle.x()), plot.y(vert) - plot.y(middle.y()));
    away = away.norm() > 1.0 ? Eigen::Vector2d(away.normalized()) : Eigen::Vector2d(0.7, -0.7);
    plot.label(lat, vert, kAside_px * away.x(), kAside_px * away.y() + kHalfCapital_px, "middle",
               std::to_string(view.number), kInk);
  }
}

}  // namespace

pugi::xml_node scatter_help(pugi::xml_node parent) {
  return element(
      parent, "p", {{"class", "soft lead"}},
      "The charts show the nock as seen from behind the archer, square to the bow. Each numbered "
      "mark is a shot with its 95 % intervals (thin lines); the heavy cross is the mean with its "
      "own. The solid ellipse holds the true mean with 95 % chance, both offsets at once; the "
      "dashed one holds 95 % of further shots, the error of measuring left out. Shaded square: the "
      "dead band, as good as straight.");
}

void scatter_chart(pugi::xml_node parent, const std::string& id, const SetupView& setup,
                   double dead_band_deg) {
  const tune::SetupJudgement& judged = *setup.judged;
  const Regions regions = regions95(judged);
  Range x{-1.4 * dead_band_deg, 1.4 * dead_band_deg};
  Range y = x;
  for (const ShotView& view : setup.shots) {
    x.hold(view.judged->lat_deg.value);
    y.hold(view.judged->vert_deg.value);
  }
  if (judged.lateral && judged.vertical) {
    x.hold(judged.lateral->mean_deg, judged.lateral->u95_deg);
    y.hold(judged.vertical->mean_deg, judged.vertical->u95_deg);
  }
  for (const Eigen::Vector2d& point : regions.mean) {
    x.hold(point.x());
    y.hold(point.y());
  }
  // The region of further shots too, unless a few shots make it so wide that it would crush them.
  Range wide_x = x;
  Range wide_y = y;
  for (const Eigen::Vector2d& point : regions.shots) {
    wide_x.hold(point.x());
    wide_y.hold(point.y());
  }
  constexpr double kMostWider = 4.0;
  if (std::max(wide_x.span(), wide_y.span()) < kMostWider * std::max(x.span(), y.span())) {
    x = wide_x;
    y = wide_y;
  }

  const pugi::xml_node svg =
      chart(parent, id, fmt::format("{}: where the nock trailed", judged.name), description(setup),
            caption(setup, regions), Plot::kWidth_px, kHeight_px);
  Plot plot(svg, id, kHeight_px, x.widened(0.06), y.widened(0.06), true);
  plot.dead_square(dead_band_deg);
  plot.axes("lateral offset (deg), + nock right", "vertical offset (deg), + nock high", 0, 0, true);
  if (!regions.shots.empty()) {
    plot.area(regions.shots, kBlueFill, 0.22, kBlue, "7 4");
    plot.area(regions.mean, kBlueFill, 0.75, kBlue);
  }
  for (const ShotView& view : setup.shots) {
    const Measured& lat = view.judged->lat_deg;
    const Measured& vert = view.judged->vert_deg;
    plot.error_bar_x(vert.value, lat.value, lat.u95, kSoft, 0.7);
    plot.error_bar_y(lat.value, vert.value, vert.u95, kSoft, 0.7);
  }
  if (judged.lateral && judged.vertical) {
    const Measured lat = measured(*judged.lateral);
    const Measured vert = measured(*judged.vertical);
    plot.error_bar_x(vert.value, lat.value, lat.u95, kBlue, 3.0);
    plot.error_bar_y(lat.value, vert.value, vert.u95, kBlue, 3.0);
  }
  for (const ShotView& view : setup.shots) {
    plot.mark(view.judged->lat_deg.value, view.judged->vert_deg.value, mark_of(*view.judged), kInk,
              4.0);
  }
  number_marks(plot, setup);
  corner_words(plot, setup.record->facts.hand);
}

}  // namespace nocktrail::page
