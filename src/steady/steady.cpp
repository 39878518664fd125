#include "nocktrail/steady/steady.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <future>
#include <opencv2/imgproc.hpp>
#include <opencv2/video/tracking.hpp>

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

struct Correspondence {
  Eigen::Vector2d from;  // centred, divided by the focal length
  Eigen::Vector2d to;
};

// Homography to_from with h33 = 1 in centred, focal-normalised coordinates.
Eigen::Matrix3d matrix_of(const Eigen::Matrix<double, 8, 1>& h) {
  Eigen::Matrix3d m;
  m << h(0), h(1), h(2), h(3), h(4), h(5), h(6), h(7), 1.0;
  return m;
}

struct RobustFit {
  Eigen::Matrix3d to_from = Eigen::Matrix3d::Identity();
  std::vector<double> weights;
  double sigma = 0.0;         // normalised units
  double centre_sigma = 0.0;  // normalised units
  int agreeing = 0;
};

double median_of(std::vector<double> values) {
  if (values.empty()) {
    return 0.0;
  }
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

// The turn and shift that most corners share, by trying pairs of corners (RANSAC, Fischler & Bolles
// 1981). A median would settle between background and archer where both hold many corners; this
// takes the larger of the two. The pairs tried are fixed, so that the result does not depend on
// chance.
Eigen::Matrix3d most_shared_motion(const std::vector<Correspondence>& pairs,
                                   const std::vector<double>& trust, const Eigen::Matrix3d& start,
                                   double tolerance) {
  const auto votes_of = [&](const Eigen::Matrix3d& m) {
    double votes = 0.0;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
      const double d = ((m * pairs[i].from.homogeneous()).hnormalized() - pairs[i].to).norm();
      votes += d < tolerance ? trust[i] * (1.0 - d / tolerance) : 0.0;
    }
    return votes;
  };
  Eigen::Matrix3d best = start;
  double best_votes = votes_of(start);
  std::uint32_t state = 1;
  const auto draw = [&] {
    state = state * 1664525U + 1013904223U;  // Numerical Recipes' linear congruential generator
    return static_cast<std::size_t>(state >> 8U) % pairs.size();
  };
  for (int n = 0; n < 160 && pairs.size() >= 8; ++n) {
    const Correspondence& a = pairs[draw()];
    const Correspondence& b = pairs[draw()];
    const Eigen::Vector2d before = b.from - a.from;
    const Eigen::Vector2d after = b.to - a.to;
    if (before.norm() < 0.1 || std::abs(after.norm() / before.norm() - 1.0) > 0.02) {
      continue;
    }
    const double turn =
        std::atan2(before.x() * after.y() - before.y() * after.x(), before.dot(after));
    const double c = std::cos(turn);
    const double s = std::sin(turn);
    Eigen::Matrix2d rotation;
    rotation << c, -s, s, c;
    const Eigen::Vector2d shift = 0.5 * (a.to + b.to) - rotation * (0.5 * (a.from + b.from));
    Eigen::Matrix3d m;
    // The perspective terms that go with such a shift when a camera turns.
    m << c, -s, shift.x(), s, c, shift.y(), -shift.x(), -shift.y(), 1.0;
    if (const double votes = votes_of(m); votes > best_votes) {
      best_votes = votes;
      best = m;
    }
  }
  return best;
}

