#include "arrow_draw.hpp"

#include <Eigen/Geometry>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "rng.hpp"

namespace clipmaker {
namespace {

constexpr double kNock_m = 0.018;
constexpr double kStationSpacing_m = 0.03;
constexpr std::array<double, 7> kAcross{-1.0, -0.75, -0.35, 0.0, 0.35, 0.75, 1.0};

// Horizontal and vertical directions across an axis.
Eigen::Vector3d right_of(const Eigen::Vector3d& axis) {
  const double az = azimuth_of(axis);
  return {std::cos(az), 0.0, -std::sin(az)};
}

const std::array<Colour, 8> kPlastic{Colour(0.75F, 0.05F, 0.04F), Colour(0.85F, 0.70F, 0.03F),
                                     Colour(0.80F, 0.80F, 0.78F), Colour(0.06F, 0.55F, 0.10F),
                                     Colour(0.90F, 0.25F, 0.02F), Colour(0.05F, 0.12F, 0.55F),
                                     Colour(0.03F, 0.03F, 0.03F), Colour(0.80F, 0.10F, 0.45F)};

}  // namespace

ArrowPainter::ArrowPainter(const ArrowSpec& spec, const Light& light) : spec_(spec), light_(light) {
  Rng rng = Rng::stream(spec.paint_seed, 11);
  Colour shaft(0.42F, 0.26F, 0.12F);
  float sheen = 0.03F;
  if (spec.material == "carbon") {
    shaft = Colour(0.016F, 0.016F, 0.018F);
    sheen = 0.06F;
  } else if (spec.material == "bright") {
    const std::array<Colour, 3> bright{Colour(0.65F, 0.66F, 0.68F), Colour(0.80F, 0.78F, 0.70F),
                                       Colour(0.75F, 0.60F, 0.05F)};
    shaft = bright[static_cast<std::size_t>(rng.below(3))];
    sheen = 0.25F;
  } else {
    shaft *= static_cast<float>(rng.uniform(0.55, 1.25));
  }
  const auto plastic = [&rng] { return kPlastic[static_cast<std::size_t>(rng.below(8))]; };
  const Colour nock = plastic();
  const Colour vanes = plastic();
  const Colour cock_vane = rng.chance(0.6) ? plastic() : vanes;
  vane_colours_.assign(static_cast<std::size_t>(spec.vanes), vanes);
  vane_colours_.front() = cock_vane;
  const Colour crest = plastic();
  const bool has_crest = rng.chance(0.6);
  const Colour point = rng.chance(0.7) ? Colour(0.30F, 0.30F, 0.31F) : Colour(0.55F, 0.42F, 0.16F);

  sheen += static_cast<float>(spec.gloss);

  const double r = 0.5 * spec.diameter_m;
  const double length = spec.length_m;
  double point_m = 0.025;
  if (spec.point == "blunt") {
    point_m = 0.03;
    bands_.push_back({length - point_m, length, 1.5 * r, 1.5 * r, point, 0.2F});
  } else {
    const double cone_m = spec.point == "head" ? 0.035 : 0.012;
    point_m = spec.point == "head" ? 0.06 : 0.025;
    const double base = spec.point == "head" ? 1.25 * r : r;
    bands_.push_back({length - cone_m, length, base, 0.0004, point, 0.2F});
    bands_.push_back({length - point_m, length - cone_m, base, base, point, 0.2F});
  }
  const double vanes_end = spec.vane_offset_m + spec.vane_length_m;
  const double crest_from = vanes_end + 0.015;
  const double front_from = has_crest ? crest_from + 0.075 : crest_from;
  paint_front(front_from, length - point_m, shaft, sheen);
  if (has_crest) {
    bands_.push_back({crest_from + 0.060, crest_from + 0.075, r, r, crest, 0.03F});
    bands_.push_back({crest_from + 0.035, crest_from + 0.060, r, r, shaft, sheen});
    bands_.push_back({crest_from, crest_from + 0.035, r, r, crest, 0.03F});
  }
  bands_.push_back({kNock_m, crest_from, r, r, shaft, sheen});
  const double nock_r = spec.nock_width * r;
  // A lit nock shines as brightly as paper in the sun, from every side.
  const Colour nock_colour = spec.nock == "shaft" ? shaft : nock;
  bands_.push_back(
      {-spec.nock_ears_m, kNock_m, 0.9 * nock_r, nock_r, nock_colour, 0.05F, spec.nock == "lit"});
}

void ArrowPainter::paint_front(double from_m, double to_m, const Colour& shaft, float sheen) {
  const double r = 0.5 * spec_.diameter_m;
  if (spec_.marks == "footed") {
    const double foot = std::max(from_m, to_m - 0.2);
    bands_.push_back({foot, to_m, r, r, Colour(0.35F * shaft), sheen});
    bands_.push_back({from_m, foot, r, r, shaft, sheen});
  } else if (spec_.marks == "barred") {
    constexpr double kBar_m = 0.03;
    double at = to_m;
    for (bool dark = false; at > from_m; dark = !dark) {
      const double next = std::max(from_m, at - kBar_m);
      bands_.push_back({next, at, r, r, dark ? Colour(0.25F * shaft) : shaft, sheen});
      at = next;
    }
  } else {
    bands_.push_back({from_m, to_m, r, r, shaft, sheen});
  }
}

double ArrowPainter::crossing(const ArrowFlight& flight, const ArrowPose& pose, double z) {
  const double at_zero = flight.rigid_point(pose, 0.0).z();
  return (z - at_zero) / std::max(pose.axis.z(), 1e-3);
}

ArrowPainter::Station ArrowPainter::station(const View& view, const ArrowFlight& flight, double t,
                                            double s) const {
  Station st;
  const auto seen = view.rolling(
      [&](double when) {
        const ArrowPose pose = flight.pose(when);
        return flight.point(pose, s);
      },
      t);
  if (!seen) {
    return st;
  }
  st.visible = true;
  st.px = seen->px;
  st.pose = flight.pose(seen->t_s);
  st.camera = view.pose(seen->t_s);
  // rigid_point extends behind the throat by itself; the mode shape is held there.
  st.centre = flight.point(st.pose, s);
  const Eigen::Vector3d eye = (st.camera.position_m - st.centre).normalized();
  Eigen::Vector3d side = st.pose.axis.cross(eye);
  const double n = side.norm();
  side = n > 1e-6 ? Eigen::Vector3d(side / n) : right_of(st.pose.axis);
  st.side = side;
  st.toward = side.cross(st.pose.axis);
  if (st.toward.dot(eye) < 0.0) {
    st.toward = -st.toward;
  }
  return st;
}

void ArrowPainter::paint_band(Layer& layer, const View& view, const ArrowFlight& flight, double t,
                              const Band& band, double s_from, double s_to) const {
  // A hair of overlap under the nearer band closes the seam between them.
  const double from = std::max(band.from_m - 0.001, s_from);
  const double to = std::min(band.to_m, s_to);
  if (to <= from) {
    return;
  }
  const int pieces = std::max(1, static_cast<int>(std::ceil((to - from) / kStationSpacing_m)));
  std::vector<Station> stations;
  std::vector<double> radii;
  for (int i = 0; i <= pieces; ++i) {
    const double s = from + (to - from) * i / pieces;
    stations.push_back(station(view, flight, t, s));
    if (!stations.back().visible) {
      stations.pop_back();
      continue;
    }
    const double share =
        std::clamp((s - band.from_m) / std::max(band.to_m - band.from_m, 1e-9), 0.0, 1.0);
    radii.push_back(band.radius_from_m + share * (band.radius_to_m - band.radius_from_m));
  }
  if (stations.size() < 2) {
    return;
  }
  const auto on_tube = [&view](const Station& st, double radius, double across) {
    const Eigen::Vector3d p =
        st.centre + radius * (across * st.side + std::sqrt(1.0 - across * across) * st.toward);
    return view.camera().project(st.camera, p).value_or(st.px);
  };
  Layer tube;
  std::vector<Eigen::Vector2d> all;
  for (std::size_t i = 0; i < stations.size(); ++i) {
    for (const double across : kAcross) {
      all.push_back(on_tube(stations[i], radii[i], across));
    }
  }
  tube.reset(box_of(all).clipped(layer.box()));
  if (tube.box().empty()) {
    return;
  }
  const Station& middle = stations[stations.size() / 2];
  const Eigen::Vector3d eye = (middle.camera.position_m - middle.centre).normalized();
  for (std::size_t k = 0; k + 1 < kAcross.size(); ++k) {
    std::vector<Eigen::Vector2d> strip;
    for (std::size_t i = 0; i < stations.size(); ++i) {
      strip.push_back(all[i * kAcross.size() + k]);
    }
    for (std::size_t i = stations.size(); i-- > 0;) {
      strip.push_back(all[i * kAcross.size() + k + 1]);
    }
    const double across = 0.5 * (kAcross[k] + kAcross[k + 1]);
    const Eigen::Vector3d normal =
        across * middle.side + std::sqrt(1.0 - across * across) * middle.toward;
    tube.beside(strip, band.lit ? Colour(Colour::Constant(0.15F) + 0.85F * band.colour)
                                : Colour(light_.on(band.colour, normal) +
                                         light_.sheen(normal, eye, band.sheen)));
  }
  layer.put_over(tube);
}

void ArrowPainter::paint_vanes(Layer& layer, const View& view, const ArrowFlight& flight, double t,
                               bool facing) const {
  // Height along the vane from its rear end, share of the full height.
  using Profile = std::array<std::array<double, 2>, 7>;
  constexpr Profile kParabola{
      {{0.0, 0.70}, {0.06, 0.95}, {0.2, 1.0}, {0.4, 0.88}, {0.65, 0.58}, {0.85, 0.26}, {1.0, 0.0}}};
  constexpr Profile kShield{
      {{0.0, 0.0}, {0.05, 0.85}, {0.12, 1.0}, {0.4, 0.8}, {0.65, 0.55}, {0.85, 0.28}, {1.0, 0.0}}};
  const Profile& profile = spec_.vane_shape == "shield" ? kShield : kParabola;
  const double r = 0.5 * spec_.diameter_m;
  for (int v = 0; v < spec_.vanes; ++v) {
    std::vector<Eigen::Vector2d> face;
    std::vector<Eigen::Vector2d> frayed;  // the outermost part, where barbs stand apart
    std::vector<Eigen::Vector2d> root;
    std::vector<Eigen::Vector2d> rear;
    bool is_facing = false;
    Colour colour;
    Colour edge_colour;
    bool visible = true;
    for (std::size_t i = 0; i < profile.size(); ++i) {
      const double s = spec_.vane_offset_m + profile[i][0] * spec_.vane_length_m;
      const Station st = station(view, flight, t, s);
      if (!st.visible) {
        visible = false;
        break;
      }
      const Eigen::Vector3d right = right_of(st.pose.axis);
      const Eigen::Vector3d up = right.cross(st.pose.axis).y() < 0.0
                                     ? Eigen::Vector3d(right.cross(st.pose.axis))
                                     : Eigen::Vector3d(st.pose.axis.cross(right));
      const double angle = st.pose.roll_rad + 2.0 * std::numbers::pi * v / spec_.vanes;
      const Eigen::Vector3d out = std::cos(angle) * right + std::sin(angle) * up;
      const Eigen::Vector3d across = -std::sin(angle) * right + std::cos(angle) * up;
      const auto px = [&](double radius, double sideways) {
        return view.camera()
            .project(st.camera, st.centre + radius * out + sideways * across)
            .value_or(st.px);
      };
      const double top = r + spec_.vane_height_m * profile[i][1];
      constexpr double kHalfThickness_m = 0.0003;
      if (i == 0) {
        is_facing = out.dot(st.toward) > 0.0;
        const Eigen::Vector3d eye = (st.camera.position_m - st.centre).normalized();
        const Eigen::Vector3d normal = across.dot(eye) > 0.0 ? across : Eigen::Vector3d(-across);
        const Colour& albedo = vane_colours_[static_cast<std::size_t>(v)];
        // Thin plastic or feather: part of the light comes through from the other side.
        colour = 0.65F * light_.on(albedo, normal) + 0.35F * light_.on(albedo, -normal);
        edge_colour = light_.on(albedo, -st.pose.axis);
        rear = {px(r, -kHalfThickness_m), px(top, -kHalfThickness_m), px(top, kHalfThickness_m),
                px(r, kHalfThickness_m)};
      }
      const double whole = spec_.vane_shape == "soft" ? r + 0.75 * (top - r) : top;
      face.push_back(px(whole, 0.0));
      frayed.push_back(px(top, 0.0));
      root.push_back(px(r, 0.0));
    }
    if (!visible || is_facing != facing) {
      continue;
    }
    if (spec_.vane_shape == "soft") {
      frayed.insert(frayed.end(), face.rbegin(), face.rend());
      layer.over(frayed, colour, 0.45F);
    }
    face.insert(face.end(), root.rbegin(), root.rend());
    layer.over(face, colour, 0.97F);
    layer.over(rear, edge_colour);
  }
}

void ArrowPainter::paint(Layer& layer, const View& view, const ArrowFlight& flight, double t,
                         double s_from, double s_to) const {
  const double vanes_from = spec_.vane_offset_m;
  const double vanes_to = vanes_from + spec_.vane_length_m;
  const bool vanes = spec_.fletched && vanes_from >= s_from && vanes_to <= s_to;
  for (const Band& band : bands_) {
    const bool under_vanes = vanes && band.from_m <= vanes_from && band.to_m >= vanes_to;
    if (under_vanes) {
      paint_vanes(layer, view, flight, t, false);
    }
    paint_band(layer, view, flight, t, band, s_from, s_to);
    if (under_vanes) {
      paint_vanes(layer, view, flight, t, true);
    }
  }
  if (s_from <= -spec_.nock_ears_m) {
    // The rear face of the nock, nearly full on to a camera behind the archer.
    const Station st = station(view, flight, t, -spec_.nock_ears_m);
    if (st.visible) {
      std::vector<Eigen::Vector2d> disc;
      const double r = 0.45 * spec_.nock_width * spec_.diameter_m;
      for (int i = 0; i < 16; ++i) {
        const double a = 2.0 * std::numbers::pi * i / 16.0;
        const auto px = view.camera().project(
            st.camera, st.centre + r * (std::cos(a) * st.side + std::sin(a) * st.toward));
        disc.push_back(px.value_or(st.px));
      }
      const Band& nock = bands_.back();
      layer.over(disc, nock.lit ? Colour(Colour::Constant(0.3F) + 0.7F * nock.colour)
                                : light_.on(nock.colour, -st.pose.axis));
    }
  }
}

Box ArrowPainter::bounds(const View& view, const ArrowFlight& flight, double t) const {
  std::vector<Eigen::Vector2d> points;
  const double reach =
      0.75 * spec_.diameter_m + (spec_.fletched ? spec_.vane_height_m : 0.0) + 0.002;
  for (const double share : {0.0, 0.15, 0.5, 0.8, 1.0}) {
    const Station st =
        station(view, flight, t, share * spec_.length_m - (share == 0.0 ? spec_.nock_ears_m : 0.0));
    if (!st.visible) {
      continue;
    }
    for (const double dx : {-reach, reach}) {
      for (const double dy : {-reach, reach}) {
        if (const auto px =
                view.camera().project(st.camera, st.centre + Eigen::Vector3d(dx, dy, 0.0))) {
          points.push_back(*px);
        }
      }
    }
  }
  return box_of(points).clipped({0, 0, view.camera().width(), view.camera().height()});
}

std::vector<Eigen::Vector2d> ArrowPainter::shadow_outline(const View& view,
                                                          const ArrowFlight& flight, double t,
                                                          double ground_y) const {
  std::vector<Eigen::Vector2d> left;
  std::vector<Eigen::Vector2d> right;
  const Eigen::Vector3d sun = light_.to_sun;
  for (int i = 0; i <= 4; ++i) {
    const double s = spec_.length_m * i / 4.0;
    // Half the shaft plus part of the penumbra of a sun half a degree wide.
    const double half_width = 0.5 * spec_.diameter_m + 0.004;
    const auto foot = [&](double when, double sideways) {
      const ArrowPose pose = flight.pose(when);
      const Eigen::Vector3d p = flight.point(pose, s);
      const double fall = (ground_y - p.y()) / -sun.y();
      const Eigen::Vector3d across = pose.axis.cross(sun).normalized();
      return Eigen::Vector3d(p - sun * fall + across * sideways);
    };
    const auto a = view.rolling([&](double when) { return foot(when, -half_width); }, t);
    const auto b = view.rolling([&](double when) { return foot(when, half_width); }, t);
    if (a && b) {
      left.push_back(a->px);
      right.push_back(b->px);
    }
  }
  left.insert(left.end(), right.rbegin(), right.rend());
  return left;
}

void ArrowPainter::paint_shadow(Layer& layer, const View& view, const ArrowFlight& flight, double t,
                                double ground_y) const {
  const auto outline = shadow_outline(view, flight, t, ground_y);
  if (outline.size() >= 4) {
    layer.over(outline, Colour::Zero());
  }
}

Box ArrowPainter::shadow_bounds(const View& view, const ArrowFlight& flight, double t,
                                double ground_y) const {
  const auto outline = shadow_outline(view, flight, t, ground_y);
  return outline.size() < 4
             ? Box{}
             : box_of(outline).clipped({0, 0, view.camera().width(), view.camera().height()});
}

}  // namespace clipmaker
