// The still scenery, painted once into a panorama about the camera's mean direction: ground, far
// scenery, butt and the arrows in it. Frames are cut from it by the camera's rotation.
#pragma once

#include "arrow_draw.hpp"
#include "camera.hpp"
#include "light.hpp"
#include "picture.hpp"
#include "spec.hpp"

namespace clipmaker {

class Panorama {
 public:
  // `margin_deg` beyond the field of view on each side is room for the shake.
  Panorama(const ClipSpec& spec, const Camera& camera, const Light& light,
           const Eigen::Vector3d& butt_centre_m, double margin_deg);

  // Fill `out` with the scenery as frame `view` sees it.
  void cut(const View& view, Picture& out) const;

  // Panorama pixel of a direction in the mean camera's frame (z > 0).
  Eigen::Vector2d pixel(const Eigen::Vector3d& camera_direction) const {
    return {cx_ + f_ * camera_direction.x() / camera_direction.z(),
            cy_ + f_ * camera_direction.y() / camera_direction.z()};
  }

 private:
  friend class Scenery;
  Eigen::Vector2d sway(const Eigen::Vector2d& pixel, double t_s) const;

  const Camera* camera_;
  double f_ = 0.0;
  double cx_ = 0.0;
  double cy_ = 0.0;
  double wind_ = 0.0;
  Picture picture_;
  // How much each 32-pixel patch of the panorama moves in the wind, in pixels.
  std::vector<float> leafy_;
  int leafy_columns_ = 0;
};

// Painting tools over the panorama in the making.
struct Canvas {
  LinearImage image;
  const Camera* camera = nullptr;
  double f = 0.0, cx = 0.0, cy = 0.0;
  Light light;

  // Panorama pixel of a point; far outside when behind the camera.
  Eigen::Vector2d pixel_of(const Eigen::Vector3d& p_m) const;
  // Direction of a panorama pixel in the range frame, not unit.
  Eigen::Vector3d ray(int x, int y) const;
  // Polygon of points in the range frame.
  void fill(std::span<const Eigen::Vector3d> polygon, const Colour& colour, float opacity = 1.0F);
};

// Far plane: sky, trees or hall at spec.range.far_m. Leaves `leafy` marks: called with the panorama
// box and the sway in pixels.
using MarkLeafy = std::function<void(const Box& box, float sway_px)>;
void paint_far_scenery(Canvas& canvas, const RangeSpec& range, const MarkLeafy& mark);
void paint_ground(Canvas& canvas, const RangeSpec& range);
void paint_butt(Canvas& canvas, const ClipSpec& spec, const Eigen::Vector3d& centre_m);

}  // namespace clipmaker
