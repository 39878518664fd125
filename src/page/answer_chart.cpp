#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "charts.hpp"
#include "numbers.hpp"
#include "plot.hpp"
#include "style.hpp"

namespace nocktrail::page {
namespace {

constexpr double kHeight_px = 340.0;

using Outline = std::vector<Eigen::Vector2d>;

std::size_t length(const tune::Learned::Curve& curve) {
  return std::min(curve.at.size(), curve.offset_deg.size());
}

Outline band_outline(const tune::Learned::Curve& curve, double in_si) {
  Outline points;
  for (std::size_t i = 0; i < length(curve); ++i) {
    points.emplace_back(curve.at[i] / in_si, curve.offset_deg[i].high95);
  }
  for (std::size_t i = length(curve); i-- > 0;) {
    points.emplace_back(curve.at[i] / in_si, curve.offset_deg[i].low95);
  }
  return points;
}

Outline middle_line(const tune::Learned::Curve& curve, double in_si) {
  Outline points;
  for (std::size_t i = 0; i < length(curve); ++i) {
    points.emplace_back(curve.at[i] / in_si, curve.offset_deg[i].median);
  }
  return points;
}

std::string caption(const tune::Learned& learned, bool to) {
  std::string words =
      "Dots with bars: the set-ups' mean offsets with 95 % intervals, by their numbers; equal "
      "ones stand side by side. ";
  if (learned.prior) {
    words += "Dashed: what the arrow model expected before any shot; dotted: its 95 % band. ";
  } else {
    words += "No model expectation: the set-up's facts do not suffice for one. ";
  }
  words += learned.prior ? "Solid with shading: what follows from both"
                         : "Solid with shading: what follows from the shots";
  words += ", with the 95 % band of the mean offset. ";
  if (learned.straight_at && finite(*learned.straight_at)) {
    words += "Bracket at zero: where the arrow is expected to leave straight, 95 %. ";
  }
  if (to) {
    words += "Upright dotted line: the recommended next step. ";
  }
  words += "Shaded strip: the dead band.";
  return words;
}

std::string description(const tune::Learned& learned, std::optional<double> to) {
  std::string words = fmt::format("{} offset against {}.",
                                  learned.vertical ? "Vertical" : "Lateral", name_of(learned));
  for (const tune::Learned::Point& point : learned.data) {
    words += fmt::format(" {}: {} deg at {}.", point.setup,
                         offset_cell(point.offset_deg, learned.vertical),
                         quantity_words(learned.quantity, point.at));
  }
  if (learned.straight_at && finite(*learned.straight_at)) {
    words += fmt::format(" Expected straight at {}.",
                         quantity_words(learned.quantity, learned.straight_at->median));
  }
  if (to) {
    words += fmt::format(" The next step leads to {}.", quantity_words(learned.quantity, *to));
  }
  return words;
}

// Set-ups that do not differ in this quantity stand side by side, so that each shows.
void draw_data(Plot& plot, const tune::Learned& learned, const std::vector<SetupView>& setups,
               double in_si) {
  constexpr double kAside_px = 7.0;
  constexpr double kSame_px = 2.0;
  const double per_px = plot.x_range().span() / (plot.right_px() - plot.left_px());
  for (std::size_t i = 0; i < learned.data.size(); ++i) {
    const tune::Learned::Point& point = learned.data[i];
    double at = point.at / in_si;
    int before = 0;
    for (std::size_t k = 0; k < i; ++k) {
      const bool same = std::abs(learned.data[k].at / in_si - at) < kSame_px * per_px;
      before += same ? 1 : 0;
    }
    at -= before * kAside_px * per_px;
    plot.error_bar_y(at, point.offset_deg.value, point.offset_deg.u95, kInk, 2.0);
    plot.mark(at, point.offset_deg.value, Plot::Mark::dot, kInk, 4.5);
    const auto setup = std::find_if(setups.begin(), setups.end(), [&](const SetupView& view) {
      return view.judged->name == point.setup;
    });
    if (setup != setups.end()) {
      plot.label(at, point.offset_deg.value, before == 0 ? 8.0 : -8.0, -6.0,
                 before == 0 ? "start" : "end", std::to_string(setup - setups.begin() + 1), kInk);
    }
  }
}

}  // namespace

void answer_chart(pugi::xml_node parent, const std::string& id, const tune::Learned& learned,
                  const std::vector<SetupView>& setups, std::optional<double> to,
                  double dead_band_deg) {
  const QuantityUnit unit = unit_of(learned.quantity);
  Range x{1e300, -1e300};
  Range y{-1.5 * dead_band_deg, 1.5 * dead_band_deg};
  for (const tune::Learned::Point& point : learned.data) {
    x.hold(point.at / unit.in_si);
    y.hold(point.offset_deg.value, point.offset_deg.u95);
  }
  for (const double at : learned.posterior.at) {
    x.hold(at / unit.in_si);
  }
  if (to) {
    x.hold(*to / unit.in_si);
  }
  // The model's own band may be many times wider than what was learnt; it may be cut off.
  Range whole = y;
  for (const arrow::Band& band : learned.posterior.offset_deg) {
    y.hold(band.median);
    whole.hold(band.low95);
    whole.hold(band.high95);
  }
  if (learned.prior) {
    for (const arrow::Band& band : learned.prior->offset_deg) {
      whole.hold(band.low95);
      whole.hold(band.high95);
    }
  }
  const Range roomy = y.widened(0.35);
  y = {std::max(whole.low, roomy.low), std::min(whole.high, roomy.high)};
  if (x.low > x.high) {
    x = {-1.0, 1.0};
  }

  const pugi::xml_node svg = chart(
      parent, id,
      fmt::format("{} offset against {}", learned.vertical ? "Vertical" : "Lateral",
                  name_of(learned)),
      description(learned, to), caption(learned, to.has_value()), Plot::kWidth_px, kHeight_px);
  Plot plot(svg, id, kHeight_px, x.widened(0.05), y.widened(0.05), false);
  plot.dead_band_y(dead_band_deg);
  plot.area(band_outline(learned.posterior, unit.in_si), kBlueFill, 0.75);
  plot.axes(fmt::format("{} ({})", name_of(learned), unit.unit),
            learned.vertical ? "vertical (deg), + nock high" : "lateral (deg), + nock right", 0, 0,
            false);
  if (learned.prior) {
    Outline low;
    Outline high;
    for (std::size_t i = 0; i < length(*learned.prior); ++i) {
      const arrow::Band& band = learned.prior->offset_deg[i];
      low.emplace_back(learned.prior->at[i] / unit.in_si, band.low95);
      high.emplace_back(learned.prior->at[i] / unit.in_si, band.high95);
    }
    plot.curve(low, kRust, 1.5, "2 3");
    plot.curve(high, kRust, 1.5, "2 3");
    plot.curve(middle_line(*learned.prior, unit.in_si), kRust, 2.0, "9 5");
  }
  plot.curve(middle_line(learned.posterior, unit.in_si), kBlue, 2.6);
  if (learned.straight_at && finite(*learned.straight_at)) {
    const double low = learned.straight_at->low95 / unit.in_si;
    const double high = learned.straight_at->high95 / unit.in_si;
    const double tall = 0.02 * plot.y_range().span();
    plot.line(low, 0.0, high, 0.0, kInk, 4.0);
    plot.line(low, -tall, low, tall, kInk, 2.0);
    plot.line(high, -tall, high, tall, kInk, 2.0);
  }
  if (to) {
    const double at = *to / unit.in_si;
    plot.line(at, plot.y_range().low, at, plot.y_range().high, kInk, 2.0, "1 4");
    const bool left_half = plot.x(at) < 0.5 * (plot.left_px() + plot.right_px());
    plot.label(at, plot.y_range().high, left_half ? 6.0 : -6.0, 16.0, left_half ? "start" : "end",
               "next step", kInk);
  }
  draw_data(plot, learned, setups, unit.in_si);
}

}  // namespace nocktrail::page
