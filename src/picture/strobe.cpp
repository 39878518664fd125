#include "strobe.hpp"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "nocktrail/median.hpp"

namespace nocktrail::picture {
namespace {

constexpr double kReferenceDistance_m = 2.0;
// Gap between one arrow's point and the next one's nock, as a share of the nearer shaft's length in
// the picture: with less, two arrows in line read as one.
constexpr double kLeastGap = 0.10;
// Shorter than this on the picture, a shaft no longer reads as an arrow.
constexpr double kShortestShown_px = 8.0;
// A pixel further out than this belongs to a fit gone astray, not to a picture.
constexpr double kFurthest_px = 2e4;
// Frames in the median: enough that an arrow is never in half of them.
constexpr std::size_t kMedianFrames = 9;
// Half width of the strip beside a fitted shaft in which its instant may show, of the shaft's
// length; fletching and vibration stay inside. And its floor and ceiling, pixels.
constexpr double kStripOfLength = 0.16;
constexpr double kStripLeast_px = 7.0;
constexpr double kStripMost_px = 40.0;
// Grey levels of difference from the background over which an instant fades in.
constexpr double kFadeFrom = 8.0;
constexpr double kFadeTo = 26.0;

std::optional<Eigen::Vector2d> mapped(const Eigen::Matrix3d& h, const Eigen::Vector2d& px) {
  const Eigen::Vector3d p = h * px.homogeneous();
  if (!p.allFinite() || p.z() < 1e-6) {
    return std::nullopt;
  }
  const Eigen::Vector2d mapped_px = p.hnormalized();
  if (!mapped_px.allFinite() || mapped_px.cwiseAbs().maxCoeff() > kFurthest_px) {
    return std::nullopt;
  }
  return mapped_px;
}

double shown_length_px(const Instant& i) {
  return (i.tip_in_reference_px - i.nock_in_reference_px).norm();
}

bool apart(const Instant& earlier, const Instant& later) {
  const Eigen::Vector2d along = earlier.tip_in_reference_px - earlier.nock_in_reference_px;
  const double length = along.norm();
  if (length < 1e-6) {
    return false;
  }
  const double gap = (later.nock_in_reference_px - earlier.tip_in_reference_px).dot(along) / length;
  // Sideways distance counts too: from over the shoulder the shafts may lie beside each other.
  const Eigen::Vector2d from_line = later.nock_in_reference_px - earlier.nock_in_reference_px;
  const double sideways = std::abs(from_line.x() * along.y() - from_line.y() * along.x()) / length;
  return gap >= kLeastGap * length || sideways > 0.5 * length;
}

cv::Mat aligned(const cv::Mat& bgr, const Eigen::Matrix3d& reference_from_frame) {
  cv::Matx33d h;
  for (int row = 0; row < 3; ++row) {
    for (int column = 0; column < 3; ++column) {
      h(row, column) = reference_from_frame(row, column);
    }
  }
  cv::Mat out;
  cv::warpPerspective(bgr, out, h, bgr.size(), cv::INTER_LINEAR, cv::BORDER_REPLICATE);
  return out;
}

cv::Mat median_of(const std::vector<cv::Mat>& frames) {
  cv::Mat out(frames.front().size(), CV_8UC3);
  std::vector<unsigned char> values(frames.size());
  std::vector<const unsigned char*> rows(frames.size());
  for (int y = 0; y < out.rows; ++y) {
    for (std::size_t k = 0; k < frames.size(); ++k) {
      rows[k] = frames[k].ptr(y);
    }
    unsigned char* to = out.ptr(y);
    for (int x = 0; x < 3 * out.cols; ++x) {
      for (std::size_t k = 0; k < frames.size(); ++k) {
        values[k] = rows[k][x];
      }
      to[x] = upper_median(values);
    }
  }
  return out;
}

// How far from the segment nock to tip, as a share of the strip's half width, 1 at the shaft and 0
// beyond the strip.
double nearness(const Instant& i, double x, double y) {
  const Eigen::Vector2d nock = i.nock_in_reference_px;
  const Eigen::Vector2d along = i.tip_in_reference_px - nock;
  const double length = along.norm();
  const double strip = std::clamp(kStripOfLength * length, kStripLeast_px, kStripMost_px);
  const Eigen::Vector2d p(x, y);
  const double t =
      std::clamp((p - nock).dot(along) / std::max(along.squaredNorm(), 1e-9), 0.0, 1.0);
  const double distance = (p - nock - t * along).norm();
  return std::clamp(2.0 - 2.0 * distance / strip, 0.0, 1.0);
}

// Lays one instant over `out`, where `best` holds what is already shown there (0 .. 255).
void lay_over(cv::Mat& out, cv::Mat& best, const cv::Mat& background, const cv::Mat& frame,
              const Instant& instant) {
  const cv::Rect whole(0, 0, out.cols, out.rows);
  const Eigen::Vector2d low =
      instant.nock_in_reference_px.cwiseMin(instant.tip_in_reference_px).array() - kStripMost_px;
  const Eigen::Vector2d high =
      instant.nock_in_reference_px.cwiseMax(instant.tip_in_reference_px).array() + kStripMost_px;
  const cv::Rect touched = whole & cv::Rect(cv::Point(cvFloor(low.x()), cvFloor(low.y())),
                                            cv::Point(cvCeil(high.x()) + 1, cvCeil(high.y()) + 1));
  for (int y = touched.y; y < touched.y + touched.height; ++y) {
    for (int x = touched.x; x < touched.x + touched.width; ++x) {
      const double near = nearness(instant, x, y);
      if (near <= 0.0) {
        continue;
      }
      const cv::Vec3b& there = background.at<cv::Vec3b>(y, x);
      const cv::Vec3b& here = frame.at<cv::Vec3b>(y, x);
      int difference = 0;
      for (int k = 0; k < 3; ++k) {
        difference = std::max(difference, std::abs(int{here[k]} - int{there[k]}));
      }
      const double shown =
          near * std::clamp((difference - kFadeFrom) / (kFadeTo - kFadeFrom), 0.0, 1.0);
      const double strength = shown * difference;
      if (strength > best.at<unsigned char>(y, x)) {
        best.at<unsigned char>(y, x) = cv::saturate_cast<unsigned char>(strength);
        for (int k = 0; k < 3; ++k) {
          out.at<cv::Vec3b>(y, x)[k] =
              cv::saturate_cast<unsigned char>(there[k] + shown * (here[k] - there[k]));
        }
      }
    }
  }
}

}  // namespace

std::vector<Instant> drawable_instants(const Shot& shot) {
  std::vector<Instant> instants;
  for (const FittedFrame& f : shot.fitted) {
    const bool finite = f.nock_px.allFinite() && f.tip_px.allFinite() &&
                        f.straight_nock_px.allFinite() && std::isfinite(f.nock_z_m);
    if (!finite || f.straight_nock_px.cwiseAbs().maxCoeff() > kFurthest_px) {
      continue;
    }
    const auto nock = mapped(f.reference_from_frame, f.nock_px);
    const auto tip = mapped(f.reference_from_frame, f.tip_px);
    const bool near = f.nock_px.cwiseAbs().maxCoeff() <= kFurthest_px &&
                      f.tip_px.cwiseAbs().maxCoeff() <= kFurthest_px;
    if (nock && tip && near) {
      instants.push_back({f, *nock, *tip});
    }
  }
  return instants;
}

std::size_t reference_distance_instant(const std::vector<Instant>& instants) {
  const auto nearest =
      std::min_element(instants.begin(), instants.end(), [](const Instant& a, const Instant& b) {
        return std::abs(a.fitted.nock_z_m - kReferenceDistance_m) <
               std::abs(b.fitted.nock_z_m - kReferenceDistance_m);
      });
  return static_cast<std::size_t>(nearest - instants.begin());
}

std::vector<Instant> spaced_instants(const std::vector<Instant>& instants, std::size_t most) {
  std::vector<Instant> shown;
  if (instants.empty()) {
    return shown;
  }
  const std::size_t centre = reference_distance_instant(instants);
  shown.push_back(instants[centre]);
  for (std::size_t k = centre; k-- > 0 && shown.size() < most;) {
    if (apart(instants[k], shown.front())) {
      shown.insert(shown.begin(), instants[k]);
    }
  }
  for (std::size_t k = centre + 1; k < instants.size() && shown.size() < most; ++k) {
    if (apart(shown.back(), instants[k]) && shown_length_px(instants[k]) >= kShortestShown_px) {
      shown.push_back(instants[k]);
    }
  }
  return shown;
}

cv::Mat strobe_picture(const Shot& shot, const std::vector<Instant>& all,
                       const std::vector<Instant>& shown, const FrameFetcher& fetch) {
  std::vector<Instant> used = shown;
  // Fill up with other instants, evenly spread, so that the median is clear of the arrow.
  for (std::size_t k = 0; k < kMedianFrames && used.size() < kMedianFrames && !all.empty(); ++k) {
    const Instant& candidate = all[k * (all.size() - 1) / (kMedianFrames - 1)];
    const bool there = std::any_of(used.begin(), used.end(), [&](const Instant& i) {
      return i.fitted.index == candidate.fitted.index;
    });
    if (!there) {
      used.push_back(candidate);
    }
  }
  std::vector<long> indices{shot.reference_index};
  for (const Instant& i : used) {
    indices.push_back(i.fitted.index);
  }
  const std::map<long, cv::Mat> fetched = fetch(indices);
  if (fetched.empty()) {
    return {};
  }
  const cv::Size size = fetched.begin()->second.size();
  std::vector<cv::Mat> frames;
  std::map<long, cv::Mat> aligned_by_index;
  for (const Instant& i : used) {
    const auto found = fetched.find(i.fitted.index);
    if (found == fetched.end() || found->second.size() != size) {
      continue;
    }
    cv::Mat frame = aligned(found->second, i.fitted.reference_from_frame);
    frames.push_back(frame);
    aligned_by_index[i.fitted.index] = frame;
  }
  if (frames.empty()) {
    return fetched.begin()->second.clone();
  }
  if (const auto reference = fetched.find(shot.reference_index);
      reference != fetched.end() && reference->second.size() == size) {
    frames.push_back(reference->second);
  }
  const cv::Mat background = median_of(frames);
  cv::Mat out = background.clone();
  cv::Mat best = cv::Mat::zeros(size, CV_8UC1);
  for (const Instant& i : shown) {
    if (const auto found = aligned_by_index.find(i.fitted.index); found != aligned_by_index.end()) {
      lay_over(out, best, background, found->second, i);
    }
  }
  return out;
}

}  // namespace nocktrail::picture
