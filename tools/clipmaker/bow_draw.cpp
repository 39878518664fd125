#include "bow_draw.hpp"

#include <Eigen/Geometry>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "rng.hpp"

namespace clipmaker {
namespace {

constexpr double kRiserHalf_m = 0.24;
constexpr double kLimbRoot_z_m = 0.02;
constexpr double kBelow_m = 0.035;  // the bow's middle below the arrow

}  // namespace

Bow::Bow(const ClipSpec& spec, const Light& light)
    : spec_(spec.archer),
      light_(light),
      side_(spec.archer.hand == "left" ? -1.0 : 1.0),
      limb_m_(0.5 * spec.archer.bow_length_m - kRiserHalf_m) {
  brace_angle_ = std::asin(std::clamp((kLimbRoot_z_m + spec_.brace_m) / limb_m_, 0.0, 0.9));
  half_string_m_ = tip_up(brace_angle_);
  Rng rng = Rng::stream(spec.archer.paint_seed, 91);
  const std::array<Colour, 5> woods{Colour(0.20F, 0.10F, 0.045F), Colour(0.32F, 0.20F, 0.09F),
                                    Colour(0.08F, 0.045F, 0.025F), Colour(0.03F, 0.03F, 0.032F),
                                    Colour(0.30F, 0.05F, 0.04F)};
  riser_ = woods[static_cast<std::size_t>(rng.below(5))];
  const std::array<Colour, 4> limbs{Colour(0.03F, 0.03F, 0.03F), Colour(0.34F, 0.24F, 0.12F),
                                    Colour(0.55F, 0.53F, 0.50F), Colour(0.16F, 0.09F, 0.05F)};
  limb_colour_ = limbs[static_cast<std::size_t>(rng.below(4))];
  const std::array<Colour, 3> strings{Colour(0.55F, 0.52F, 0.45F), Colour(0.04F, 0.04F, 0.04F),
                                      Colour(0.45F, 0.30F, 0.05F)};
  string_ = strings[static_cast<std::size_t>(rng.below(3))];
}

double Bow::tip_up(double angle) const {
  return kRiserHalf_m + limb_m_ * std::cos(angle);
}
double Bow::tip_z(double angle) const {
  return kLimbRoot_z_m - limb_m_ * std::sin(angle);
}

// From the bow's own frame (across to its right, up along it, Z) to the range frame.
Eigen::Vector3d Bow::place(const BowState& state, double across, double up, double z) const {
  const double c = spec_.cant_deg * std::numbers::pi / 180.0 + state.swing_rad;
  const double y = up - kBelow_m;
  const double u = y * std::cos(state.tilt_rad) - z * std::sin(state.tilt_rad);
  const double w = y * std::sin(state.tilt_rad) + z * std::cos(state.tilt_rad);
  return Eigen::Vector3d(across * std::cos(c) + u * std::sin(c),
                         across * std::sin(c) - u * std::cos(c), w) +
         state.shift_m;
}

Eigen::Vector3d Bow::tip(const BowState& state, double end) const {
  return place(state, side_ * 0.004, end * tip_up(state.limb_angle_rad),
               tip_z(state.limb_angle_rad));
}

BowState Bow::state(const ArrowFlight& flight, double t, const Eigen::Vector3d& hand_shift) const {
  BowState s;
  s.shift_m = hand_shift;
  const double gone = t - flight.exit_s();
  if (gone < 0.0) {
    s.string_straight = true;
    s.nock_m = flight.point(flight.pose(t), 0.0) + hand_shift;
    const double z = flight.point(flight.pose(t), 0.0).z();
    // The string keeps its length: how far the limbs bend follows from where the nock is.
    double low = brace_angle_;
    double high = brace_angle_ + 1.3;
    for (int i = 0; i < 40; ++i) {
      const double middle = 0.5 * (low + high);
      const double length = std::hypot(tip_up(middle), tip_z(middle) - z);
      (length > half_string_m_ ? low : high) = middle;
    }
    s.limb_angle_rad = 0.5 * (low + high);
    return s;
  }
  s.limb_angle_rad =
      brace_angle_ - 0.05 * std::exp(-gone / 0.06) * std::sin(2.0 * std::numbers::pi * 31.0 * gone);
  s.swing_m = 0.035 * std::exp(-gone / 0.07) * std::sin(2.0 * std::numbers::pi * 47.0 * gone);
  s.tilt_rad = 0.25 * (1.0 - std::exp(-gone / 0.12)) * (gone < 0.1 ? gone / 0.1 : 1.0);
  s.swing_rad = spec_.bow_swings_deg * std::numbers::pi / 180.0 * (1.0 - std::exp(-gone / 0.12)) *
                (gone < 0.1 ? gone / 0.1 : 1.0);
  return s;
}

BowState Bow::standing(const Eigen::Vector3d& shift_m) const {
  BowState s;
  s.limb_angle_rad = brace_angle_;
  s.shift_m = shift_m;
  return s;
}

// Points up in a hood, along the bow, on its side away from the arrow.
std::vector<Bow::Thing> Bow::quiver() const {
  const auto piece = [&](double inner, double outer, double from_up, double to_up,
                         const Colour& colour) {
    const double a = side_ * inner;
    const double b = side_ * outer;
    const double z = kLimbRoot_z_m + 0.03;
    return Thing{
        {{from_up, z, std::min(a, b), std::max(a, b)}, {to_up, z, std::min(a, b), std::max(a, b)}},
        colour};
  };
  const Colour leather(0.10F, 0.055F, 0.03F);
  const Colour wood(0.42F, 0.30F, 0.16F);
  const Colour feather(0.55F, 0.12F, 0.10F);
  std::vector<Thing> things{piece(0.032, 0.102, 0.17, 0.31, leather),
                            piece(0.028, 0.100, -0.17, -0.14, leather)};
  for (int i = 0; i < 4; ++i) {
    const double across = 0.045 + 0.014 * i;
    things.push_back(piece(across - 0.009, across + 0.009, -0.46, -0.36, feather));
    things.push_back(piece(across - 0.0037, across + 0.0037, -0.48, 0.20, wood));
  }
  return things;
}

std::vector<Eigen::Vector3d> Bow::stringer_path(const BowState& state) const {
  const Eigen::Vector3d top = tip(state, 1.0);
  const Eigen::Vector3d bottom = tip(state, -1.0);
  const Eigen::Vector3d belly = place(state, side_ * 0.07, 0.0, 0.12);
  std::vector<Eigen::Vector3d> path;
  constexpr int kPieces = 12;
  for (int i = 0; i <= kPieces; ++i) {
    const double x = static_cast<double>(i) / kPieces;
    path.push_back(top + x * (bottom - top) + 4.0 * x * (1.0 - x) * (belly - 0.5 * (top + bottom)));
  }
  return path;
}

std::vector<Bow::Rib> Bow::riser_ribs() const {
  // Riser: cut away beside the arrow so that it passes near the middle.
  const double half = 0.5 * spec_.limb_width_m + 0.002;
  const auto rib = [&](double up, double inner, double outer) {
    const double a = -side_ * inner;
    const double b = side_ * outer;
    return Rib{up, kLimbRoot_z_m - 0.01, std::min(a, b), std::max(a, b)};
  };
  return {rib(-kRiserHalf_m, half, half),
          rib(-0.14, half * 0.9, half),
          rib(-0.05, 0.012, 0.017),
          rib(kBelow_m - 0.012, 0.014, 0.02),
          rib(kBelow_m - 0.006, 0.010, 0.022),
          rib(kBelow_m - 0.004, -0.006, 0.030),
          rib(0.13, -0.006, 0.030),
          rib(0.16, half * 0.9, half),
          rib(kRiserHalf_m, half, half)};
}

std::vector<Bow::Rib> Bow::limb_ribs(const BowState& state, double end) const {
  std::vector<Rib> ribs;
  constexpr int kPieces = 12;
  const double tu = tip_up(state.limb_angle_rad);
  const double tz = tip_z(state.limb_angle_rad);
  for (int i = 0; i <= kPieces; ++i) {
    const double x = static_cast<double>(i) / kPieces;
    // Quadratic curve, upright at the root.
    const double bend = kRiserHalf_m + 0.52 * limb_m_;
    const double up =
        (1 - x) * (1 - x) * (kRiserHalf_m - 0.01) + 2 * x * (1 - x) * bend + x * x * tu;
    const double z = (1 - x * x) * kLimbRoot_z_m + x * x * tz +
                     spec_.recurve_m * 4.0 * (x - 0.5) * std::max(0.0, x - 0.5);
    const double aside = side_ * 0.004 + spec_.limb_aside_m * 4.0 * x * (1.0 - x);
    const double limb_half = 0.5 * spec_.limb_width_m * (1.0 - 0.62 * x * x);
    ribs.push_back({end * up, z, aside - limb_half, aside + limb_half});
  }
  return ribs;
}

std::vector<Eigen::Vector3d> Bow::string_path(const BowState& state) const {
  const Eigen::Vector3d top = tip(state, 1.0);
  const Eigen::Vector3d bottom = tip(state, -1.0);
  if (state.string_straight) {
    return {top, state.nock_m, bottom};
  }
  std::vector<Eigen::Vector3d> path;
  for (int i = 0; i <= 16; ++i) {
    const double x = i / 16.0;
    const double sway = state.swing_m * std::sin(std::numbers::pi * x);
    path.push_back(top + x * (bottom - top) + Eigen::Vector3d(0.35 * sway, 0.0, sway));
  }
  return path;
}

void Bow::paint_bow(Layer& layer, const View& view, const BowState& state, double t) const {
  const auto px = [&](const Eigen::Vector3d& p) {
    return view.rolling([&](double) { return p; }, t);
  };
  const auto ribbon = [&](const std::vector<Rib>& ribs, const Colour& albedo) {
    // Three strips across, lit as a rounded belly.
    for (int k = 0; k < 3; ++k) {
      for (std::size_t i = 0; i + 1 < ribs.size(); ++i) {
        std::array<Eigen::Vector2d, 4> quad;
        const auto edge = [&](const Rib& r, int j) {
          return place(state, r.left + (r.right - r.left) * j / 3.0, r.up, r.z);
        };
        const std::array<Eigen::Vector3d, 4> corners{
            edge(ribs[i], k), edge(ribs[i], k + 1), edge(ribs[i + 1], k + 1), edge(ribs[i + 1], k)};
        bool seen = true;
        for (std::size_t c = 0; c < 4; ++c) {
          const auto at = px(corners[c]);
          if (!at) {
            seen = false;
            break;
          }
          quad[c] = at->px;
        }
        if (!seen) {
          continue;
        }
        const Eigen::Vector3d along = corners[3] - corners[0];
        const Eigen::Vector3d across = corners[1] - corners[0];
        Eigen::Vector3d normal = along.cross(across).normalized();
        if (normal.z() > 0.0) {
          normal = -normal;
        }
        normal = (normal + 0.6 * (k - 1) * across.normalized()).normalized();
        layer.beside(quad, light_.on(albedo, normal));
      }
    }
  };
  // `beside` lets what is painted first stand in front: the riser covers the limb roots.
  ribbon(riser_ribs(), riser_);
  for (const double end : {-1.0, 1.0}) {
    ribbon(limb_ribs(state, end), limb_colour_);
  }
  if (spec_.quiver) {
    for (const Thing& thing : quiver()) {
      ribbon(thing.ribs, thing.colour);
    }
  }
}

void Bow::paint_string(Layer& layer, const View& view, const BowState& state, double t) const {
  constexpr double kHalfWidth_m = 0.0013;
  const Colour colour = light_.on(string_, Eigen::Vector3d(0.0, -0.4, -0.9).normalized());
  const auto line = [&](const std::vector<Eigen::Vector3d>& path, double half_width,
                        const Colour& c) {
    for (std::size_t i = 0; i + 1 < path.size(); ++i) {
      const auto a = view.rolling([&](double) { return path[i]; }, t);
      const auto b = view.rolling([&](double) { return path[i + 1]; }, t);
      if (!a || !b) {
        continue;
      }
      const Eigen::Vector2d along = b->px - a->px;
      const double n = along.norm();
      if (n < 1e-6) {
        continue;
      }
      const Eigen::Vector2d side(-along.y() / n, along.x() / n);
      const auto wide = [&](const Eigen::Vector3d& p) {
        const CameraPose& pose = view.camera().mean_pose();
        const double z = (pose.camera_from_range * (p - pose.position_m)).z();
        return half_width * view.camera().focal_px() / std::max(z, 0.1);
      };
      const Eigen::Vector2d wa = wide(path[i]) * side;
      const Eigen::Vector2d wb = wide(path[i + 1]) * side;
      const std::array<Eigen::Vector2d, 4> quad{a->px - wa, b->px - wb, b->px + wb, a->px + wa};
      layer.beside(quad, c);
    }
  };
  const std::vector<Eigen::Vector3d> path = string_path(state);
  line(path, kHalfWidth_m, colour);
  if (!state.string_straight) {
    // The served middle is thicker.
    line({path[7], path[8], path[9]}, 1.6 * kHalfWidth_m, colour * 0.6F);
  }
  if (spec_.stringer) {
    line(stringer_path(state), 1.5 * kHalfWidth_m,
         light_.on(Colour(0.12F, 0.12F, 0.14F), Eigen::Vector3d(0.0, -0.4, -0.9).normalized()));
  }
}

}  // namespace clipmaker