RobustFit fit_motion(const std::vector<Correspondence>& pairs, const std::vector<double>& trust,
                     const Eigen::Matrix3d& start, double focal_px) {
  RobustFit fit;
  fit.to_from = most_shared_motion(pairs, trust, start, 1.2 / focal_px);
  fit.weights.assign(pairs.size(), 0.0);
  const double floor_sigma = 0.05 / focal_px;
  double scale = 0.0;
  for (int round = 0; round < 12; ++round) {
    std::vector<double> distance(pairs.size());
    std::vector<double> trusted;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
      distance[i] =
          ((fit.to_from * pairs[i].from.homogeneous()).hnormalized() - pairs[i].to).norm();
      if (trust[i] > 0.0) {
        trusted.push_back(distance[i]);
      }
    }
    // From the nearer half of what is near: Rayleigh's median is 1.1774 sigma. The scale only
    // shrinks, from what the shared motion was found with.
    std::erase_if(trusted, [&](double d) { return round > 0 && d > 4.0 * scale; });
    const double measured = median_of(trusted) / 1.1774;
    scale = round == 0 ? 0.6 / focal_px
                       : std::clamp(measured, floor_sigma, std::max(scale * 0.8, floor_sigma));
    const double cut = 4.0 * scale;
    Eigen::Matrix<double, 8, 8> normal = Eigen::Matrix<double, 8, 8>::Zero();
    Eigen::Matrix<double, 8, 1> right = Eigen::Matrix<double, 8, 1>::Zero();
    fit.agreeing = 0;
    double squares = 0.0;
    double weight_sum = 0.0;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
      const double ratio = distance[i] / cut;
      const double tukey = ratio < 1.0 ? (1.0 - ratio * ratio) * (1.0 - ratio * ratio) : 0.0;
      const double w = trust[i] * tukey;
      fit.weights[i] = w;
      if (w <= 0.0) {
        continue;
      }
      fit.agreeing += ratio < 0.75 ? 1 : 0;
      squares += w * distance[i] * distance[i] / 2.0;
      weight_sum += w;
      const double x = pairs[i].from.x();
      const double y = pairs[i].from.y();
      const double u = pairs[i].to.x();
      const double v = pairs[i].to.y();
      Eigen::Matrix<double, 2, 8> rows;
      rows << x, y, 1, 0, 0, 0, -x * u, -y * u,  //
          0, 0, 0, x, y, 1, -x * v, -y * v;
      normal += w * rows.transpose() * rows;
      right += w * rows.transpose() * pairs[i].to;
    }
    fit.sigma = weight_sum > 0.0 ? std::sqrt(squares / weight_sum) : scale;
    const double s2 = std::max(fit.sigma, floor_sigma) * std::max(fit.sigma, floor_sigma);
    // Priors, in units of the corners' scatter: stretch and shear within 0.4 %, perspective tied
    // to the shift as in a rotation (h31 = -h13, h32 = -h23 for small angles) within 20 %.
    auto prior = [&](const Eigen::Matrix<double, 1, 8>& row, double value, double sigma) {
      const double w = s2 / (sigma * sigma);
      normal += w * row.transpose() * row;
      right += w * row.transpose() * value;
    };
    Eigen::Matrix<double, 1, 8> row;
    row << 1, 0, 0, 0, -1, 0, 0, 0;
    prior(row, 0.0, 0.004);
    row << 1, 0, 0, 0, 1, 0, 0, 0;
    prior(row, 2.0, 0.008);
    row << 0, 1, 0, 1, 0, 0, 0, 0;
    prior(row, 0.0, 0.004);
    const double shift = std::hypot(fit.to_from(0, 2), fit.to_from(1, 2));
    const double perspective_sigma = 0.2 * shift + 5e-4;
    row << 0, 0, 1, 0, 0, 0, 1, 0;
    prior(row, 0.0, perspective_sigma);
    row << 0, 0, 0, 0, 0, 1, 0, 1;
    prior(row, 0.0, perspective_sigma);
    const Eigen::LDLT<Eigen::Matrix<double, 8, 8>> solver(normal);
    fit.to_from = matrix_of(solver.solve(right));
    const Eigen::Matrix<double, 8, 8> covariance =
        s2 * solver.solve(Eigen::Matrix<double, 8, 8>::Identity());
    fit.centre_sigma = std::sqrt(std::max(covariance(2, 2), covariance(5, 5)));
  }
  return fit;
}

}  // namespace

