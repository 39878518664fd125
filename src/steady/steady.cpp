#include "nocktrail/steady/steady.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <future>
#include <opencv2/imgproc.hpp>
#include <opencv2/video/tracking.hpp>

#include "shared_motion.hpp"

namespace nocktrail::steady {
namespace {

using Points = std::vector<cv::Point2f>;

// Corners spread evenly: the best few of each cell, so that one busy tree does not outvote the
// rest of the picture.
Points spread_corners(const cv::Mat& luma, const SteadyOptions& options) {
  const int cell = std::max(luma.cols, luma.rows) / options.grid_cells;
  const int cells = (luma.cols / cell + 1) * (luma.rows / cell + 1);
  const int per_cell = std::max(1, 2 * options.features / cells);
  cv::Mat strength;
  cv::cornerMinEigenVal(luma, strength, 5, 3);
  cv::Mat dilated;
  cv::dilate(strength, dilated, cv::Mat::ones(9, 9, CV_8U));
  struct Corner {
    float strength;
    cv::Point2f at;
  };
  std::vector<Corner> kept;
  const int margin = options.patch_px;
  for (int y0 = 0; y0 < luma.rows; y0 += cell) {
    for (int x0 = 0; x0 < luma.cols; x0 += cell) {
      std::vector<Corner> found;
      for (int y = std::max(y0, margin); y < std::min(y0 + cell, luma.rows - margin); ++y) {
        const auto* s = strength.ptr<float>(y);
        const auto* d = dilated.ptr<float>(y);
        for (int x = std::max(x0, margin); x < std::min(x0 + cell, luma.cols - margin); ++x) {
          if (s[x] == d[x] && s[x] > 1e-5F) {
            found.push_back({s[x], cv::Point2f(static_cast<float>(x), static_cast<float>(y))});
          }
        }
      }
      std::sort(found.begin(), found.end(),
                [](const Corner& a, const Corner& b) { return a.strength > b.strength; });
      if (found.size() > static_cast<std::size_t>(per_cell)) {
        found.resize(static_cast<std::size_t>(per_cell));
      }
      kept.insert(kept.end(), found.begin(), found.end());
    }
  }
  std::sort(kept.begin(), kept.end(),
            [](const Corner& a, const Corner& b) { return a.strength > b.strength; });
  if (kept.size() > static_cast<std::size_t>(options.features)) {
    kept.resize(static_cast<std::size_t>(options.features));
  }
  Points points;
  for (const Corner& corner : kept) {
    points.push_back(corner.at);
  }
  return points;
}

// Filmed over the head, the archer fills the bottom of the picture's middle: near, and shifting
// against the background when the camera moves.
double place_trust(const cv::Point2f& corner, const cv::Size& size) {
  const float down = corner.y / static_cast<float>(size.height);
  const float aside = std::abs(corner.x / static_cast<float>(size.width) - 0.5F);
  return down > 0.55F && aside < 0.3F ? 0.25 : 1.0;
}

// From the reference to each frame: every corner is followed, then the motion is fitted again to
// those that behave like background over the whole stretch.
class MotionEstimate {
 public:
  MotionEstimate(const std::vector<cv::Mat>& luma, std::size_t reference,
                 const SteadyOptions& options)
      : luma_(luma),
        reference_(reference),
        options_(options),
        base_(luma[reference]),
        corners_(spread_corners(base_, options)),
        focal_px_(options.focal_px > 0.0 ? options.focal_px
                                         : std::hypot(base_.cols, base_.rows) * 0.62),
        first_(luma.size(), Eigen::Matrix3d::Identity()),
        followed_(luma.size()) {
    const double f = focal_px_;
    normalise_ << 1.0 / f, 0, -(base_.cols - 1) / 2.0 / f, 0, 1.0 / f, -(base_.rows - 1) / 2.0 / f,
        0, 0, 1;
    pixel_from_normalised_ = normalise_.inverse();
  }

