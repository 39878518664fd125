// The upper limb of the bow in the picture, and the cant that it shows.
//
// Geometry. The bow's long axis leaves the arrow rest square to the flight, to within a few degrees
// of fore and aft lean; its limbs bend in the plane of that axis and the flight. So the limb's
// middle is, u metres up the bow from the rest,
//     P(u) = rest + across (a + 4 side x (1 - x)) + along u + forward (tan(lean) u + back x^2),
//     x = u / U,
//     across = right cos c + down sin c,   along = right sin c - down cos c,
// with the cant c (docs/measurement.md: positive when the upper limb leans to the shooter's right),
// the limb's middle a beside the arrow, `side` how far a stave with character strays from straight
// half-way up, and its tip `back` behind or before the rest (reflex,
// deflex, recurves, the string's pull). From above and behind, lean and bend move the picture of a
// canted limb sideways and are taken for cant in part: they are fitted with priors, and what stays
// open of them is in the cant's error. The flight gives the camera's place and roll.
//
// In the picture a limb is two nearly parallel edges of opposite sign, in front of everything
// downrange. Every cant is tried: along its curve the product of the gradients at both edges, over
// the mean square of all gradients about them, is summed up to where the limb ends best. Where no
// cant stands out, the likelier quarter of them is tried with more bends and leans. Then the edges
// are found one by one and the curve is fitted to their middles.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "nocktrail/flight/fit.hpp"
#include "nocktrail/flight/stroke.hpp"

namespace nocktrail::bow {

// Where rest and flight stand to the camera. Camera frame, metres; pixels of the reference frame.
struct Place {
  double focal_px = 0.0;
  Eigen::Vector2d principal_px = Eigen::Vector2d::Zero();
  Eigen::Vector3d rest_m = Eigen::Vector3d::Zero();
  Eigen::Vector3d right = Eigen::Vector3d::UnitX();  // flight basis, unit
  Eigen::Vector3d down = Eigen::Vector3d::UnitY();
  Eigen::Vector3d forward = Eigen::Vector3d::UnitZ();
};

Place place_of(const flight::FlightFit& fit, const flight::Stroke& stroke);

struct LimbShape {
  double cant_rad = 0.0;
  double across_m = 0.0;  // of the limb's middle, to the right of the arrow, square to the bow
  double lean_rad = 0.0;  // of the axis, upper limb forward
  double back_m = 0.0;    // of the tip by bending, forward positive: of a strung bow it is negative
  double side_m = 0.0;    // half-way up from the straight line, to the right
};

struct LimbOptions {
  double widest_cant_rad = 0.78;  // 45 deg; archers cant to 35
  double least_up_m = 0.14;       // the hand and the window's end hide what is lower
  double half_length_m = 0.80;    // U above: bows of 1.4-1.8 m
  double most_up_m = 0.92;
  double most_across_m = 0.035;  // a limb's middle is beside the arrow by at most half its width
  // Priors, 1 sigma. Common practice, no source: the string's plane is a brace height, 0.15-0.19 m,
  // behind; a straight limb's tip is at the string, a recurved one's up to 0.15 m before it.
  double across_sigma_m = 0.015;
  double lean_sigma_rad = 0.035;
  double back_m = -0.10;
  double back_sigma_m = 0.06;
  double side_sigma_m = 0.006;     // laminated limbs are straight, staves with character are not
  double search_focal_px = 700.0;  // a larger picture is made smaller
  // The sum over the stations, each up to 1.5 and a limb's own 1 to 1.5, of what speaks for a limb.
  // Of 249 searches of pictures without a bow 20 took something (planks of a floor, poles) for a
  // limb, none with 0.30; of 35 bows that were found all reached 0.39. With this, none of 118 did.
  double least_evidence_m = 0.33;
  double least_length_m = 0.30;    // of limb that must show,
  double least_share = 0.55;       // with both edges at this share of its stations
  double least_lead = 1.35;        // over the best of another cant
  double least_residual_px = 0.3;  // edges of a real limb are no better placed
  double alike = 4.0;  // neighbouring stations see the same grain of the limb and the same
                       // background: one in so many tells something of its own
  double own_error_rad = 0.012;  // limbs that are not straight, twisted tips: 0.7 deg
};

struct Edges {
  double up_m = 0.0;
  Eigen::Vector2d left_px = Eigen::Vector2d::Zero();
  Eigen::Vector2d right_px = Eigen::Vector2d::Zero();
};

struct SeenLimb {
  LimbShape shape;
  double cant_sigma_rad = 0.0;  // 1 sigma; the camera's roll is not in it
  std::vector<Edges> edges;     // pixels of the picture given
  double score = 0.0;           // mean over its stations, 1 is two edges and nothing else
  double lead = 0.0;            // over the best of a cant that is another
  bool drawn = false;           // seen at full draw: later it is elsewhere in the picture
};

// What is asked of a limb that only a second look found: whoever tries more curves finds more by
// chance. (Of 20 drawn scenes without a bow one reached 0.45 m at 1.8 times the second best.)
LimbOptions second_look(LimbOptions options);

Eigen::Vector3d limb_point(const Place& place, const LimbShape& shape, double up_m,
                           double half_length_m);

// A limb whose middle a person marked at these places (pixels of the reference frame), in any
// order; each counts as 4 mm, some 4 px (a thumb on a limb of 30 mm). Nothing where they lie along
// no limb of this bow, or too near each other to tell how it leans.
std::optional<SeenLimb> limb_of_marks(const std::vector<Eigen::Vector2d>& points_px,
                                      const Place& place, LimbOptions options = {});

// `grey` is CV_8UC1: a picture, in the reference frame, of the bow as the arrow leaves it. Nothing
// where no limb stands out.
std::optional<SeenLimb> find_limb(const cv::Mat& grey, const Place& place,
                                  const LimbOptions& options = {});

}  // namespace nocktrail::bow
