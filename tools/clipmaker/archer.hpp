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

// How the archer stands at one instant; offsets from full draw, in metres, range frame.
struct Stance {
  Eigen::Vector3d string_hand_m = Eigen::Vector3d::Zero();
  Eigen::Vector3d bow_hand_m = Eigen::Vector3d::Zero();
  Eigen::Vector3d body_m = Eigen::Vector3d::Zero();
};

class Archer {
 public:
  Archer(const ClipSpec& spec, const Camera& camera, const Light& light, double nock_draw_z_m);

  void paint_bow_arm(const View& view, const Stance& stance, Picture& out) const;
  void paint_body(const View& view, const Stance& stance, Picture& out) const;

 private:
  struct Part {
    Sprite sprite;
    Box box;                 // of the sprite in mean display pixels, sprite pixel = (x - box.x0) / k
    double scale = 1.0;      // display pixels per sprite pixel
    double depth_z_m = 0.0;  // plane on which it moves
    bool empty = true;
  };
  void paint_part(const Part& part, const View& view, const Eigen::Vector3d& shift,
                  Picture& out) const;

  const Camera* camera_;
  Part bow_arm_, body_, string_arm_;
};

}  // namespace clipmaker
