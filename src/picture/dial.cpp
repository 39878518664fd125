#include "dial.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "nocktrail/units/units.hpp"
#include "palette.hpp"

namespace nocktrail::picture {
namespace {

constexpr double kType_px = 30.0;

bool finite(const Measured& m) {
  return std::isfinite(m.value) && std::isfinite(m.u95);
}

// The curve whose extent in either direction is +-u95: the unit circle through a square root of
// the spread matrix (Cholesky, 2 by 2).
std::vector<Eigen::Vector2d> ellipse_deg(const DialContent& c) {
  const double rho = std::clamp(std::isfinite(c.correlation) ? c.correlation : 0.0, -1.0, 1.0);
  const double rest = std::sqrt(std::max(1.0 - rho * rho, 0.0));
  std::vector<Eigen::Vector2d> points;
  constexpr int kPoints = 96;
  for (int k = 0; k < kPoints; ++k) {
    const double a = 2.0 * std::numbers::pi * k / kPoints;
    points.emplace_back(
        c.nock_right_deg.value + c.nock_right_deg.u95 * std::cos(a),
        c.nock_high_deg.value + c.nock_high_deg.u95 * (rho * std::cos(a) + rest * std::sin(a)));
  }
  return points;
}

}  // namespace

DialScale dial_scale(const DialContent& content) {
  double reach = 1.5 * content.dead_band_deg;
  for (const Measured& m : {content.nock_right_deg, content.nock_high_deg}) {
    if (finite(m)) {
      reach = std::max(reach, std::abs(m.value) + std::min(m.u95, std::abs(m.value) + 2.0));
    }
  }
  for (const DialScale& scale :
       {DialScale{3.0, 1.0}, DialScale{4.0, 1.0}, DialScale{5.0, 1.0}, DialScale{6.0, 2.0},
        DialScale{8.0, 2.0}, DialScale{10.0, 2.0}, DialScale{15.0, 5.0}, DialScale{20.0, 5.0},
        DialScale{30.0, 10.0}, DialScale{45.0, 15.0}}) {
    if (reach * 1.05 <= scale.edge_deg) {
      return scale;
    }
  }
  return {90.0, 30.0};
}

void draw_dial(Canvas& canvas, const Box& box, const DialContent& given) {
  const DialScale scale = dial_scale(given);
  DialContent content = given;
  // Whatever lies far outside is cut off by the dial's edge; keep it within cairo's numbers.
  const double far_deg = 4.0 * scale.edge_deg;
  for (Measured* m : {&content.nock_right_deg, &content.nock_high_deg}) {
    if (finite(*m)) {
      *m = {std::clamp(m->value, -far_deg, far_deg), std::clamp(m->u95, 0.0, far_deg)};
    }
  }
  const Type small{kType_px, false, kSoftInk, false};
  const Type words{kType_px, true, kInk, false};
  // Room for a title line above, and words on all four sides.
  const double word_width = canvas.text_width_px("right", words) + 14.0;
  const double top = box.y + 2.0 * kType_px + 24.0;
  const double radius = std::min(0.5 * box.width - word_width,
                                 0.5 * (box.bottom() - kType_px - 10.0 - top - kType_px));
  const Eigen::Vector2d centre(box.x + 0.5 * box.width, top + kType_px + radius);
  const double px_per_deg = radius / scale.edge_deg;
  const auto at = [&](double right_deg, double high_deg) {
    return Eigen::Vector2d(centre.x() + px_per_deg * right_deg, centre.y() - px_per_deg * high_deg);
  };

  canvas.text("Nock seen from behind, degrees", {box.x, box.y + kType_px}, words);

  const double cant_rad = units::rad_from_deg(content.cant_deg.value_or(0.0));
  const Eigen::Vector2d bow_up(std::sin(cant_rad), std::cos(cant_rad));
  const Eigen::Vector2d bow_right(std::cos(cant_rad), -std::sin(cant_rad));
  std::vector<Eigen::Vector2d> band;
  for (const auto& [right, up] : {std::pair{-1, -1}, {1, -1}, {1, 1}, {-1, 1}}) {
    const Eigen::Vector2d corner = content.dead_band_deg * (right * bow_right + up * bow_up);
    band.push_back(at(corner.x(), corner.y()));
  }
  canvas.fill_path(band, kBandFill, 1.0);

  const int rings = static_cast<int>(std::lround(scale.edge_deg / scale.ring_deg));
  for (int ring = 1; ring <= rings; ++ring) {
    const double ring_deg = ring * scale.ring_deg;
    canvas.circle(centre, px_per_deg * ring_deg, {kRule, ring == rings ? 3.0 : 1.5, {}, false});
  }
  canvas.path({at(-scale.edge_deg, 0.0), at(scale.edge_deg, 0.0)}, {kRule, 1.5, {}, false});
  canvas.path({at(0.0, -scale.edge_deg), at(0.0, scale.edge_deg)}, {kRule, 1.5, {}, false});
  canvas.path(band, {kSoftInk, 2.0, {3.0, 4.0}, false}, true);
  if (content.cant_deg) {
    const Eigen::Vector2d up = scale.edge_deg * bow_up;
    canvas.path({at(-up.x(), -up.y()), at(up.x(), up.y())}, {kSoftInk, 3.0, {14.0, 6.0}, false});
  }

  canvas.clip_to_disc(centre, radius);
  const Eigen::Vector2d nock = at(content.nock_right_deg.value, content.nock_high_deg.value);
  if (finite(content.nock_right_deg) && finite(content.nock_high_deg)) {
    std::vector<Eigen::Vector2d> ellipse;
    for (const Eigen::Vector2d& p : ellipse_deg(content)) {
      ellipse.push_back(at(p.x(), p.y()));
    }
    canvas.fill_path(ellipse, kShaft, 0.20);
    canvas.path(ellipse, {kShaft, 3.0, {9.0, 5.0}, false}, true);
    canvas.path({centre, nock}, {kShaft, 6.0, {}, false});
    canvas.disc(nock, 10.0, kShaft);
  }
  canvas.disc(centre, 7.0, kInk);
  canvas.release_clip();

  // Ring figures go below left of the centre or right of it, wherever the arrow is not.
  const bool arrow_low_right =
      content.nock_right_deg.value > 0.0 && content.nock_high_deg.value < 0.0;
  const double side = arrow_low_right ? -1.0 : 1.0;
  for (int ring = 1; ring <= rings; ++ring) {
    const double d = ring * scale.ring_deg * std::numbers::sqrt2 / 2.0;
    Type figure = small;
    figure.size_px = 26.0;
    figure.halo = true;
    canvas.text(fmt::format("{:g}°", ring * scale.ring_deg),
                at(side * d, -d) + Eigen::Vector2d(0.0, 9.0), figure, Anchor::middle);
  }
  const double half = 0.35 * kType_px;
  canvas.text("high", {centre.x(), centre.y() - radius - 10.0}, words, Anchor::middle);
  canvas.text("low", {centre.x(), centre.y() + radius + kType_px + 2.0}, words, Anchor::middle);
  canvas.text("left", {centre.x() - radius - 12.0, centre.y() + half}, words, Anchor::right);
  canvas.text("right", {centre.x() + radius + 12.0, centre.y() + half}, words, Anchor::left);

  const std::string band_words =
      fmt::format("square: dead band ±{:g}°{}", content.dead_band_deg,
                  content.cant_deg ? fmt::format(", bow at {:.3g}°", *content.cant_deg) : "");
  canvas.text(band_words, {box.x, box.y + 2.0 * kType_px + 8.0}, small);
}

}  // namespace nocktrail::picture