  Steadied made() {
    Steadied result;
    result.reference = reference_;
    result.motion.resize(luma_.size());
    if (corners_.size() < static_cast<std::size_t>(options_.min_features)) {
      for (std::size_t k = 0; k < luma_.size(); ++k) {
        result.motion[k].lost = k != reference_;
      }
      return result;
    }
    follow_all();
    trust_background();
    cv::parallel_for_(cv::Range(0, static_cast<int>(luma_.size())), [&](const cv::Range& range) {
      for (int k = range.start; k < range.end; ++k) {
        result.motion[static_cast<std::size_t>(k)] = settled(static_cast<std::size_t>(k));
      }
    });
    return result;
  }

 private:
  // The corners that were found again in one frame.
  struct Followed {
    std::vector<Correspondence> pairs;
    std::vector<int> ids;         // beside pairs: which corners
    std::vector<double> misfits;  // beside pairs, px
  };

  Eigen::Vector2d normalised(const cv::Point2f& p) const {
    return (normalise_ * Eigen::Vector3d(static_cast<double>(p.x), static_cast<double>(p.y), 1.0))
        .hnormalized();
  }

  // Forward and backward from the reference have nothing to do with each other: a core for each.
  void follow_all() {
    const cv::Size patch(options_.patch_px, options_.patch_px);
    cv::buildOpticalFlowPyramid(base_, base_pyramid_, patch, options_.pyramid_levels);
    std::future<void> forward = std::async(std::launch::async, [&] {
      std::vector<cv::Mat> pyramid;
      for (std::size_t k = reference_ + 1; k < luma_.size(); ++k) {
        first_[k] = follow(k, first_[k - 1], pyramid);
      }
    });
    std::vector<cv::Mat> pyramid;
    for (std::size_t k = reference_; k-- > 0;) {
      first_[k] = follow(k, first_[k + 1], pyramid);
    }
    forward.get();
  }

  // Frame from reference; `pyramid` is working memory, kept from frame to frame.
  Eigen::Matrix3d follow(std::size_t k, const Eigen::Matrix3d& guess,
                         std::vector<cv::Mat>& pyramid) {
    Points moved(corners_.size());
    for (std::size_t i = 0; i < corners_.size(); ++i) {
      const Eigen::Vector2d p =
          (pixel_from_normalised_ * guess * normalised(corners_[i]).homogeneous()).hnormalized();
      moved[i] = cv::Point2f(static_cast<float>(p.x()), static_cast<float>(p.y()));
    }
    const cv::Size patch(options_.patch_px, options_.patch_px);
    // Slopes are those of the reference.
    constexpr bool kWithSlopes = false;
    cv::buildOpticalFlowPyramid(luma_[k], pyramid, patch, options_.pyramid_levels, kWithSlopes);
    const cv::TermCriteria stop(cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 25, 0.003);
    std::vector<unsigned char> status;
    std::vector<float> error;
    cv::calcOpticalFlowPyrLK(base_pyramid_, pyramid, corners_, moved, status, error, patch,
                             options_.pyramid_levels, stop, cv::OPTFLOW_USE_INITIAL_FLOW, 1e-4);
    Followed& followed = followed_[k];
    std::vector<double> trust;
    for (std::size_t i = 0; i < corners_.size(); ++i) {
      if (status[i] == 0 || error[i] > 25.0F) {
        continue;
      }
      followed.pairs.push_back({normalised(corners_[i]), normalised(moved[i])});
      followed.ids.push_back(static_cast<int>(i));
      trust.push_back(place_trust(corners_[i], base_.size()));
    }
    const RobustFit fit = fit_motion(followed.pairs, trust, guess, focal_px_);
    for (const Correspondence& pair : followed.pairs) {
      const double d = ((fit.to_from * pair.from.homogeneous()).hnormalized() - pair.to).norm();
      followed.misfits.push_back(std::min(d * focal_px_, 5.0));
    }
    return fit.to_from;
  }

