// Sub-pixel sight of the arrow, frame by frame, in the part of the picture the flight runs through.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "nocktrail/track/sighting.hpp"
#include "nocktrail/track/sweep.hpp"

namespace nocktrail::track {

struct ShaftOptions {
  double grey_floor = 1.2;        // least assumed pixel noise, code values
  double edge_slip_px = 0.12;     // how far the background may be off, 1 sigma; grows the noise at
                                  // its edges
  double changed_sigma = 4.0;     // a pixel this far from the background may be arrow
  double edge_softness_px = 0.9;  // lens and codec blur of an edge, 1 sigma, for the templates
  double least_contrast_sigma = 4.0;  // a slice or end weaker than this is not used
  double clear_sides = 0.35;  // a slice whose flanks differ from the background by more than this
                              // share of its own contrast (vanes) tells nothing of the shaft
  double centre_floor_px = 0.15;  // best believable accuracy of one slice
  double end_floor_px = 1.3;      // best believable accuracy of an end found by its contrast alone
  double painted_floor_px = 0.9;  // and of one found by matching the painted arrow
  double nock_share = 0.012;      // of the length: what of vanes and nock, and of the point, shows
  double tip_share = 0.012;       // changes with the background, 1 sigma
  double side_length_px = 18.0;   // frames with a shorter arrow, or a thinner one, do not teach
  double side_width_px = 1.7;     // which side is lit
};

// The stretch of frames cut to the flight's part of the picture, the still background taken off.
struct Region {
  cv::Rect roi;                     // in the reference frame
  std::vector<cv::Mat> difference;  // CV_32F, linear light (255 at white), frame minus background
  std::vector<cv::Point> corner;    // of each `difference`, in `roi`; none: all fill it
  cv::Mat background;               // CV_32F
  cv::Mat sigma;                    // CV_32F, noise of one pixel of `difference`

  cv::Point corner_of(std::size_t frame) const {
    return corner.empty() ? cv::Point() : corner[frame];
  }
};

// The part of the picture that the sweep can touch, from just short of the vanishing point to the
// picture's edge.
cv::Rect region_of(const Sweep& sweep, const cv::Size& size);

// The part of `roi` in which the arrow can be at a time, with plenty of room around it.
cv::Rect part_at(const Sweep& sweep, double t_s, const cv::Rect& roi);

// The stretch cut to `roi`, with the median of frames [first, last) as the still background.
// Differences are made within `used` only, one part of the picture a frame; empty parts are left
// out.
Region cut_region(const std::vector<cv::Mat>& steadied, const cv::Rect& roi, std::size_t first,
                  std::size_t last, const std::vector<cv::Rect>& used, const ShaftOptions& options);

// The shaft near where the sweep expects it, as two end points (both coordinates trustworthy to a
// pixel or two): a straight chain of changed pixels. nullopt when there is none.
struct CoarseShaft {
  Eigen::Vector2d nock_px;
  Eigen::Vector2d tip_px;
};
std::optional<CoarseShaft> coarse_shaft(const Region& region, std::size_t frame, const Sweep& sweep,
                                        double t_s, const ShaftOptions& options);

// Where to look in the fine pass.
struct Expected {
  Eigen::Vector2d nock_px;
  Eigen::Vector2d tip_px;
  Eigen::Vector2d nock_velocity_px_s = Eigen::Vector2d::Zero();  // of the picture of the ends
  Eigen::Vector2d tip_velocity_px_s = Eigen::Vector2d::Zero();
  double depth_ratio = 1.0;  // camera depth of the tip over that of the nock
  double width_px = 3.0;     // of the shaft
  // How far a point of the bent shaft stands off where a straight one between the same ends would
  // have it, at equal steps of the chord from nock to tip: across (chord direction turned by +90
  // deg), and along, toward the tip. Both empty for a straight shaft.
  std::vector<double> bow_px;
  std::vector<double> slip_px;
  double bend_slack_px = 0.0;  // bending not yet known: how far off a straight line to follow it
  double search_across_px = 3.0;
  double search_along_px = 6.0;
};

// The neighbourhood of the expected shaft turned so that rows run along it.
struct Rectified {
  double a0 = 0.0;  // along coordinate of column 0, from the expected nock; step 1 px
  int columns = 0;
  double b0 = 0.0;  // across coordinate of row 0, from the expected (bent) axis
  double b_step = 0.5;
  int rows = 0;
  std::vector<double> grey;   // of `difference`, rows x columns
  std::vector<double> noise;  // per column
  double at(int row, int column) const {
    return grey[static_cast<std::size_t>(row) * static_cast<std::size_t>(columns) +
                static_cast<std::size_t>(column)];
  }
  double b(int row) const { return b0 + row * b_step; }
};

// The arrow in one frame cut open along its length: how strongly a bar of the shaft's width stands
// out at each pixel of the (straightened) axis.
struct ShaftProfile {
  std::size_t frame = 0;
  double t_s = 0.0;
  Expected expected;
  Eigen::Vector2d along = Eigen::Vector2d::UnitX();  // nock to tip, in the picture
  double first_px = 0.0;           // coordinate of level[0], from the expected nock, step 1 px
  std::vector<double> level;       // matched contrast, linear light, 255 at white
  std::vector<double> tilt;        // rise of the grey across the axis, likewise, see learn_side
  double tilt_weight = 0.5;        // noise of one value of level over that of one of tilt
  std::vector<double> background;  // light behind the axis
  double noise = 1.0;              // of one value of level, 1 sigma
  double line_offset = 0.0;        // axis found: across = offset + slope * along coordinate
  double line_slope = 0.0;
  std::vector<CentrePoint> centre;
  std::vector<double> centre_at_px;  // along coordinate of each centre point
  double shown = 1.0;                // share of the length that has centre points
  double front_shown = 1.0;          // likewise, of its half towards the point
  Rectified patch;

