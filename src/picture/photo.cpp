#include "photo.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <string>
#include <utility>

#include "palette.hpp"

namespace nocktrail::picture {
namespace {

const Stroke kPanelEdge{kInk, 2.0, {}, false};
const Stroke kShaftLine{kShaft, 4.0, {}, true};
const Stroke kFlightLine{kFlight, 4.0, {16.0, 9.0}, true};
const Stroke kLimbLine{kInk, 4.0, {3.0, 9.0}, true};
constexpr Type kLabel{30.0, true, kInk, true};

// Enlarging beyond this shows blocks, not the arrow.
constexpr double kMostEnlarged = 14.0;

// Integer pixel coordinates are pixel centres in the readings, corners on the canvas.
Eigen::Vector2d to_panel(const View& view, const Box& box, const Eigen::Vector2d& px) {
  return Eigen::Vector2d(box.x, box.y) +
         view.scale * (px + Eigen::Vector2d(0.5, 0.5) - view.origin_px);
}

// The part of the picture in view, resampled to the panel's pixels.
cv::Mat resampled(const cv::Mat& bgr, const View& view, const Box& box) {
  // Pixel-centre coordinates on both sides: dst + 0.5 = scale (src + 0.5 - origin).
  const double s = view.scale;
  const cv::Matx23d panel_from_picture(s, 0.0, s * (0.5 - view.origin_px.x()) - 0.5,  //
                                       0.0, s, s * (0.5 - view.origin_px.y()) - 0.5);
  cv::Mat source = bgr;
  cv::Matx23d matrix = panel_from_picture;
  if (s < 0.6) {
    // Shrinking by sampling alone would drop thin shafts: average over areas first.
    const double factor = std::max(s, 0.05);
    cv::resize(bgr, source, {}, factor, factor, cv::INTER_AREA);
    const double fx = static_cast<double>(source.cols) / bgr.cols;
    const double fy = static_cast<double>(source.rows) / bgr.rows;
    matrix = cv::Matx23d(s / fx, 0.0, s * (0.5 / fx - view.origin_px.x()) - 0.5,  //
                         0.0, s / fy, s * (0.5 / fy - view.origin_px.y()) - 0.5);
  }
  cv::Mat out;
  cv::warpAffine(source, out, matrix,
                 cv::Size(std::max(cvRound(box.width), 1), std::max(cvRound(box.height), 1)),
                 cv::INTER_CUBIC, cv::BORDER_CONSTANT, cv::Scalar::all(255));
  return out;
}

void no_picture(Canvas& canvas, const Box& box) {
  canvas.fill(box, {0.93, 0.93, 0.92});
  canvas.text("no frame of the clip to show", box.centre(), {30.0, false, kSoftInk, false},
              Anchor::middle);
  canvas.frame(box, kPanelEdge);
}

std::string distance_words(double z_m) {
  return fmt::format("{}{:.1f} m", z_m <= -0.05 ? "−" : "", std::abs(z_m));
}

// Puts words beside a line's end, on the side that `away` points to, inside the box.
void label_beside(Canvas& canvas, const Box& box, const std::string& words,
                  const Eigen::Vector2d& end, const Eigen::Vector2d& away) {
  const double width = canvas.text_width_px(words, kLabel);
  const double gap = 16.0;
  double x = away.x() >= 0.0 ? end.x() + gap : end.x() - gap - width;
  double y = end.y() + (away.y() >= 0.0 ? kLabel.size_px : 0.0);
  x = std::clamp(x, box.x + 10.0, std::max(box.right() - width - 10.0, box.x + 10.0));
  y = std::clamp(y, box.y + kLabel.size_px + 4.0, box.bottom() - 12.0);
  canvas.text(words, {x, y}, kLabel);
}

constexpr double kLegendRow_px = 44.0;

struct LegendEntry {
  std::string words;
  std::optional<Stroke> stroke;  // empty: words alone
};

// What the line styles mean, along the foot of a panel, in as many rows as its width asks for.
// Returns what is left of the panel above it.
Box legend(Canvas& canvas, const Box& box, const std::vector<LegendEntry>& entries) {
  const Type type{28.0, false, kInk, false};
  constexpr double kSample_px = 60.0;
  constexpr double kPad_px = 14.0;
  const auto width_of = [&](const LegendEntry& e) {
    const double sample = e.stroke ? kSample_px + kPad_px : 0.0;
    return kPad_px + sample + canvas.text_width_px(e.words, type) + kPad_px;
  };
  int rows = 1;
  double x = 0.0;
  std::vector<std::pair<double, int>> places;
  for (const LegendEntry& e : entries) {
    const double width = width_of(e);
    if (x > 0.0 && x + width > box.width) {
      x = 0.0;
      ++rows;
    }
    places.emplace_back(x, rows - 1);
    x += width;
  }
  Box strip = box;
  strip.height = kLegendRow_px * rows;
  strip.y = box.bottom() - strip.height;
  canvas.fill(strip, {1.0, 1.0, 1.0});
  for (std::size_t k = 0; k < entries.size(); ++k) {
    double left = strip.x + places[k].first + kPad_px;
    const double y = strip.y + (places[k].second + 0.5) * kLegendRow_px;
    if (entries[k].stroke) {
      canvas.path({{left, y}, {left + kSample_px, y}}, *entries[k].stroke);
      left += kSample_px + kPad_px;
    }
    canvas.text(entries[k].words, {left, y + 10.0}, type);
  }
  Box rest = box;
  rest.height -= strip.height;
  return rest;
}

}  // namespace

View view_of(const std::vector<Eigen::Vector2d>& points_px, const cv::Size& picture, const Box& box,
             double margin, double least_width_px) {
  const Eigen::Vector2d size(picture.width, picture.height);
  Eigen::Vector2d low = size;
  Eigen::Vector2d high = Eigen::Vector2d::Zero();
  for (const Eigen::Vector2d& p : points_px) {
    low = low.cwiseMin(p);
    high = high.cwiseMax(p);
  }
  if (points_px.empty()) {
    low.setZero();
    high = size;
  }
  const double aspect = box.width / box.height;
  const Eigen::Vector2d needed = (high - low) / std::max(1.0 - 2.0 * margin, 0.1);
  const double width = std::max({needed.x(), needed.y() * aspect, least_width_px, 1.0});
  const Eigen::Vector2d extent(width, width / aspect);
  View view;
  view.origin_px = 0.5 * (low + high) - 0.5 * extent;
  for (int k = 0; k < 2; ++k) {
    const double slack = size(k) - extent(k);
    // A view larger than the picture is centred on it.
    view.origin_px(k) = slack > 0.0 ? std::clamp(view.origin_px(k), 0.0, slack) : 0.5 * slack;
  }
  view.scale = box.width / width;
  return view;
}

void draw_strobe_panel(Canvas& canvas, const Box& box, const cv::Mat& strobe,
                       const std::vector<Instant>& all, const std::vector<Instant>& shown,
                       const std::vector<Eigen::Vector2d>& limb_px) {
  if (strobe.empty()) {
    no_picture(canvas, box);
    return;
  }
  std::vector<LegendEntry> entries{{"fitted shaft, nock ringed", kShaftLine},
                                   {"flight path", kFlightLine}};
  if (!limb_px.empty()) {
    entries.push_back({"limb as the arrow left", kLimbLine});
  }
  entries.push_back({"figures: nock, metres past the rest", std::nullopt});
  const Box photo = legend(canvas, box, entries);
  std::vector<Eigen::Vector2d> points;
  for (const Instant& i : shown) {
    points.push_back(i.nock_in_reference_px);
    points.push_back(i.tip_in_reference_px);
  }
  const View view = view_of(points, strobe.size(), photo, 0.14, 0.30 * strobe.cols);
  canvas.picture(resampled(strobe, view, photo), photo.x, photo.y);
  canvas.clip_to(photo);

  std::vector<Eigen::Vector2d> flight;
  for (const Instant& i : all) {
    flight.push_back(to_panel(view, photo, 0.5 * (i.nock_in_reference_px + i.tip_in_reference_px)));
  }
  canvas.path(flight, kFlightLine);
  std::vector<Eigen::Vector2d> limb;
  for (const Eigen::Vector2d& point : limb_px) {
    limb.push_back(to_panel(view, photo, point));
  }
  canvas.path(limb, kLimbLine);

  double last_label_y = -1e9;
  double last_label_x = -1e9;
  for (const Instant& i : shown) {
    const Eigen::Vector2d nock = to_panel(view, photo, i.nock_in_reference_px);
    const Eigen::Vector2d tip = to_panel(view, photo, i.tip_in_reference_px);
    canvas.path({nock, tip}, {kShaft, 2.5, {}, false});
    canvas.circle(nock, 9.0, {kShaft, 4.0, {}, true});
    const double apart = std::hypot(nock.x() - last_label_x, nock.y() - last_label_y);
    if (apart > 1.3 * kLabel.size_px) {
      // On the side to which the nock trails, clear of the shaft and the path.
      const double away = i.fitted.nock_px.x() < i.fitted.straight_nock_px.x() ? -1.0 : 1.0;
      const double drop = 0.35 * kLabel.size_px;
      label_beside(canvas, photo, distance_words(i.fitted.nock_z_m),
                   nock + Eigen::Vector2d(0.0, drop), {away, -1.0});
      last_label_y = nock.y();
      last_label_x = nock.x();
    }
  }
  canvas.release_clip();
  canvas.frame(box, kPanelEdge);
}

void draw_enlarged_panel(Canvas& canvas, const Box& box, const cv::Mat& frame,
                         const FittedFrame& fitted) {
  if (frame.empty()) {
    no_picture(canvas, box);
    return;
  }
  const std::vector<Eigen::Vector2d> points{fitted.nock_px, fitted.tip_px, fitted.straight_nock_px};
  const Box photo =
      legend(canvas, box, {{"fitted shaft", kShaftLine}, {"flight direction", kFlightLine}});
  const View view = view_of(points, frame.size(), photo, 0.20, photo.width / kMostEnlarged);
  canvas.picture(resampled(frame, view, photo), photo.x, photo.y);
  canvas.clip_to(photo);
  const Eigen::Vector2d nock = to_panel(view, photo, fitted.nock_px);
  const Eigen::Vector2d tip = to_panel(view, photo, fitted.tip_px);
  const Eigen::Vector2d straight = to_panel(view, photo, fitted.straight_nock_px);
  const Eigen::Vector2d beyond = straight - tip;
  // Both ends are drawn on, so that the two directions can be compared by eye.
  canvas.path({tip - 0.12 * beyond, straight + 0.12 * beyond}, kFlightLine);
  canvas.path({nock, tip}, kShaftLine);
  canvas.circle(nock, 12.0, {kShaft, 5.0, {}, true});
  canvas.circle(straight, 9.0, {kFlight, 4.0, {}, true});
  Eigen::Vector2d apart = nock - straight;
  if (apart.norm() < 1.0) {
    apart = {1.0, 0.0};
  }
  const double lift = 0.35 * kLabel.size_px;
  label_beside(canvas, photo, "nock", nock + Eigen::Vector2d(0.0, lift), {apart.x(), -1.0});
  label_beside(canvas, photo, "if straight", straight + Eigen::Vector2d(0.0, lift),
               {-apart.x(), -1.0});
  canvas.release_clip();
  canvas.frame(box, kPanelEdge);
}

void draw_plain_panel(Canvas& canvas, const Box& box, const cv::Mat& frame) {
  if (frame.empty()) {
    no_picture(canvas, box);
    return;
  }
  const View view = view_of({}, frame.size(), box, 0.0, 0.0);
  canvas.picture(resampled(frame, view, box), box.x, box.y);
  canvas.frame(box, kPanelEdge);
}

}  // namespace nocktrail::picture
