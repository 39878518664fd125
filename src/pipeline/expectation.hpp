// Where the flight, as it is fitted so far, has the arrow; and frames worked on at once. Private to
// the pipeline.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <opencv2/core.hpp>
#include <opencv2/core/utility.hpp>
#include <optional>
#include <vector>

#include "nocktrail/flight/fit.hpp"
#include "nocktrail/track/shaft.hpp"

namespace nocktrail::pipeline {

inline constexpr double kShaftDiameterM = 0.0075;

// A shorter shaft is a blob of vanes and blur whose ends mean nothing.
inline constexpr double kLeastLengthPx = 10.0;

// Without the width of the search.
track::Expected expect(const flight::FlightFit& fit, double t_s);

bool inside(const cv::Size& size, const Eigen::Vector2d& p);

// job(k) for each of `count` frames, on every core; the answers in the frames' order.
template <typename Answer, typename Job>
std::vector<std::optional<Answer>> for_each_frame(std::size_t count, const Job& job) {
  std::vector<std::optional<Answer>> answers(count);
  cv::parallel_for_(cv::Range(0, static_cast<int>(count)), [&](const cv::Range& range) {
    for (int k = range.start; k < range.end; ++k) {
      answers[static_cast<std::size_t>(k)] = job(static_cast<std::size_t>(k));
    }
  });
  return answers;
}

}  // namespace nocktrail::pipeline
