// The arrow in each frame, from the side: its centre line to a fraction of a pixel, and its ends.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "nocktrail/side/path.hpp"
#include "nocktrail/track/sighting.hpp"

namespace nocktrail::side {

struct SightOptions {
  double half_height_m = 0.10;     // of the strip along the path that is looked at
  double typical_length_m = 0.75;  // scale of the picture, for want of a better
  double widest_shaft_m = 0.010;
  double grey_floor = 1.2;     // least assumed noise of a pixel, grey levels
  double edge_slip_px = 0.15;  // leftover registration error, times the gradient
  double clear_sigmas = 1.6;   // by which the shaft stands out in the mean, for it to count
  int groups = 16;             // along the shaft
  double from_share = 0.24;    // vanes end here at the latest (0.17 m from the nock)
  double to_share = 0.96;      // a point tapers
  int background_frames = 21;
};

// The stretch along the path, straightened: columns run with the flight, rows across it.
class Strip {
 public:
  // `luma` are steadied frames (CV_8UC1, one size). The background is learned from those not
  // before `still_from_s`.
  Strip(const std::vector<cv::Mat>& luma, const std::vector<double>& t_s, const Path& path,
        double still_from_s, const SightOptions& options);

  // The path with its middle and cover where all frames from first_s on, laid over each other as it
  // flies, show the arrow. One frame may hide an end before a ground of its brightness, all do not.
  Path with_extent(double first_s) const;

  // The arrow in frame k, its middle near `middle_px` along the path and about length_px long.
  // nullopt where too little of it stands out.
  std::optional<track::ArrowSighting> sight(std::size_t k, double middle_px,
                                            double length_px) const;

  // The foremost thing in frame k between two places along the path that the background does not
  // have, in a band `across_px` to either side of n_px across it; s px along the path.
  std::optional<double> foremost(std::size_t k, double from_px, double to_px, double n_px,
                                 double across_px) const;

  // An arrow as it is expected in a frame.
  struct Expected {
    std::size_t frame = 0;
    Eigen::Vector2d nock_px = Eigen::Vector2d::Zero();
    Eigen::Vector2d tip_px = Eigen::Vector2d::Zero();
  };
  // Where several frames, laid over each other as they are expected, show the nock's or the point's
  // end: how far beyond the expected one, as a share of the arrow's length. A ground of the shaft's
  // brightness hides an end in some of them, hardly in all.
  std::optional<double> end_together(const std::vector<Expected>& arrows, bool tip) const;

  Eigen::Vector2d picture_px(double s, double n) const {
    return path_.at_px + path_.along * s + path_.across() * n;
  }

 private:
  struct Line {  // n = offset + lean (s - middle)
    double middle = 0.0;
    double offset = 0.0;
    double lean = 0.0;
    double at(double s) const { return offset + lean * (s - middle); }
  };
  struct Group {
    double s = 0.0;
    double n = 0.0;
    double sigma_px = 0.0;
  };
  std::optional<Line> coarse_line(const cv::Mat& changed, double middle_px, double length_px) const;
  std::vector<Group> groups_about(std::size_t k, const Line& line, double middle_px,
                                  double length_px) const;
  // By how many sigmas the picture changed, at steps across a piece of the line; empty where there
  // are too few columns.
  std::vector<double> profile_across(std::size_t k, const Line& line, double from_px, double to_px,
                                     int steps, int& columns) const;
  // From the arrow's middle outward, for each step: what it costs to call it covered by the arrow
  // or free of it, and how well that can be told.
  struct StepCost {
    std::vector<double> covered;
    std::vector<double> free;
    std::vector<double> weight;
  };
  std::optional<StepCost> step_cost(std::size_t k, const Line& line, double from_px,
                                    double expected_px, double length_px, double step_px) const;
  // Where the arrow ends, in steps; `length` of it in steps. nullopt where that cannot be told.
  static std::optional<double> step_in(const StepCost& of, double length);
  std::optional<double> end(std::size_t k, const Line& line, double from_px, double expected_px,
                            double length_px) const;
  cv::Mat changed_in(std::size_t k) const;  // |difference| in sigmas, CV_32F
  double column_of(double s) const { return s - first_px_; }
  bool inside(double s) const { return column_of(s) >= 1.0 && column_of(s) < columns_ - 2.0; }

  SightOptions options_;
  Path path_;
  std::vector<double> t_s_;
  double first_px_ = 0.0;  // s of column 0
  int columns_ = 0;
  int half_rows_ = 0;
  std::vector<cv::Mat> rows_;  // CV_32F, a frame each
  cv::Mat background_;
  cv::Mat sigma_;
};

}  // namespace nocktrail::side
