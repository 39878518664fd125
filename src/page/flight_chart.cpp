#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "charts.hpp"
#include "numbers.hpp"
#include "plot.hpp"
#include "style.hpp"

namespace nocktrail::page {
namespace {

constexpr double kHeight_px = 300.0;
// The contract's reference distance, nock past the rest.
constexpr double kReference_m = 2.0;
// Where a clip from behind sees the arrow well; drawn alike for every shot.
constexpr double kFrom_m = 1.0;
constexpr double kTo_m = 5.0;
constexpr double kMargin_m = 0.3;  // for the lines' numbers
constexpr std::array<const char*, 5> kDashes{"", "8 3", "3 3", "10 3 3 3", "1 3"};

struct Line {
  int number = 0;
  Measured at_reference;
  Measured slope;
  bool dropped = false;

  double at(double z_m) const { return at_reference.value + (z_m - kReference_m) * slope.value; }
  double u95_at(double z_m) const {
    return std::hypot(at_reference.u95, (z_m - kReference_m) * slope.u95);
  }
};

std::vector<Line> lines_of(const SetupView& setup, bool vertical) {
  std::vector<Line> lines;
  for (const ShotView& view : setup.shots) {
    const std::optional<Measured>& slope =
        vertical ? view.vert_slope_deg_per_m : view.lat_slope_deg_per_m;
    const Measured& offset = vertical ? view.judged->vert_deg : view.judged->lat_deg;
    if (slope && finite(*slope) && finite(offset)) {
      lines.push_back({view.number, offset, *slope, view.judged->dropped});
    }
  }
  return lines;
}

// Places for the numbers at the lines' ends, about a line of text apart, each near its line.
std::vector<double> spread(const std::vector<double>& wanted_px, double low, double high) {
  constexpr double kApart_px = 13.0;
  constexpr int kRounds = 100;
  std::vector<std::size_t> order(wanted_px.size());
  for (std::size_t i = 0; i < order.size(); ++i) {
    order[i] = i;
  }
  std::sort(order.begin(), order.end(),
            [&](std::size_t a, std::size_t b) { return wanted_px[a] < wanted_px[b]; });
  std::vector<double> places = wanted_px;
  for (int round = 0; round < kRounds; ++round) {
    for (std::size_t k = 0; k + 1 < order.size(); ++k) {
      double& upper = places[order[k]];
      double& lower = places[order[k + 1]];
      const double missing = kApart_px - (lower - upper);
      if (missing > 0.0) {
        upper -= 0.5 * missing;
        lower += 0.5 * missing;
      }
    }
    for (double& place : places) {
      place = std::clamp(place, low, high);
    }
  }
  return places;
}

double spread_at(const std::vector<Line>& lines, double z_m) {
  const auto [least, most] =
      std::minmax_element(lines.begin(), lines.end(),
                          [&](const Line& a, const Line& b) { return a.at(z_m) < b.at(z_m); });
  return most->at(z_m) - least->at(z_m);
}

}  // namespace

pugi::xml_node flight_help(pugi::xml_node parent) {
  return element(
      parent, "p", {{"class", "soft lead"}},
      "A line a shot, numbered at its end: the offset with the nock 2 m past the rest (dot) "
      "and its change by the metre there, drawn on from 1 to 5 m; the shading is the 95 % band, "
      "the two taken as independent. A fletched arrow swings back, so that far from 2 m its true "
      "offset leaves the line. Shaded strip: the dead band.");
}

void flight_chart(pugi::xml_node parent, const std::string& id, const SetupView& setup,
                  bool vertical, double dead_band_deg) {
  const std::vector<Line> lines = lines_of(setup, vertical);
  if (lines.empty()) {
    return;
  }
  Range y{-1.2 * dead_band_deg, 1.2 * dead_band_deg};
  std::string said =
      fmt::format("{} offset against distance past the rest.", vertical ? "Vertical" : "Lateral");
  for (const Line& line : lines) {
    y.hold(line.at(kFrom_m), line.u95_at(kFrom_m));
    y.hold(line.at(kTo_m), line.u95_at(kTo_m));
    said += fmt::format(" Shot {}: {} deg at 2 m, changing by {} deg a metre{}.", line.number,
                        offset_cell(line.at_reference, vertical), signed_interval(line.slope),
                        line.dropped ? ", left out" : "");
  }
  const pugi::xml_node svg = chart(parent, id,
                                   fmt::format("{}: {} offset along the flight", setup.judged->name,
                                               vertical ? "vertical" : "lateral"),
                                   said, "", Plot::kWidth_px, kHeight_px);
  Plot plot(svg, id, kHeight_px, {kFrom_m - kMargin_m, kTo_m + kMargin_m}, y.widened(0.04), false);
  plot.dead_band_y(dead_band_deg);
  plot.axes("nock past the rest (m)", vertical ? "deg, + nock high" : "deg, + nock right", 0, 0,
            false);
  constexpr int kSteps = 16;
  for (const Line& line : lines) {
    std::vector<Eigen::Vector2d> band;
    for (int side = 0; side < 2; ++side) {
      for (int i = 0; i <= kSteps; ++i) {
        const double share = static_cast<double>(side == 0 ? i : kSteps - i) / kSteps;
        const double z_m = kFrom_m + share * (kTo_m - kFrom_m);
        band.emplace_back(z_m, line.at(z_m) + (side == 0 ? 1.0 : -1.0) * line.u95_at(z_m));
      }
    }
    plot.area(band, kBlueFill, 0.22);
  }
  plot.line(kReference_m, plot.y_range().low, kReference_m, plot.y_range().high, kSoft, 1.2, "4 4");
  // The numbers stand where the lines lie further apart.
  const bool left = spread_at(lines, kFrom_m) > spread_at(lines, kTo_m);
  const double end_m = left ? kFrom_m : kTo_m;
  std::vector<double> ends;
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const Line& line = lines[i];
    plot.curve({{kFrom_m, line.at(kFrom_m)}, {kTo_m, line.at(kTo_m)}}, line.dropped ? kSoft : kBlue,
               1.8, kDashes[i % kDashes.size()]);
    plot.mark(kReference_m, line.at(kReference_m),
              line.dropped ? Plot::Mark::cross : Plot::Mark::dot, kInk, 3.0);
    ends.push_back(plot.y(line.at(end_m)) + 4.5);
  }
  const std::vector<double> places = spread(ends, plot.top_px() + 12.0, plot.bottom_px() - 4.0);
  for (std::size_t i = 0; i < lines.size(); ++i) {
    plot.words(plot.x(end_m) + (left ? -5.0 : 5.0), places[i], left ? "end" : "start",
               std::to_string(lines[i].number), kInk, 12);
  }
}

}  // namespace nocktrail::page