  // Not corners that go their own way over the stretch.
  void trust_background() {
    std::vector<double> misfit(corners_.size(), 0.0);
    std::vector<int> seen(corners_.size(), 0);
    for (const Followed& followed : followed_) {
      for (std::size_t j = 0; j < followed.ids.size(); ++j) {
        const auto i = static_cast<std::size_t>(followed.ids[j]);
        misfit[i] += followed.misfits[j];
        seen[i] += 1;
      }
    }
    std::vector<double> typical;
    for (std::size_t i = 0; i < corners_.size(); ++i) {
      if (seen[i] > 0) {
        misfit[i] /= seen[i];
        typical.push_back(misfit[i]);
      }
    }
    std::sort(typical.begin(), typical.end());
    const double limit = std::max(0.35, typical.empty() ? 0.0 : 2.5 * typical[typical.size() / 3]);
    trust_.assign(corners_.size(), 0.0);
    for (std::size_t i = 0; i < corners_.size(); ++i) {
      trust_[i] = misfit[i] < limit ? place_trust(corners_[i], base_.size()) : 0.0;
    }
  }

  FrameMotion settled(std::size_t k) const {
    FrameMotion motion;
    if (k == reference_) {
      motion.agreeing = static_cast<int>(corners_.size());
      return motion;
    }
    const Followed& followed = followed_[k];
    std::vector<double> trust;
    trust.reserve(followed.ids.size());
    for (const int i : followed.ids) {
      trust.push_back(trust_[static_cast<std::size_t>(i)]);
    }
    const RobustFit fit = fit_motion(followed.pairs, trust, first_[k], focal_px_);
    motion.agreeing = fit.agreeing;
    motion.residual_px = fit.sigma * focal_px_;
    motion.centre_sigma_px = fit.centre_sigma * focal_px_;
    const Eigen::Matrix3d pixels = pixel_from_normalised_ * fit.to_from * normalise_;
    const double share =
        static_cast<double>(followed.pairs.size()) / static_cast<double>(corners_.size());
    const bool makes_sense = fit.agreeing >= options_.min_features &&
                             share >= 1.0 - options_.scene_change - 0.3 &&
                             std::abs(pixels.determinant()) >= 1e-6;
    // Corners that scatter lay the frame better than not at all, but nothing is measured in it.
    const double agreeing = fit.agreeing / static_cast<double>(corners_.size());
    motion.lost = !makes_sense || (motion.residual_px > options_.lost_residual_px &&
                                   agreeing < options_.least_agreeing);
    if (makes_sense) {
      motion.reference_from_frame = pixels.inverse();
      motion.reference_from_frame /= motion.reference_from_frame(2, 2);
    }
    return motion;
  }

  const std::vector<cv::Mat>& luma_;
  std::size_t reference_;
  const SteadyOptions& options_;
  const cv::Mat& base_;  // the reference frame
  Points corners_;
  double focal_px_;
  Eigen::Matrix3d normalise_ = Eigen::Matrix3d::Identity();  // normalised from pixel
  Eigen::Matrix3d pixel_from_normalised_ = Eigen::Matrix3d::Identity();

  std::vector<cv::Mat> base_pyramid_;
  std::vector<Eigen::Matrix3d> first_;  // frame from reference, of every corner
  std::vector<Followed> followed_;      // by frame
  std::vector<double> trust_;           // by corner
};

}  // namespace

Steadied estimate_motion(const std::vector<cv::Mat>& luma, std::size_t reference,
                         const SteadyOptions& options) {
  return MotionEstimate(luma, reference, options).made();
}

void to_reference(const cv::Mat& luma, const FrameMotion& motion, cv::Mat& steadied) {
  const Eigen::Matrix3d& m = motion.reference_from_frame;
  if (m.isIdentity(1e-12)) {
    luma.copyTo(steadied);
    return;
  }
  const cv::Matx33d h(m(0, 0), m(0, 1), m(0, 2), m(1, 0), m(1, 1), m(1, 2), m(2, 0), m(2, 1),
                      m(2, 2));
  cv::warpPerspective(luma, steadied, h, luma.size(), cv::INTER_LINEAR, cv::BORDER_REPLICATE);
}

}  // namespace nocktrail::steady