Steadied estimate_motion(const std::vector<cv::Mat>& luma, std::size_t reference,
                         const SteadyOptions& options) {
  Steadied result;
  result.reference = reference;
  result.motion.resize(luma.size());
  const cv::Mat& base = luma[reference];
  const double f =
      options.focal_px > 0.0 ? options.focal_px : std::hypot(base.cols, base.rows) * 0.62;
  Eigen::Matrix3d normalise;  // normalised from pixel
  normalise << 1.0 / f, 0, -(base.cols - 1) / 2.0 / f, 0, 1.0 / f, -(base.rows - 1) / 2.0 / f, 0, 0,
      1;
  const Eigen::Matrix3d pixel_from_normalised = normalise.inverse();

  const Points corners = spread_corners(base, options);
  if (corners.size() < static_cast<std::size_t>(options.min_features)) {
    for (std::size_t k = 0; k < luma.size(); ++k) {
      result.motion[k].lost = k != reference;
    }
    return result;
  }
  const cv::Size patch(options.patch_px, options.patch_px);
  std::vector<cv::Mat> base_pyramid;
  cv::buildOpticalFlowPyramid(base, base_pyramid, patch, options.pyramid_levels);
  const cv::TermCriteria stop(cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 25, 0.003);

  // First pass: follow every corner; second pass: refit with only those corners that behave like
  // background over the whole stretch.
  std::vector<std::vector<Correspondence>> pairs(luma.size());
  std::vector<std::vector<int>> ids(luma.size());
  std::vector<std::vector<double>> misfits(luma.size());  // beside ids

  // `pyramid` is working memory, kept from frame to frame.
  auto follow = [&](std::size_t k, const Eigen::Matrix3d& frame_from_reference_guess,
                    std::vector<cv::Mat>& pyramid) {
    Points moved(corners.size());
    for (std::size_t i = 0; i < corners.size(); ++i) {
      const Eigen::Vector2d p = (pixel_from_normalised * frame_from_reference_guess * normalise *
                                 Eigen::Vector3d(static_cast<double>(corners[i].x),
                                                 static_cast<double>(corners[i].y), 1.0))
                                    .hnormalized();
      moved[i] = cv::Point2f(static_cast<float>(p.x()), static_cast<float>(p.y()));
    }
    // Slopes are those of the reference.
    constexpr bool kWithSlopes = false;
    cv::buildOpticalFlowPyramid(luma[k], pyramid, patch, options.pyramid_levels, kWithSlopes);
    std::vector<unsigned char> status;
    std::vector<float> error;
    cv::calcOpticalFlowPyrLK(base_pyramid, pyramid, corners, moved, status, error, patch,
                             options.pyramid_levels, stop, cv::OPTFLOW_USE_INITIAL_FLOW, 1e-4);
    for (std::size_t i = 0; i < corners.size(); ++i) {
      if (status[i] == 0 || error[i] > 25.0F) {
        continue;
      }
      const auto normalised = [&](const cv::Point2f& p) -> Eigen::Vector2d {
        return (normalise *
                Eigen::Vector3d(static_cast<double>(p.x), static_cast<double>(p.y), 1.0))
            .hnormalized();
      };
      pairs[k].push_back({normalised(corners[i]), normalised(moved[i])});
      ids[k].push_back(static_cast<int>(i));
    }
    std::vector<double> trust;
    for (const int i : ids[k]) {
      trust.push_back(place_trust(corners[static_cast<std::size_t>(i)], base.size()));
    }
    RobustFit fit = fit_motion(pairs[k], trust, frame_from_reference_guess, f);
    for (std::size_t j = 0; j < pairs[k].size(); ++j) {
      const double d =
          ((fit.to_from * pairs[k][j].from.homogeneous()).hnormalized() - pairs[k][j].to).norm();
      misfits[k].push_back(std::min(d * f, 5.0));
    }
    return fit.to_from;
  };

  std::vector<Eigen::Matrix3d> first(luma.size(), Eigen::Matrix3d::Identity());
  // Forward and backward from the reference have nothing to do with each other: a core for each.
  std::future<void> forward = std::async(std::launch::async, [&] {
    std::vector<cv::Mat> pyramid;
    for (std::size_t k = reference + 1; k < luma.size(); ++k) {
      first[k] = follow(k, first[k - 1], pyramid);
    }
  });
  std::vector<cv::Mat> pyramid;
  for (std::size_t k = reference; k-- > 0;) {
    first[k] = follow(k, first[k + 1], pyramid);
  }
  forward.get();

  std::vector<double> misfit(corners.size(), 0.0);
  std::vector<int> seen(corners.size(), 0);
  for (std::size_t k = 0; k < luma.size(); ++k) {
    for (std::size_t j = 0; j < ids[k].size(); ++j) {
      const auto i = static_cast<std::size_t>(ids[k][j]);
      misfit[i] += misfits[k][j];
      seen[i] += 1;
    }
  }
  std::vector<double> typical;
  for (std::size_t i = 0; i < corners.size(); ++i) {
    if (seen[i] > 0) {
      misfit[i] /= seen[i];
      typical.push_back(misfit[i]);
    }
  }
  std::sort(typical.begin(), typical.end());
  const double limit = std::max(0.35, typical.empty() ? 0.0 : 2.5 * typical[typical.size() / 3]);
  const auto settle = [&](std::size_t k) {
    FrameMotion& motion = result.motion[k];
    if (k == reference) {
      motion.agreeing = static_cast<int>(corners.size());
      return;
    }
    std::vector<double> trust(pairs[k].size());
    for (std::size_t j = 0; j < trust.size(); ++j) {
      const auto i = static_cast<std::size_t>(ids[k][j]);
      trust[j] = misfit[i] < limit ? place_trust(corners[i], base.size()) : 0.0;
    }
    const RobustFit fit = fit_motion(pairs[k], trust, first[k], f);
    motion.agreeing = fit.agreeing;
    motion.residual_px = fit.sigma * f;
    motion.centre_sigma_px = fit.centre_sigma * f;
    const Eigen::Matrix3d pixels = pixel_from_normalised * fit.to_from * normalise;
    const double share = static_cast<double>(pairs[k].size()) / static_cast<double>(corners.size());
    motion.lost = fit.agreeing < options.min_features ||
                  motion.residual_px > options.lost_residual_px ||
                  share < 1.0 - options.scene_change - 0.3 || std::abs(pixels.determinant()) < 1e-6;
    if (!motion.lost) {
      motion.reference_from_frame = pixels.inverse();
      motion.reference_from_frame /= motion.reference_from_frame(2, 2);
    }
  };
  cv::parallel_for_(cv::Range(0, static_cast<int>(luma.size())), [&](const cv::Range& range) {
    for (int k = range.start; k < range.end; ++k) {
      settle(static_cast<std::size_t>(k));
    }
  });
  return result;
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
