// A made-up shot: dark arrows over a pale field, drawn by a plain pinhole, and the reading that a
// perfect fit would give for it.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <map>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "nocktrail/picture/still.hpp"
#include "nocktrail/reading.hpp"

namespace nocktrail::test {

struct Scene {
  cv::Size size{1280, 720};
  double focal_px = 900.0;
  double nock_right_deg = -2.4;
  double nock_high_deg = 0.8;
  double drift_px_per_frame = 0.0;  // of the camera, sideways
  int frames = 24;

  Eigen::Vector2d project(const Eigen::Vector3d& range_m) const {
    // The camera stands 1 m behind the rest, 0.55 m above it and 0.1 m to the right, looking level.
    const Eigen::Vector3d p = range_m - Eigen::Vector3d(0.1, -0.55, -1.0);
    return {0.5 * size.width + focal_px * p.x() / p.z(),
            0.4 * size.height + focal_px * p.y() / p.z()};
  }

  FittedFrame fitted(int index) const {
    constexpr double kLength_m = 0.76;
    constexpr double kStep_m = 52.0 / 240.0;
    const double rad = std::acos(-1.0) / 180.0;
    FittedFrame f;
    f.index = index;
    f.t_s = index / 240.0;
    f.nock_z_m = -0.2 + index * kStep_m;
    const Eigen::Vector3d tip(0.0, 0.0, f.nock_z_m + kLength_m);
    const Eigen::Vector3d nock =
        tip + kLength_m * Eigen::Vector3d(std::sin(nock_right_deg * rad),
                                          -std::sin(nock_high_deg * rad), -1.0);
    const Eigen::Vector2d drift(drift_px_per_frame * index, 0.0);
    f.tip_px = project(tip) + drift;
    f.nock_px = project(nock) + drift;
    f.straight_nock_px = project(tip - Eigen::Vector3d(0.0, 0.0, kLength_m)) + drift;
    f.reference_from_frame(0, 2) = -drift.x();
    return f;
  }

  Reading reading() const {
    Reading r;
    r.clip.path = "alder-yard/evening-03.mp4";
    r.clip.width = size.width;
    r.clip.height = size.height;
    r.clip.frames = frames;
    r.clip.capture_fps = 240.0;
    r.status = ClipStatus::measured;
    Shot s;
    s.status = ShotStatus::measured;
    s.nock_right_deg = Measured{nock_right_deg, 0.2};
    s.nock_high_deg = Measured{nock_high_deg, 0.6};
    for (int k = 0; k < frames; ++k) {
      s.fitted.push_back(fitted(k));
    }
    r.shots.push_back(s);
    return r;
  }

  cv::Mat frame(int index) const {
    cv::Mat bgr(size, CV_8UC3);
    for (int y = 0; y < size.height; ++y) {
      bgr.row(y).setTo(cv::Scalar(150 + 60 * y / size.height, 190, 170));
    }
    const FittedFrame f = fitted(index);
    const double near = focal_px / (f.nock_z_m + 1.0);
    cv::line(bgr, cv::Point2d(f.nock_px.x(), f.nock_px.y()),
             cv::Point2d(f.tip_px.x(), f.tip_px.y()), cv::Scalar(30, 40, 60),
             std::max(1, cvRound(0.007 * near)), cv::LINE_AA);
    return bgr;
  }

  picture::FrameFetcher fetcher() const {
    return [scene = *this](const std::vector<long>& indices) {
      std::map<long, cv::Mat> fetched;
      for (const long k : indices) {
        if (k >= 0 && k < scene.frames) {
          fetched[k] = scene.frame(static_cast<int>(k));
        }
      }
      return fetched;
    };
  }
};

}  // namespace nocktrail::test
