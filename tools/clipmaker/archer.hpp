// The archer from behind: head, back, arms, as sprites painted once and moved with the body.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "camera.hpp"
#include "light.hpp"
#include "picture.hpp"
#include "spec.hpp"
#include "view.hpp"

namespace clipmaker {

// How the archer stands at one instant: shifts from full draw, metres, range frame.
struct Stance {
  Eigen::Vector3d string_hand_m = Eigen::Vector3d::Zero();
  Eigen::Vector3d bow_hand_m = Eigen::Vector3d::Zero();
  Eigen::Vector3d body_m = Eigen::Vector3d::Zero();
};

class Archer {
 public:
  // nock_draw_z_m: where the nock is at full draw.
  Archer(const ClipSpec& spec, const Camera& camera, const Light& light, double nock_draw_z_m);

  void paint_bow_arm(const View& view, const Stance& stance, Picture& out) const;
  void paint_body(const View& view, const Stance& stance, Picture& out) const;
  void paint_string_arm(const View& view, const Stance& stance, Picture& out) const;

 private:
  friend class Sculptor;
  struct Part {
    Sprite sprite;
    Box box;             // mean display pixels that the sprite covers
    double scale = 1.0;  // display pixels per sprite pixel
    Eigen::Vector3d anchor_m = Eigen::Vector3d::Zero();  // on the plane across the mean line of
                                                         // sight in which the sprite lies
  };
  void paint_part(const Part& part, const View& view, const Eigen::Vector3d& shift,
                  Picture& out) const;

  const Camera* camera_;
  Part bow_arm_, body_, string_arm_;
};

// Diameter of the blur disc of something at this distance, in pixels: a phone's aperture of about
// 2.4 mm focused far away, times the clip's `defocus`.
double blur_disc_px(const Camera& camera, double distance_m, double defocus);

}  // namespace clipmaker