  double length_px() const { return (expected.tip_px - expected.nock_px).norm(); }
  double across_at(double along_px) const;  // of the axis, bending included
  Eigen::Vector2d place(double along_px) const;
};

// nullopt when nothing as straight and thin as a shaft stands out there. A `side` known from an
// earlier pass (see learn_side) no longer draws the centre line over.
std::optional<ShaftProfile> cut_open(const Region& region, std::size_t frame, double t_s,
                                     const Expected& expected, const ShaftOptions& options,
                                     double side = 0.0);

// Which side of the shaft is lit, and how much: a round shaft in the sun has a bright and a dark
// side. Across it, with u from -1 at one edge to +1 at the other (chord direction turned by +90
// deg), its grey is that of its paint + side u. One number for the whole shot, since neither the
// sun nor the arrow's direction changes in a few metres; 0 when it cannot be told.
double learn_side(const std::vector<ShaftProfile>& profiles, const ShaftOptions& options);

// Centre points, and both ends where the contrast falls off.
ArrowSighting sight(const ShaftProfile& profile, const ShaftOptions& options);

// Whether something else begins in this frame just where the shaft is seen to end: a straight edge
// through the end, at least half across the shaft, that explains most of how the light around it
// varies. Bow, hand and hat stand nearer than the arrow, and where one of them hides the rest of
// it, its outline runs through what looks like the end (a T-junction: Guzman, Decomposition of a
// visual scene into three-dimensional bodies, 1968). An end before an edge by chance looks the
// same.
bool nock_at_an_edge(const Region& region, const ShaftProfile& profile,
                     const Eigen::Vector2d& nock_px);
bool tip_at_an_edge(const Region& region, const ShaftProfile& profile,
                    const Eigen::Vector2d& tip_px);

// An arrow so far away that its ends cannot be told apart: the middle of what is seen of it.
struct FarSight {
  Eigen::Vector2d at_px = Eigen::Vector2d::Zero();
  double sigma_along_px = 1.0;  // along the expected shaft, 1 sigma
  double sigma_across_px = 1.0;
};
// nullopt when nothing stands out within the search, or several things do.
std::optional<FarSight> sight_far(const Region& region, std::size_t frame,
                                  const Expected& expected);

// The foremost end of a shaft that lies along `curve` (points about a pixel apart, from near the
// bow outward to empty ground), as a fractional index into it: coming from the far end, where
// something as thin as a shaft begins and goes on. nullopt when nothing stands out, or when even
// the far end is disturbed.
std::optional<double> foremost_end(const Region& region, std::size_t frame,
                                   const std::vector<Eigen::Vector2d>& curve,
                                   const std::vector<double>& width_px, double search_across_px,
                                   const ShaftOptions& options);

}  // namespace nocktrail::track
