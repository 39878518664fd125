#include "sampler.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <string>

#include "rng.hpp"
#include "worlds.hpp"

namespace clipmaker {
namespace {

template <std::size_t N>
std::string one(Rng& rng, const std::array<const char*, N>& names) {
  return names[static_cast<std::size_t>(rng.below(static_cast<int>(N)))];
}

ArrowSpec sample_arrow(Rng& rng) {
  ArrowSpec a;
  a.length_m = rng.uniform(26.0, 33.0) * 0.0254;
  a.material = one(rng, std::array{"wood", "carbon", "bright"});
  a.diameter_m = a.material == "wood" ? rng.uniform(0.0075, 0.009) : rng.uniform(0.0055, 0.0078);
  a.fletched = rng.chance(0.55);
  a.vane_length_m = rng.uniform(0.06, 0.11);
  a.vane_height_m = rng.uniform(0.010, 0.016);
  a.vane_offset_m = rng.uniform(0.02, 0.03);
  a.vane_roll_deg = rng.uniform(0.0, 120.0);
  a.spin_hz = a.fletched && rng.chance(0.6) ? rng.uniform(-25.0, 25.0) : 0.0;
  a.nock_mass_ratio = rng.uniform(0.02, 0.06);
  a.tip_mass_ratio = rng.uniform(0.2, 0.7);
  a.paint_seed = rng.bits() % 1000000U;
  return a;
}

ShotSpec sample_shot(Rng& rng, const ArrowSpec& arrow) {
  ShotSpec s;
  s.speed_mps = rng.uniform(38.0, 70.0);
  s.azimuth_deg = rng.uniform(-3.0, 3.0);
  s.elevation_deg = rng.uniform(-2.0, 3.0);
  s.wavelength_m = arrow.fletched ? rng.uniform(10.0, 22.0) : rng.uniform(28.0, 80.0);
  s.damping_ratio = arrow.fletched ? rng.uniform(0.05, 0.15) : rng.uniform(0.01, 0.06);
  // Offset and slope are both free at exit: a draw of value and quadrature of the swing.
  const double kappa = 2.0 * std::numbers::pi / s.wavelength_m;
  s.nock_right_deg = rng.uniform(-5.0, 5.0);
  s.nock_high_deg = rng.uniform(-4.0, 4.0);
  const double swing = arrow.fletched ? 1.5 : 2.5;
  s.nock_right_slope_deg_per_m = kappa * std::clamp(swing * rng.normal(), -4.0, 4.0);
  s.nock_high_slope_deg_per_m = kappa * std::clamp(swing * rng.normal(), -4.0, 4.0);
  s.drag_per_m = arrow.fletched ? rng.uniform(0.001, 0.004) : rng.uniform(0.0006, 0.0018);
  s.lift_eta_m = rng.chance(0.4) ? rng.uniform(0.02, 0.18) : 0.0;
  s.flex_hz = rng.uniform(55.0, 90.0);
  s.flex_lateral_mm = rng.uniform(0.0, 17.0);
  s.flex_vertical_mm = rng.uniform(0.0, 8.0);
  s.flex_phase_deg = rng.uniform(0.0, 360.0);
  s.flex_vertical_phase_deg = rng.uniform(0.0, 360.0);
  s.flex_damping_ratio = rng.uniform(0.01, 0.06);
  s.point_past_rest_m = rng.uniform(0.0, 0.05);
  s.hold_azimuth_deg = rng.normal() * 0.6;
  s.hold_elevation_deg = rng.normal() * 0.4;
  return s;
}

// How far the line of sight to the arrow passes beside the upper limb where it crosses the bow's
// plane, the least over the first metres of flight; negative: hidden.
double limb_gap_m(const ClipSpec& spec) {
  constexpr double rad = std::numbers::pi / 180.0;
  const CameraSpec& camera = spec.camera;
  const ShotSpec& shot = spec.shots.front();
  double least = 1.0;
  for (const double z : {0.8, 1.2, 1.7, 2.3, 3.0, 4.0}) {
    for (const double along : {0.0, 0.5, 1.0}) {  // nock, middle, point
      const double away = z + along * spec.arrow.length_m;
      const double aside =
          (0.55 - along) * spec.arrow.length_m * std::sin(shot.nock_right_deg * rad);
      const double above =
          (0.55 - along) * spec.arrow.length_m * std::sin(shot.nock_high_deg * rad) +
          away * std::tan(shot.elevation_deg * rad);
      const double share = camera.behind_m / (camera.behind_m + away);
      const double x = camera.lateral_m * (1.0 - share) +
                       share * (away * std::tan(shot.azimuth_deg * rad) + aside);
      const double up = camera.height_above_m * (1.0 - share) + share * above;
      const double limb = (up + 0.035) * std::tan(spec.archer.cant_deg * rad) +
                          (spec.archer.hand == "right" ? 0.006 : -0.006);
      least = std::min(least, std::abs(x - limb) - 0.5 * spec.archer.limb_width_m);
    }
  }
  return least;
}

// The phone beside the line: 2 to 4 m off, within 26 degrees of square, at the arrow's height
// within 10 cm, looking at a place of the first metres of flight, the bow in the picture. Upright
// it sees a narrower stretch, so whoever films stands further off.
void film_from_side(ClipSpec& spec, Rng& rng) {
  constexpr double rad = std::numbers::pi / 180.0;
  const PictureSpec& picture = spec.picture;
  const double focal_px =
      spec.camera.focal_35mm * std::hypot(picture.width, picture.height) / 43.2666;
  const double half_width = std::atan(0.5 * display_width(picture) / focal_px);
  const bool upright = display_height(picture) > display_width(picture);
  const double way = rng.chance(0.5) ? 1.0 : -1.0;
  for (int i = 0; i < 200; ++i) {
    const double beside_m = way * (upright ? rng.uniform(3.0, 4.0) : rng.uniform(2.0, 4.0));
    const double aim_m = rng.uniform(0.7, 2.2);
    const double turn = (90.0 * way + rng.uniform(-26.0, 26.0)) * rad;
    // In the frame of the shot the phone stands at (beside, along) and looks toward
    // (-sin turn, cos turn), which meets the line at aim_m.
    const double along_m = aim_m - beside_m * std::cos(turn) / std::sin(turn);
    spec.stage = {turn / rad, -std::cos(turn) * beside_m - std::sin(turn) * along_m,
                  std::sin(turn) * beside_m - std::cos(turn) * along_m};
    const double ahead = beside_m * std::sin(turn) - along_m * std::cos(turn);
    const double aside = beside_m * std::cos(turn) + along_m * std::sin(turn);
    constexpr double kRoom = 0.05;  // for the bow's own depth
    if (along_m > -0.3 && along_m < 3.0 &&
        std::abs(std::atan2(aside, ahead)) < half_width - kRoom) {
      break;
    }
  }
  spec.camera.behind_m = 0.0;
  spec.camera.lateral_m = 0.0;
  spec.camera.height_above_m = rng.uniform(-0.1, 0.1);
  spec.camera.pitch_deg = rng.uniform(-4.0, 4.0);
  spec.range.butt = "none";
}

// Turns a drawn shot into one of the clips that have nothing to measure.
void make_unmeasurable(ClipSpec& spec, Rng& rng) {
  ShotSpec& shot = spec.shots.front();
  constexpr double kNever_s = 1e5;
  if (spec.kind == "let-down") {
    shot.let_down_s = shot.loose_s;
    shot.let_down_lasts_s = rng.uniform(0.9, 1.6);
    shot.loose_s = kNever_s;
    spec.duration_s = shot.let_down_s + shot.let_down_lasts_s + 0.2;
  } else if (spec.kind == "never-loosed") {
    shot.loose_s = kNever_s;
  } else if (spec.kind == "side-view") {
    // Four metres beside the archer, the shot going across the picture.
    const double way = rng.chance(0.5) ? 1.0 : -1.0;
    spec.stage = {90.0 * way, -1.1 * way, rng.uniform(2.6, 3.6)};
    spec.camera.behind_m = 0.0;
    spec.camera.height_above_m = rng.uniform(-0.1, 0.3);
    spec.camera.pitch_deg = rng.uniform(-6.0, 2.0);
    spec.range.butt = "none";
  } else if (spec.kind == "toward-camera") {
    spec.stage = {180.0, rng.uniform(-0.3, 0.3), rng.uniform(9.0, 14.0)};
    spec.camera.behind_m = 0.0;
    spec.camera.height_above_m = rng.uniform(-0.2, 0.5);
    spec.camera.lateral_m = rng.uniform(0.5, 1.0);
    spec.camera.pitch_deg = rng.uniform(-4.0, 1.0);
    spec.range.butt = "none";
  } else if (spec.kind == "thirty-fps") {
    spec.picture.fps = 30.0;
    spec.picture.play_fps = 0.0;
    spec.picture.capture_tag = false;
    spec.camera.readout_s = rng.uniform(0.005, 0.02);
    spec.duration_s += 0.4;
  } else if (spec.kind == "cut") {
    spec.cut_s = shot.loose_s + rng.uniform(0.015, 0.035);
  } else if (spec.kind == "black") {
    spec.sensor.brightness = 0.0;
  } else if (spec.kind == "empty") {
    spec.draw_archer = false;
    spec.draw_arrow = false;
    spec.range.wind = 1.5;
    shot.loose_s = kNever_s;
  } else if (spec.kind == "gestures") {
    spec.draw_arrow = false;
    spec.draw_bow = false;
    spec.walking = true;
    spec.stage = {0.0, 0.0, rng.uniform(2.6, 4.0)};
    shot.loose_s = kNever_s;
    spec.duration_s = 1.2;
  } else if (spec.kind == "hidden") {
    spec.archer.headwear = "hat";
    // Filmed from too low and too close behind a wide hat: all of the flight is behind it.
    spec.archer.hat_scale = 2.6;
    spec.archer.head_drop_m = -0.16;
    spec.camera.height_above_m = 0.42;
    spec.camera.behind_m = std::max(spec.camera.behind_m, 1.5);
    spec.camera.lateral_m = 0.0;
  }
}

}  // namespace

void clear_the_limb(ClipSpec& spec, double most_m, Rng& rng) {
  double best_gap = limb_gap_m(spec);
  for (int i = 0; i < 80 && best_gap < 0.012; ++i) {
    ClipSpec other = spec;
    other.camera.lateral_m = rng.uniform(-most_m, most_m);
    const double gap = limb_gap_m(other);
    if (gap > best_gap) {
      best_gap = gap;
      spec.camera.lateral_m = other.camera.lateral_m;
    }
  }
}

ClipSpec sample(std::uint64_t seed, std::uint64_t index, const SampleOptions& options) {
  Rng rng = Rng::stream(seed, 1000003U + index);
  ClipSpec spec;
  spec.kind = options.kind;
  spec.seed = rng.bits() % 1000000U;
  spec.arrow = sample_arrow(rng);
  spec.shots = {sample_shot(rng, spec.arrow)};
  ShotSpec& shot = spec.shots.front();

  ArcherSpec& archer = spec.archer;
  archer.hand = rng.chance(0.8) ? "right" : "left";
  const double cant = rng.chance(0.2) ? rng.uniform(0.0, 4.0) : rng.uniform(4.0, 30.0);
  archer.cant_deg = archer.hand == "right" ? cant : -cant;
  archer.brace_m = rng.uniform(0.15, 0.19);
  archer.bow_length_m = rng.uniform(1.5, 1.75);
  archer.limb_width_m = rng.uniform(0.028, 0.042);
  archer.headwear = one(rng, std::array{"hair", "cap", "hat", "hood"});
  archer.build = rng.uniform(0.92, 1.08);
  archer.paint_seed = rng.bits() % 1000000U;
  if (options.stroke) {
    set_bow_and_arrow(*options.stroke, spec);
    set_shot(*options.stroke, spec, shot);
  }

  RangeSpec& range = spec.range;
  const int look_draw = rng.chance(0.5) ? 1 : 2;
  range.look = options.look > 0 ? options.look : look_draw;
  range.texture_seed = rng.bits() % 1000000U;
  range.ground = range.look == 1 ? one(rng, std::array{"grass", "dirt", "floor"})
                                 : one(rng, std::array{"gravel", "snow", "mat"});
  range.far = range.look == 1 ? one(rng, std::array{"wood", "hedge", "hall"})
                              : one(rng, std::array{"posts", "field", "wall"});
  const bool indoors = range.far == "hall" || range.far == "wall";
  if (indoors) {
    range.ground = range.look == 1 ? "floor" : "mat";
  }
  range.ground_below_m = rng.uniform(1.4, 1.6);
  range.far_m = indoors ? rng.uniform(25.0, 32.0) : rng.uniform(28.0, 60.0);
  range.butt_m = rng.uniform(8.0, 25.0);
  range.butt = rng.chance(0.6) ? "rings" : "plain";
  range.arrows_in_butt = rng.below(6);
  range.sun = !indoors && rng.chance(0.65);
  range.sun_azimuth_deg = rng.uniform(-180.0, 180.0);
  range.sun_elevation_deg = rng.uniform(20.0, 65.0);
  range.wind = indoors ? 0.0 : rng.uniform(0.0, 1.3);

  CameraSpec& camera = spec.camera;
  camera.focal_35mm = rng.uniform(24.0, 32.0);
  camera.height_above_m = rng.uniform(0.4, 0.7);
  camera.behind_m = rng.uniform(1.2, 1.7);
  camera.lateral_m = rng.uniform(-0.16, 0.16);
  camera.roll_deg = std::clamp(1.6 * rng.normal(), -4.0, 4.0);
  camera.exposure_s = 1.0 / rng.log_uniform(400.0, 4000.0);
  camera.shake_deg_per_s = rng.chance(0.1) ? 0.0 : rng.log_uniform(0.1, 4.0);
  camera.shake_mm = camera.shake_deg_per_s > 0.0 ? rng.log_uniform(0.2, 3.0) : 0.0;
  // Whoever films looks that the flight is seen past the upper limb; one in twelve does not.
  const bool careless = rng.chance(0.08);
  if (!careless) {
    clear_the_limb(spec, 0.16, rng);
  }

  PictureSpec& picture = spec.picture;
  picture.fps = options.fps;
  const int turn = rng.below(4);
  picture.rotation_deg = turn == 0 ? 0 : turn == 1 ? 180 : turn == 2 ? 90 : 270;
  const double half_height =
      std::atan(0.5 * display_height(picture) /
                (camera.focal_35mm * std::hypot(picture.width, picture.height) / 43.2666)) *
      180.0 / std::numbers::pi;
  // The flight lies some 10 degrees down where it counts; portrait pictures leave room for choice.
  camera.pitch_deg = half_height > 30.0 ? rng.uniform(-16.0, -4.0) : rng.uniform(-11.0, -6.0);
  camera.readout_s = rng.uniform(0.0, std::min(0.004, 0.95 / picture.fps));
  picture.codec = range.look == 2 && rng.chance(0.35) ? "hevc" : "h264";
  const double capture_mbps = rng.log_uniform(15.0, 60.0) * (picture.width * picture.height) /
                              (1920.0 * 1080.0) * picture.fps / 240.0;
  picture.preset = picture.codec == "hevc" ? "ultrafast" : "superfast";
  const bool stretched = rng.chance(0.25);
  picture.play_fps = stretched ? 30.0 : 0.0;
  picture.capture_tag = stretched;
  picture.bitrate_mbps = stretched ? capture_mbps * 30.0 / picture.fps : capture_mbps;

  SensorSpec& sensor = spec.sensor;
  const bool dim = indoors || rng.chance(0.15);
  sensor.full_well_e = dim ? rng.log_uniform(350.0, 1500.0) : rng.log_uniform(1500.0, 9000.0);
  sensor.read_noise_e = rng.uniform(1.5, 4.0);
  sensor.brightness = dim ? rng.uniform(0.45, 0.9) : rng.uniform(0.8, 1.15);
  sensor.noise_grain_px = range.look == 1 ? rng.uniform(0.4, 0.6) : rng.uniform(0.6, 1.0);
  sensor.defocus = rng.uniform(0.5, 1.6);

  spec.sound.on = rng.chance(0.7);
  spec.sound.noise = rng.log_uniform(0.001, 0.03);
  spec.sound.wind = indoors ? 0.0 : rng.log_uniform(0.001, 0.05);

  const double before = rng.uniform(0.25, 0.5);
  shot.loose_s = options.before_s >= 0.0 ? options.before_s : before;
  spec.duration_s = shot.loose_s + (options.after_s >= 0.0 ? options.after_s : 0.35);
  if (options.second_after_s > 0.0) {
    // The camera stays where it is, so the second flight must be seen from there, too.
    ShotSpec second;
    for (int i = 0; i < 200; ++i) {
      second = sample_shot(rng, spec.arrow);
      second.azimuth_deg = std::clamp(shot.azimuth_deg + rng.normal() * 0.4, -3.0, 3.0);
      second.elevation_deg = shot.elevation_deg + rng.normal() * 0.4;
      ClipSpec alone = spec;
      if (options.stroke) {
        set_shot(*options.stroke, spec, second);
      }
      alone.shots = {second};
      if (limb_gap_m(alone) > 0.012) {
        break;
      }
    }
    second.loose_s = shot.loose_s + options.second_after_s;
    spec.duration_s += options.second_after_s;
    spec.shots.push_back(second);
  }
  if (spec.kind == "from-side") {
    film_from_side(spec, rng);
  }
  make_unmeasurable(spec, rng);
  if (!options.world.empty()) {
    Rng own = Rng::stream(seed, 2000003U + index);
    depart(spec, options.world, own);
  }
  return spec;
}

}  // namespace clipmaker
