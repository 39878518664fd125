#include "replay_sheet.hpp"

#include <fmt/format.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "nocktrail/rules/words.hpp"
#include "palette.hpp"

namespace nocktrail::picture {
namespace {

// Half as wide as a still: a phone held upright shows it at about half size, and the film stays
// small. Type is a third larger than a still's beside it.
constexpr int kWidth_px = 720;
constexpr int kMostHeight_px = 4000;
constexpr double kMargin_px = 24.0;
constexpr Type kTitle{28.0, true, kInk, false};
constexpr Type kStop{28.0, true, kInk, false};
constexpr Type kNow{36.0, true, kInk, false};
constexpr Type kFigures{32.0, true, kInk, false};
constexpr Type kSmall{26.0, false, kSoftInk, false};
constexpr Type kNumber{34.0, true, kInk, true};
constexpr double kRow = 1.35;  // of the type's size
// No farther enlarged than this, where pixels would be blocks; and what is left around the flight.
constexpr double kLeastWidth = 0.28;
constexpr double kAround = 0.16;

struct Look {
  Stroke shaft;
  Stroke path;
  const char* shaft_words;
  const char* path_words;
};

// Told apart by the lines' kind, the mark at the nock and the number beside it, and by lightness.
const Look& look_of(std::size_t layer) {
  static const Look kFirst{{kShaft, 3.0, {}, true},
                           {kFlight, 2.5, {12.0, 8.0}, true},
                           "shaft as fitted, nock ringed",
                           "flight path"};
  static const Look kSecond{{kInk, 3.0, {14.0, 6.0}, true},
                            {kInk, 2.5, {2.5, 7.0}, true},
                            "shaft as fitted, nock squared",
                            "flight path"};
  return layer == 0 ? kFirst : kSecond;
}

Eigen::Vector2d mapped(const Eigen::Matrix3d& h, const Eigen::Vector2d& px) {
  return (h * px.homogeneous()).hnormalized();
}

Eigen::Vector2d on_photo(const View& view, const Box& box, const Eigen::Vector2d& px) {
  return Eigen::Vector2d(box.x, box.y) +
         view.scale * (px + Eigen::Vector2d(0.5, 0.5) - view.origin_px);
}

std::string milliseconds(double s) {
  return fmt::format("{:.1f} ms", 1e3 * std::abs(s));
}

// "2.1 ms after the exit", counted from the loose while the string is still pushing.
std::string when(const Shot& shot, double t_s) {
  if (shot.exit_s && t_s >= *shot.exit_s) {
    return milliseconds(t_s - *shot.exit_s) + " after the exit";
  }
  if (shot.loose_s) {
    return milliseconds(t_s - *shot.loose_s) +
           (t_s < *shot.loose_s ? " before the loose" : " after the loose");
  }
  return shot.exit_s ? milliseconds(t_s - *shot.exit_s) + " before the exit" : std::string();
}

std::vector<std::string> figures_of(const Shot& shot) {
  std::vector<std::string> words;
  if (shot.in_bow) {
    words = {rules::lateral_words(shot.in_bow->nock_right_deg),
             rules::vertical_words(shot.in_bow->nock_high_deg)};
  } else {
    if (shot.nock_right_deg) {
      words.push_back(rules::lateral_words(*shot.nock_right_deg));
    }
    if (shot.nock_high_deg) {
      words.push_back(rules::vertical_words(*shot.nock_high_deg));
    }
  }
  for (std::string& one : words) {
    if (!one.empty() && one[0] >= 'a' && one[0] <= 'z') {
      one[0] = static_cast<char>(one[0] - 'a' + 'A');
    }
  }
  return words;
}

double sample(Canvas& canvas, const Stroke& stroke, double x, double y) {
  canvas.path({{x, y}, {x + 56.0, y}}, stroke);
  return x + 68.0;
}

void mark_nock(Canvas& canvas, std::size_t layer, const Eigen::Vector2d& nock) {
  const Stroke edge{look_of(layer).shaft.colour, 3.0, {}, true};
  if (layer == 0) {
    canvas.circle(nock, 8.0, edge);
  } else {
    canvas.frame({nock.x() - 8.0, nock.y() - 8.0, 16.0, 16.0}, edge);
  }
}

}  // namespace

ReplaySheet::ReplaySheet(const std::vector<ReplayLayer>& layers, const ReplayOptions& options)
    : options_(options) {
  Canvas canvas(kWidth_px, kMostHeight_px);
  const ClipFacts& clip = layers.front().frames->reading().clip;
  photo_ = {kMargin_px, draw_head(canvas, layers), kWidth_px - 2.0 * kMargin_px,
            clip.height > clip.width ? 800.0 : 560.0};
  std::vector<Eigen::Vector2d> points;
  for (const ReplayLayer& layer : layers) {
    for (const Instant& instant : layer.frames->instants()) {
      points.push_back(mapped(layer.first_from_reference, instant.nock_in_reference_px));
      points.push_back(mapped(layer.first_from_reference, instant.tip_in_reference_px));
    }
  }
  view_ = view_of(points, {clip.width, clip.height}, photo_, kAround, kLeastWidth * clip.width);
  // Even, as a film's sizes are.
  height_px_ = 2 * static_cast<int>(std::ceil((draw_words(canvas, layers) + kMargin_px) / 2.0));
}

double ReplaySheet::draw_head(Canvas& canvas, const std::vector<ReplayLayer>& layers) const {
  const double inner = kWidth_px - 2.0 * kMargin_px;
  double y = kMargin_px;
  std::vector<std::string> said;
  const auto stop = [&](const std::string& words) {
    if (std::find(said.begin(), said.end(), words) == said.end()) {
      said.push_back(words);
      y = canvas.paragraph(rules::printable(words), kMargin_px, y, inner, kStop) + 8.0;
    }
  };
  for (const ReplayLayer& layer : layers) {
    for (const std::string& words : layer.frames->stops()) {
      stop(words);
    }
    const Verdict& verdict = layer.frames->shot().verdict;
    if (forbids(verdict.step) && layer.frames->stops().empty()) {
      stop(verdict.next_step);
    }
  }
  for (std::size_t k = 0; k < layers.size(); ++k) {
    std::string name = layers[k].frames->name();
    if (layers.size() > 1) {
      name = fmt::format("{}  {}", k + 1, name);
    }
    const std::vector<std::string> lines = canvas.wrapped(name, kTitle, inner);
    y = canvas.paragraph(lines.front() + (lines.size() > 1 ? " …" : ""), kMargin_px, y, inner,
                         kTitle);
  }
  return y + 8.0;
}

// The frames of all layers as they lie in the panel.
cv::Mat ReplaySheet::laid_over(const std::vector<ReplayLayer>& layers) const {
  const cv::Size size(cvRound(photo_.width), cvRound(photo_.height));
  // Pixel centres on both sides: panel + 0.5 = scale (picture + 0.5 - origin).
  Eigen::Matrix3d panel_from_first = Eigen::Matrix3d::Identity();
  panel_from_first(0, 0) = panel_from_first(1, 1) = view_.scale;
  panel_from_first(0, 2) = view_.scale * (0.5 - view_.origin_px.x()) - 0.5;
  panel_from_first(1, 2) = view_.scale * (0.5 - view_.origin_px.y()) - 0.5;
  cv::Mat all(size, CV_8UC3, cv::Scalar::all(235));
  bool any = false;
  for (const ReplayLayer& layer : layers) {
    if (!layer.index) {
      continue;
    }
    // First: it may have to look at other frames, and one is held at a time.
    Eigen::Matrix3d h = panel_from_first * layer.first_from_reference *
                        layer.frames->reference_from_frame(*layer.index);
    cv::Mat source = layer.frames->picture(*layer.index);
    if (source.empty()) {
      continue;
    }
    if (view_.scale < 0.6) {
      // Shrinking by sampling alone would drop thin shafts: average over areas first.
      cv::Mat small;
      cv::resize(source, small, {}, view_.scale, view_.scale, cv::INTER_AREA);
      const double fx = static_cast<double>(source.cols) / small.cols;
      const double fy = static_cast<double>(source.rows) / small.rows;
      Eigen::Matrix3d large_from_small = Eigen::Matrix3d::Identity();
      large_from_small(0, 0) = fx;
      large_from_small(1, 1) = fy;
      large_from_small(0, 2) = 0.5 * fx - 0.5;
      large_from_small(1, 2) = 0.5 * fy - 0.5;
      h = h * large_from_small;
      source = small;
    }
    cv::Matx33d matrix;
    for (int row = 0; row < 3; ++row) {
      for (int column = 0; column < 3; ++column) {
        matrix(row, column) = h(row, column);
      }
    }
    cv::Mat panel = any ? all.clone() : cv::Mat(size, CV_8UC3, cv::Scalar::all(235));
    cv::warpPerspective(source, panel, matrix, size, cv::INTER_LINEAR, cv::BORDER_TRANSPARENT);
    if (any) {
      cv::addWeighted(all, 0.5, panel, 0.5, 0.0, all);
    } else {
      all = panel;
    }
    any = true;
  }
  return all;
}

void ReplaySheet::draw_photo(Canvas& canvas, const std::vector<ReplayLayer>& layers) const {
  canvas.picture(laid_over(layers), photo_.x, photo_.y);
  canvas.clip_to(photo_);
  for (std::size_t k = 0; k < layers.size(); ++k) {
    const ReplayLayer& layer = layers[k];
    const Eigen::Matrix3d& first_from = layer.first_from_reference;
    const auto placed = [&](const Eigen::Vector2d& px) {
      return on_photo(view_, photo_, mapped(first_from, px));
    };
    std::vector<Eigen::Vector2d> path;
    for (const Instant& one : layer.frames->instants()) {
      path.push_back(placed(0.5 * (one.nock_in_reference_px + one.tip_in_reference_px)));
    }
    canvas.path(path, look_of(k).path);
    const Instant* now = layer.index ? layer.frames->fitted(*layer.index) : nullptr;
    if (now == nullptr) {
      continue;
    }
    const Eigen::Vector2d nock = placed(now->nock_in_reference_px);
    canvas.path({nock, placed(now->tip_in_reference_px)}, look_of(k).shaft);
    mark_nock(canvas, k, nock);
    if (layers.size() > 1) {
      canvas.text(fmt::format("{}", k + 1), nock + Eigen::Vector2d(k == 0 ? -16.0 : 16.0, 12.0),
                  kNumber, k == 0 ? Anchor::right : Anchor::left);
    }
  }
  canvas.release_clip();
  canvas.frame(photo_, {kInk, 2.0, {}, false});
}

double ReplaySheet::draw_words(Canvas& canvas, const std::vector<ReplayLayer>& layers) const {
  const double inner = kWidth_px - 2.0 * kMargin_px;
  double y = photo_.bottom() + 14.0;
  const auto line = [&](const std::string& words, const Type& type, double x = kMargin_px) {
    canvas.text(words, {x, y + type.size_px}, type);
    y += kRow * type.size_px;
  };
  const auto first = std::find_if(layers.begin(), layers.end(),
                                  [](const ReplayLayer& one) { return one.index.has_value(); });
  const bool two = layers.size() > 1;
  if (first != layers.end()) {
    line(when(first->frames->shot(), first->frames->t_s(*first->index)), kNow);
  }
  std::string numbers;
  for (std::size_t k = 0; k < layers.size(); ++k) {
    const std::string frame =
        layers[k].index ? fmt::format("frame {}", *layers[k].index) : "no frame of this time";
    numbers += two ? fmt::format("{}{}: {}", k == 0 ? "" : "   ", k + 1, frame) : frame;
  }
  if (!two) {
    const Instant* now = layers[0].index ? layers[0].frames->fitted(*layers[0].index) : nullptr;
    if (now != nullptr) {
      const double z_m = now->fitted.nock_z_m;
      numbers +=
          fmt::format(", nock {:.1f} m {} the rest", std::abs(z_m), z_m < 0.0 ? "behind" : "past");
    }
  }
  line(numbers, kSmall);
  y += 10.0;
  for (std::size_t k = 0; k < layers.size(); ++k) {
    const Shot& shot = layers[k].frames->shot();
    const std::string before = two ? fmt::format("{}  ", k + 1) : std::string();
    const double indent = kMargin_px + canvas.text_width_px(before, kFigures);
    if (two) {
      canvas.text(before, {kMargin_px, y + kFigures.size_px}, kFigures);
    }
    for (const std::string& words : figures_of(shot)) {
      line(words, kFigures, indent);
    }
    if (shot.by == ReadBy::hand) {
      line("marked by hand", kSmall, indent);
    }
    for (const auto& [stroke, words] : {std::pair(look_of(k).shaft, look_of(k).shaft_words),
                                        std::pair(look_of(k).path, look_of(k).path_words)}) {
      canvas.text(words,
                  {sample(canvas, stroke, indent, y + 0.66 * kSmall.size_px), y + kSmall.size_px},
                  kSmall);
      y += kRow * kSmall.size_px;
    }
    y += 6.0;
  }
  const bool in_bow = layers[0].frames->shot().in_bow.has_value();
  const double fps = layers[0].frames->reading().clip.capture_fps;
  const std::vector<long>& shown = layers[0].frames->shown();
  const long step = shown.size() > 1 ? shown[1] - shown[0] : 1;
  std::string foot = fmt::format("± is half a 95 % interval, nock 2 m past the rest{}. ",
                                 in_bow ? ", along the bow" : "");
  foot += fmt::format("Steadied; shown {:.0f} times slower than it flew.",
                      fps / static_cast<double>(step * options_.shown_per_second));
  if (two) {
    foot += " The second is laid over the first where the nocks leave the string.";
  }
  return canvas.paragraph(foot, kMargin_px, y, inner, kSmall);
}

cv::Mat ReplaySheet::draw(const std::vector<ReplayLayer>& layers) {
  Canvas canvas(kWidth_px, height_px_);
  draw_head(canvas, layers);
  draw_photo(canvas, layers);
  draw_words(canvas, layers);
  return canvas.bgr(height_px_);
}

}  // namespace nocktrail::picture
