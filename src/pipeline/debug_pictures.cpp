#include "debug_pictures.hpp"

#include <fmt/format.h>

#include <cmath>
#include <fstream>
#include <opencv2/imgproc.hpp>

#include "nocktrail/media/image_file.hpp"
#include "nocktrail/optics/camera.hpp"
#include "nocktrail/units/units.hpp"

namespace nocktrail::pipeline {
namespace {

std::filesystem::path name(const std::filesystem::path& folder, double surge_s, const char* what) {
  std::filesystem::create_directories(folder);
  return folder / fmt::format("{:07.3f}s-{}", surge_s, what);
}

void save(const std::filesystem::path& file, const cv::Mat& picture) {
  std::ofstream(file, std::ios::binary) << media::png_bytes(picture);
}

cv::Point2d at(const Eigen::Vector2d& p) {
  return {p.x(), p.y()};
}

}  // namespace

void debug_sweeps(const std::filesystem::path& folder, double surge_s, const cv::Mat& reference,
                  const std::vector<track::Passing>& passings,
                  const std::vector<track::Sweep>& sweeps) {
  if (folder.empty()) {
    return;
  }
  cv::Mat hue(reference.size(), CV_8UC3, cv::Scalar(0, 0, 0));
  for (const track::Passing& p : passings) {
    hue.at<cv::Vec3b>(static_cast<int>(p.y_px), static_cast<int>(p.x_px)) =
        cv::Vec3b(static_cast<unsigned char>((p.first * 7) % 180), 255, 255);
  }
  cv::Mat colour;
  cv::cvtColor(hue, colour, cv::COLOR_HSV2BGR);
  cv::Mat grey;
  cv::cvtColor(reference, grey, cv::COLOR_GRAY2BGR);
  cv::addWeighted(grey, 0.4, colour, 1.0, 0, colour);
  for (std::size_t i = 0; i < std::min<std::size_t>(sweeps.size(), 4); ++i) {
    const track::Sweep& s = sweeps[i];
    const cv::Scalar ink = i == 0 ? cv::Scalar(255, 255, 255) : cv::Scalar(160, 160, 160);
    cv::line(colour, at(s.vanishing_px), at(s.vanishing_px + s.outward * 600.0), ink, 1,
             cv::LINE_AA);
    cv::circle(colour, at(s.vanishing_px), 8, ink, 1, cv::LINE_AA);
    cv::putText(colour,
                fmt::format("{} score {:.0f} frames {} cover {:.1f} ms", i, s.score, s.frames,
                            s.cover_s * 1e3),
                at(s.vanishing_px + Eigen::Vector2d(12, -10.0 - 16.0 * static_cast<double>(i))),
                cv::FONT_HERSHEY_SIMPLEX, 0.45, ink);
  }
  save(name(folder, surge_s, "sweeps.png"), colour);
}

void debug_fit(const std::filesystem::path& folder, double surge_s, const track::Region& region,
               const flight::FlightFit& fit, const std::vector<track::ArrowSighting>& sightings) {
  if (folder.empty()) {
    return;
  }
  std::ofstream text(name(folder, surge_s, "residuals.txt"));
  text << fmt::format("frames {} centre points {} ends {} centre scale {:.2f} end scale {:.2f}\n",
                      fit.frames, fit.centre_points, fit.ends, fit.centre_scale, fit.end_scale);
  for (int i = 0; i < flight::kParameters; ++i) {
    text << fmt::format("p{} = {:.5f} +- {:.5f}\n", i, fit.parameters[i],
                        std::sqrt(fit.covariance(i, i)));
  }
  constexpr double kScale = 4.0;
  constexpr int kTile = 320;
  std::vector<cv::Mat> tiles;
  for (std::size_t k = 0; k < sightings.size(); ++k) {
    const track::ArrowSighting& s = sightings[k];
    const Eigen::Vector2d nock = flight::seen_px(fit, s.t_s, 0.0);
    const Eigen::Vector2d tip = flight::seen_px(fit, s.t_s, 1.0);
    const Eigen::Vector2d middle = 0.5 * (nock + tip);
    const double zoom = std::min(kScale * 2, 0.8 * kTile / std::max(10.0, (nock - tip).norm()));
    const Eigen::Vector2d corner = middle - Eigen::Vector2d::Constant(kTile / 2.0 / zoom);
    cv::Mat grey;
    region.difference[static_cast<std::size_t>(s.frame)].convertTo(grey, CV_8U, 2.0, 128.0);
    const cv::Point part = region.roi.tl() + region.corner_of(static_cast<std::size_t>(s.frame));
    const cv::Matx23d warp(zoom, 0, -zoom * (corner.x() - part.x), 0, zoom,
                           -zoom * (corner.y() - part.y));
    cv::Mat tile;
    cv::warpAffine(grey, tile, warp, cv::Size(kTile, kTile), cv::INTER_NEAREST);
    cv::cvtColor(tile, tile, cv::COLOR_GRAY2BGR);
    const auto to_tile = [&](const Eigen::Vector2d& p) { return at((p - corner) * zoom); };
    cv::line(tile, to_tile(nock), to_tile(tip), cv::Scalar(0, 160, 255), 1, cv::LINE_AA);
    for (const auto& c : s.centre) {
      cv::circle(tile, to_tile(c.at_px), 2, cv::Scalar(255, 255, 0), 1);
    }
    if (s.nock) {
      cv::circle(tile, to_tile(s.nock->at_px), 5, cv::Scalar(0, 0, 255), 1);
    }
    if (s.tip) {
      cv::circle(tile, to_tile(s.tip->at_px), 5, cv::Scalar(0, 255, 0), 1);
    }
    const flight::FrameResidual& r = fit.residuals[k];
    const std::string words = fmt::format("{} t{:.4f} c{:.1f} n{:.1f} t{:.1f}", s.frame, s.t_s,
                                          r.centre_rms, r.nock.value_or(NAN), r.tip.value_or(NAN));
    cv::putText(tile, words, cv::Point(4, 14), cv::FONT_HERSHEY_SIMPLEX, 0.4,
                cv::Scalar(0, 255, 255));
    text << words << fmt::format(" len {:.1f} centre n {}\n", (nock - tip).norm(), s.centre.size());
    tiles.push_back(tile);
  }
  constexpr int kColumns = 6;
  const int rows = (static_cast<int>(tiles.size()) + kColumns - 1) / kColumns;
  cv::Mat sheet(std::max(1, rows) * kTile, kColumns * kTile, CV_8UC3, cv::Scalar(0, 0, 0));
  for (std::size_t i = 0; i < tiles.size(); ++i) {
    const int column = static_cast<int>(i) % kColumns;
    const int row = static_cast<int>(i) / kColumns;
    tiles[i].copyTo(sheet(cv::Rect(column * kTile, row * kTile, kTile, kTile)));
  }
  save(name(folder, surge_s, "fit.png"), sheet);
}

void debug_limb(const std::filesystem::path& folder, double surge_s, const cv::Mat& picture,
                const bow::Place& place, const std::optional<bow::SeenLimb>& limb) {
  if (folder.empty()) {
    return;
  }
  cv::Mat colour;
  cv::cvtColor(picture, colour, cv::COLOR_GRAY2BGR);
  const auto seen = [&](const Eigen::Vector3d& point) {
    return at(optics::project<double>(place.focal_px, place.principal_px, point));
  };
  const cv::Scalar ink(0, 220, 255);
  if (place.rest_m.z() > 0.0) {
    cv::circle(colour, seen(place.rest_m), 10, ink, 2, cv::LINE_AA);
  }
  if (limb) {
    for (const bow::Edges& edges : limb->edges) {
      cv::circle(colour, at(edges.left_px), 2, cv::Scalar(80, 255, 80), cv::FILLED, cv::LINE_AA);
      cv::circle(colour, at(edges.right_px), 2, cv::Scalar(80, 255, 80), cv::FILLED, cv::LINE_AA);
    }
    const double half_length_m = bow::LimbOptions{}.half_length_m;
    constexpr double kStep_m = 0.05;
    for (double up_m = 0.0; up_m < half_length_m; up_m += kStep_m) {
      cv::line(colour, seen(bow::limb_point(place, limb->shape, up_m, half_length_m)),
               seen(bow::limb_point(place, limb->shape, up_m + kStep_m, half_length_m)), ink, 1,
               cv::LINE_AA);
    }
    cv::putText(colour,
                fmt::format("cant {:.1f} deg, score {:.2f}, lead {:.1f}",
                            units::deg_from_rad(limb->shape.cant_rad), limb->score, limb->lead),
                {20, 40}, cv::FONT_HERSHEY_SIMPLEX, 0.8, ink, 2, cv::LINE_AA);
  }
  save(name(folder, surge_s, "limb.png"), colour);
}

}  // namespace nocktrail::pipeline
