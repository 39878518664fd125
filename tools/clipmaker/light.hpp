// Sun and sky, and how a matt surface looks in them.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "raster.hpp"
#include "spec.hpp"

namespace clipmaker {

struct Light {
  Eigen::Vector3d to_sun{0.3, -0.8, -0.4};
  float sun = 0.7F;
  float sky = 0.45F;
  float scale = 1.0F;

  static Light of(const RangeSpec& range, double brightness) {
    constexpr double rad = std::numbers::pi / 180.0;
    const double el = range.sun_elevation_deg * rad;
    const double az = range.sun_azimuth_deg * rad;
    Light light;
    light.to_sun = {std::sin(az) * std::cos(el), -std::sin(el), std::cos(az) * std::cos(el)};
    light.sun = range.sun ? 1.1F : 0.0F;
    light.sky = range.sun ? 0.40F : 0.75F;
    light.scale = static_cast<float>(brightness);
    return light;
  }
  // Lambert: sun by the normal, sky by how much the surface faces up.
  Colour on(const Colour& albedo, const Eigen::Vector3d& normal) const {
    const auto facing = static_cast<float>(std::max(normal.dot(to_sun), 0.0));
    const auto up = static_cast<float>(-normal.y());
    return albedo * (scale * (sun * facing + sky * (0.7F + 0.3F * up)));
  }
  Colour sheen(const Eigen::Vector3d& normal, const Eigen::Vector3d& to_eye, float strength) const {
    const Eigen::Vector3d half = (to_sun + to_eye).normalized();
    const auto s = static_cast<float>(std::pow(std::max(normal.dot(half), 0.0), 30.0));
    return Colour::Constant(scale * strength * (sun * s + 0.12F * sky));
  }
};

}  // namespace clipmaker
