#include "worlds.hpp"

#include <fmt/core.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <stdexcept>
#include <utility>

#include "sampler.hpp"

namespace clipmaker {
namespace {

// The odd vane points away from the bow, across the string (common practice, no source): to the
// left for an arrow that lies left of the bow. Four vanes stand as an X.
void nock_the_arrow(ClipSpec& spec) {
  const double away_deg = spec.archer.hand == "left" ? 0.0 : 180.0;
  const double x_deg = spec.arrow.vanes == 4 ? 45.0 : 0.0;
  spec.arrow.vane_roll_deg = std::remainder(away_deg - spec.archer.cant_deg + x_deg, 360.0);
}

double either_side(Rng& rng, double low, double high) {
  return rng.chance(0.5) ? rng.uniform(low, high) : -rng.uniform(low, high);
}

void vanes(ClipSpec& spec, Rng& rng) {
  ArrowSpec& arrow = spec.arrow;
  arrow.fletched = true;
  arrow.vanes = rng.chance(0.35) ? 4 : 3;
  arrow.vane_shape =
      std::array{"parabola", "shield", "soft"}[static_cast<std::size_t>(rng.below(3))];
  arrow.vane_height_m = rng.uniform(0.013, 0.020);
  arrow.vane_length_m = rng.uniform(0.045, 0.130);
  const bool helical = rng.chance(0.5);
  arrow.spin_hz = helical ? either_side(rng, 10.0, 45.0) : 0.0;
  arrow.spin_up_s = helical ? rng.uniform(0.02, 0.08) : 0.0;
  ShotSpec& shot = spec.shots.front();
  shot.wavelength_m = rng.uniform(8.0, 24.0);
  shot.damping_ratio = rng.uniform(0.05, 0.2);
}

void ends(ClipSpec& spec, Rng& rng) {
  ArrowSpec& arrow = spec.arrow;
  arrow.nock_ears_m = rng.uniform(0.004, 0.012);
  arrow.nock_width = rng.uniform(0.85, 1.35);
  arrow.nock = std::array{"plastic", "shaft", "lit"}[static_cast<std::size_t>(rng.below(3))];
  arrow.point = std::array{"field", "blunt", "head"}[static_cast<std::size_t>(rng.below(3))];
}

void shafts(ClipSpec& spec, Rng& rng) {
  ArrowSpec& arrow = spec.arrow;
  arrow.diameter_m = rng.chance(0.5) ? rng.uniform(0.0048, 0.0056) : rng.uniform(0.0085, 0.0093);
  arrow.marks = std::array{"plain", "barred", "footed"}[static_cast<std::size_t>(rng.below(3))];
  arrow.gloss = rng.chance(0.5) ? rng.uniform(0.2, 0.6) : 0.0;
}

void motion(ClipSpec& spec, Rng& rng) {
  ShotSpec& shot = spec.shots.front();
  spec.archer.brace_m = rng.chance(0.5) ? rng.uniform(0.125, 0.15) : rng.uniform(0.19, 0.22);
  shot.push_shape = rng.uniform(-0.4, 0.8);
  shot.flex_hz = rng.chance(0.5) ? rng.uniform(40.0, 55.0) : rng.uniform(90.0, 115.0);
  // A plain beam's second mode has 2.76 times the first one's frequency; a heavy point brings the
  // two a little apart.
  shot.flex2_hz = shot.flex_hz * rng.uniform(2.6, 3.0);
  shot.flex2_lateral_mm = rng.uniform(1.0, 5.0);
  shot.flex2_vertical_mm = rng.uniform(0.0, 3.0);
  shot.flex2_phase_deg = rng.uniform(0.0, 360.0);
  shot.flex2_damping_ratio = rng.uniform(0.02, 0.06);
}

void camera(ClipSpec& spec, Rng& rng) {
  CameraSpec& camera = spec.camera;
  camera.behind_m = rng.chance(0.5) ? rng.uniform(1.0, 1.2) : rng.uniform(1.7, 2.2);
  camera.height_above_m = rng.uniform(0.3, 0.8);
  camera.shake_deg_per_s = 3.0 * std::max(camera.shake_deg_per_s, 0.3);
  camera.shake_mm = 3.0 * std::max(camera.shake_mm, 0.5);
  clear_the_limb(spec, 0.25, rng);
}

// Bows of many kinds, with what hangs on them and stands about.
void bows(ClipSpec& spec, Rng& rng) {
  ArcherSpec& archer = spec.archer;
  const double with_hand = archer.hand == "left" ? -1.0 : 1.0;
  archer.cant_deg = (rng.chance(0.75) ? with_hand : -with_hand) * rng.uniform(0.0, 35.0);
  archer.bow_length_m = rng.uniform(1.45, 1.8);
  archer.limb_width_m = rng.uniform(0.025, 0.050);
  archer.recurve_m = rng.chance(0.33) ? rng.uniform(0.03, 0.15) : 0.0;
  archer.limb_aside_m = rng.chance(0.25) ? either_side(rng, 0.005, 0.015) : 0.0;
  archer.bow_swings_deg = rng.chance(0.33) ? either_side(rng, 8.0, 25.0) : 0.0;
  archer.quiver = rng.chance(0.25);
  archer.stringer = rng.chance(0.2);
  archer.sleeve = rng.chance(0.25);
  if (rng.chance(0.3)) {
    archer.second_bow_x_m = either_side(rng, 0.5, 1.4);
    archer.second_bow_z_m = rng.uniform(2.0, 6.0);
    archer.second_bow_cant_deg = rng.uniform(-15.0, 15.0);
  }
  clear_the_limb(spec, 0.16, rng);
}

// A hand that shakes, taken out of the picture by the phone itself: turns alone, each row by what
// its gyroscope said a little before or after; what its lens is taken for may be off, too. The
// hand's own shift stays in the picture.
void steadied(ClipSpec& spec, Rng& rng) {
  CameraSpec& camera = spec.camera;
  camera.shake_deg_per_s = 2.0 * std::max(camera.shake_deg_per_s, 0.5);
  camera.shake_mm = 2.0 * std::max(camera.shake_mm, 0.5);
  camera.steady_hz = rng.log_uniform(0.3, 1.5);
  camera.steady_gain = rng.uniform(0.93, 1.04);
  camera.steady_lag_s = either_side(rng, 0.0005, 0.004);
  spec.told_focal_35mm = camera.focal_35mm * (1.0 + either_side(rng, 0.0, 0.01));
}

// A wide angle's lens as phones leave it after their own correction, and a sensor that is not quite
// behind the middle of it. 21.63 mm is half the diagonal of the 36 x 24 mm picture.
void lens(ClipSpec& spec, Rng& rng) {
  const double corner = 21.633 / spec.camera.focal_35mm;
  spec.camera.k1 = either_side(rng, 0.01, 0.03) / (corner * corner);
  spec.camera.axis_right = either_side(rng, 0.003, 0.01);
  spec.camera.axis_down = either_side(rng, 0.003, 0.01);
}

void light(ClipSpec& spec, Rng& rng) {
  if (rng.chance(0.5)) {
    spec.sensor.brightness = rng.uniform(0.25, 0.45);
    spec.sensor.full_well_e = rng.log_uniform(250.0, 800.0);
  } else {
    spec.sensor.brightness = rng.uniform(1.3, 2.0);
  }
  spec.range.wind = rng.uniform(1.3, 2.0);
}

void told(ClipSpec& spec, Rng& rng) {
  spec.told_focal_35mm = spec.camera.focal_35mm * (1.0 + either_side(rng, 0.015, 0.03));
  spec.told_arrow_length_m = spec.arrow.length_m + either_side(rng, 0.003, 0.006);
}

void rate(ClipSpec& spec, Rng& rng) {
  PictureSpec& picture = spec.picture;
  if (rng.chance(0.5)) {
    const double fps = 120.0;
    picture.bitrate_mbps *= picture.play_fps > 0.0 ? picture.fps / fps : fps / picture.fps;
    picture.fps = fps;
  }
}

void as_filmed(ClipSpec&, Rng&) {}

using Departure = void (*)(ClipSpec&, Rng&);
constexpr std::array<std::pair<const char*, Departure>, 13> kWorlds{{
    {"plain", as_filmed},
    {"vanes", vanes},
    {"ends", ends},
    {"shafts", shafts},
    {"motion", motion},
    {"camera", camera},
    {"bows", bows},
    {"lens", lens},
    {"steadied", steadied},
    {"codec", as_filmed},
    {"rate", rate},
    {"light", light},
    {"told", told},
}};

}  // namespace

const std::vector<std::string>& worlds() {
  static const std::vector<std::string> names = [] {
    std::vector<std::string> list;
    for (const auto& [name, departure] : kWorlds) {
      list.emplace_back(name);
    }
    return list;
  }();
  return names;
}

void depart(ClipSpec& spec, const std::string& world, Rng& rng) {
  for (const auto& [name, departure] : kWorlds) {
    if (world == name) {
      departure(spec, rng);
      nock_the_arrow(spec);
      return;
    }
  }
  throw std::runtime_error(
      fmt::format("--world is \"{}\"; use one of {}", world, fmt::join(worlds(), ", ")));
}

}  // namespace clipmaker
