// Bow and string: a riser and two limbs as shaded ribbons in a canted plane, moved by the string.
#pragma once

#include "archer.hpp"
#include "flight.hpp"
#include "light.hpp"
#include "raster.hpp"
#include "view.hpp"

namespace clipmaker {

// The bow at one instant.
struct BowState {
  double limb_angle_rad = 0.0;                       // of both limb tips, back from upright
  bool string_straight = false;                      // pulled to a point, not swinging free
  Eigen::Vector3d nock_m = Eigen::Vector3d::Zero();  // where the string is pulled to
  double swing_m = 0.0;  // free string: displacement of its middle along Z
  Eigen::Vector3d shift_m = Eigen::Vector3d::Zero();
  double tilt_rad = 0.0;   // the bow tips forward in the hand
  double swing_rad = 0.0;  // and turns, the upper limb to the right
};

class Bow {
 public:
  Bow(const ClipSpec& spec, const Light& light);

  // `flight`: the arrow on the string or just gone; after its exit the string swings.
  BowState state(const ArrowFlight& flight, double t_s, const Eigen::Vector3d& hand_shift_m) const;

  // One that nobody holds, moved there.
  BowState standing(const Eigen::Vector3d& shift_m) const;

  // Straight pieces across the bow, from its edge at the left to that at the right, in the order of
  // their places along it: the riser upwards, a limb (end +1 the upper, -1 the lower) outwards.
  struct Rib {
    double up, z, left, right;  // edges across
  };
  std::vector<Rib> riser_ribs() const;
  std::vector<Rib> limb_ribs(const BowState& state, double end) const;
  // From the bow's own frame (across to its right, up along it, Z) to the range frame.
  Eigen::Vector3d place(const BowState& state, double across_m, double up_m, double z_m) const;
  // From the upper limb's tip to the lower one's.
  std::vector<Eigen::Vector3d> string_path(const BowState& state) const;

  void paint_bow(Layer& layer, const View& view, const BowState& state, double t_s) const;
  void paint_string(Layer& layer, const View& view, const BowState& state, double t_s) const;

 private:
  struct Thing {
    std::vector<Rib> ribs;
    Colour colour;
  };
  std::vector<Thing> quiver() const;
  std::vector<Eigen::Vector3d> stringer_path(const BowState& state) const;

  Eigen::Vector3d tip(const BowState& state, double end) const;
  double tip_up(double angle) const;
  double tip_z(double angle) const;

  ArcherSpec spec_;
  Light light_;
  double side_;         // +1 right-handed: the bow stands to the right of the arrow
  double limb_m_;       // length of a limb
  double brace_angle_;  // limb angle at brace
  double half_string_m_;
  Colour riser_, limb_colour_, string_;
};

}  // namespace clipmaker
