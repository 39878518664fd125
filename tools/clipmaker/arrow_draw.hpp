// Paints the arrow: a bent tube with point, crest, nock and vanes, in the instant of one
// exposure sample.
#pragma once

#include <vector>

#include "flight.hpp"
#include "light.hpp"
#include "raster.hpp"
#include "view.hpp"

namespace clipmaker {

class ArrowPainter {
 public:
  ArrowPainter(const ArrowSpec& spec, const Light& light);

  // The part between s_from and s_to (metres from the nock throat) as exposed about t.
  void paint(Layer& layer, const View& view, const ArrowFlight& flight, double t_s, double s_from,
             double s_to) const;
  // Pixels the arrow can touch then.
  Box bounds(const View& view, const ArrowFlight& flight, double t_s) const;
  // Its shadow on the ground Y = ground_y_m; alpha only.
  void paint_shadow(Layer& layer, const View& view, const ArrowFlight& flight, double t_s,
                    double ground_y_m) const;
  Box shadow_bounds(const View& view, const ArrowFlight& flight, double t_s,
                    double ground_y_m) const;
  // Distance from the nock throat at which the arrow crosses Z = z, possibly outside it.
  static double crossing(const ArrowFlight& flight, const ArrowPose& pose, double z_m);

 private:
  struct Band {
    double from_m, to_m;
    double radius_from_m, radius_to_m;
    Colour colour;
    float sheen;
    bool lit = false;
  };
  struct Station {
    bool visible = false;
    Eigen::Vector2d px;
    Eigen::Vector3d centre, side, toward;  // side and toward the eye, both across the axis
    ArrowPose pose;
    CameraPose camera;
  };
  void paint_front(double from_m, double to_m, const Colour& shaft, float sheen);
  Station station(const View& view, const ArrowFlight& flight, double t_s, double s_m) const;
  void paint_band(Layer& layer, const View& view, const ArrowFlight& flight, double t_s,
                  const Band& band, double s_from, double s_to) const;
  void paint_vanes(Layer& layer, const View& view, const ArrowFlight& flight, double t_s,
                   bool facing) const;
  std::vector<Eigen::Vector2d> shadow_outline(const View& view, const ArrowFlight& flight,
                                              double t_s, double ground_y_m) const;

  ArrowSpec spec_;
  Light light_;
  std::vector<Band> bands_;  // point first, nock last
  std::vector<Colour> vane_colours_;
};

}  // namespace clipmaker
