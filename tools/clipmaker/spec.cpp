#include "spec.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <initializer_list>
#include <stdexcept>

namespace clipmaker {

NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(PictureSpec, width, height, rotation_deg, mirrored,
                                                mirror_scene, fps, play_fps, capture_tag, codec,
                                                preset, bitrate_mbps, crf)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(CameraSpec, focal_35mm, height_above_m, behind_m,
                                                lateral_m, yaw_deg, pitch_deg, roll_deg, k1,
                                                axis_right, axis_down, exposure_s, readout_s,
                                                shake_deg_per_s, shake_mm, steady_hz, steady_gain,
                                                steady_lag_s)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(ArrowSpec, length_m, diameter_m, material, marks,
                                                gloss, fletched, vanes, vane_shape, vane_length_m,
                                                vane_height_m, vane_offset_m, vane_roll_deg,
                                                spin_hz, spin_up_s, nock_ears_m, nock_width, nock,
                                                point, nock_mass_ratio, tip_mass_ratio, paint_seed)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(StrokeHistory, aim_azimuth_deg, aim_elevation_deg,
                                                exit_s, t_s, rest_from_nock_m, right_mm, up_mm,
                                                azimuth_deg, elevation_deg, bend_right_mm,
                                                bend_up_mm, path_m, nock_right_deg,
                                                nock_right_slope_deg_per_m, nock_high_deg,
                                                nock_high_slope_deg_per_m)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(
    ShotSpec, loose_s, speed_mps, azimuth_deg, elevation_deg, nock_right_deg,
    nock_right_slope_deg_per_m, nock_high_deg, nock_high_slope_deg_per_m, wavelength_m,
    damping_ratio, drag_per_m, lift_eta_m, flex_hz, flex_lateral_mm, flex_vertical_mm,
    flex_phase_deg, flex_vertical_phase_deg, flex_damping_ratio, flex2_hz, flex2_lateral_mm,
    flex2_vertical_mm, flex2_phase_deg, flex2_damping_ratio, push_shape, point_past_rest_m,
    hold_azimuth_deg, hold_elevation_deg, draw_start_s, draw_lasts_s, let_down_s, let_down_lasts_s,
    stroke)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(ArcherSpec, hand, cant_deg, brace_m, bow_length_m,
                                                limb_width_m, recurve_m, limb_aside_m,
                                                bow_swings_deg, quiver, stringer, sleeve,
                                                second_bow_x_m, second_bow_z_m, second_bow_cant_deg,
                                                headwear, hat_scale, head_drop_m, build, paint_seed)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(RangeSpec, look, ground, far, ground_below_m, far_m,
                                                butt_m, butt, arrows_in_butt, sun, sun_azimuth_deg,
                                                sun_elevation_deg, wind, texture_seed)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(StageSpec, yaw_deg, x_m, z_m)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(SensorSpec, full_well_e, read_noise_e, brightness,
                                                noise_grain_px, defocus)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(SoundSpec, on, noise, wind)

namespace {

void one_of(const char* field, const std::string& value,
            std::initializer_list<const char*> allowed) {
  std::string list;
  for (const char* name : allowed) {
    if (value == name) {
      return;
    }
    list += list.empty() ? name : fmt::format(", {}", name);
  }
  throw std::runtime_error(fmt::format("{} is \"{}\"; use one of {}", field, value, list));
}

void within(const char* field, double value, double low, double high) {
  if (!(value >= low && value <= high)) {
    throw std::runtime_error(
        fmt::format("{} is {}; it must lie between {} and {}", field, value, low, high));
  }
}

}  // namespace

void to_json(nlohmann::json& json, const ClipSpec& s) {
  json = {{"kind", s.kind},
          {"duration_s", s.duration_s},
          {"picture", s.picture},
          {"camera", s.camera},
          {"arrow", s.arrow},
          {"archer", s.archer},
          {"range", s.range},
          {"stage", s.stage},
          {"sensor", s.sensor},
          {"sound", s.sound},
          {"shots", s.shots},
          {"draw_arrow", s.draw_arrow},
          {"draw_archer", s.draw_archer},
          {"draw_bow", s.draw_bow},
          {"walking", s.walking},
          {"told_focal_35mm", s.told_focal_35mm},
          {"told_arrow_length_m", s.told_arrow_length_m},
          {"cut_s", s.cut_s},
          {"seed", s.seed}};
}

void from_json(const nlohmann::json& json, ClipSpec& s) {
  const auto read = [&json](const char* key, auto& field) {
    if (json.contains(key)) {
      json.at(key).get_to(field);
    }
  };
  read("kind", s.kind);
  read("duration_s", s.duration_s);
  read("picture", s.picture);
  read("camera", s.camera);
  read("arrow", s.arrow);
  read("archer", s.archer);
  read("range", s.range);
  read("stage", s.stage);
  read("sensor", s.sensor);
  read("sound", s.sound);
  read("shots", s.shots);
  read("draw_arrow", s.draw_arrow);
  read("draw_archer", s.draw_archer);
  read("draw_bow", s.draw_bow);
  read("walking", s.walking);
  read("told_focal_35mm", s.told_focal_35mm);
  read("told_arrow_length_m", s.told_arrow_length_m);
  read("cut_s", s.cut_s);
  read("seed", s.seed);
}

int display_width(const PictureSpec& p) {
  return p.rotation_deg % 180 == 0 ? p.width : p.height;
}
int display_height(const PictureSpec& p) {
  return p.rotation_deg % 180 == 0 ? p.height : p.width;
}

void check(const ClipSpec& s) {
  one_of("kind", s.kind,
         {"shot", "from-side", "let-down", "never-loosed", "side-view", "toward-camera",
          "thirty-fps", "cut", "black", "empty", "gestures", "hidden"});
  one_of("picture.codec", s.picture.codec, {"h264", "hevc"});
  one_of("arrow.material", s.arrow.material, {"wood", "carbon", "bright"});
  one_of("arrow.marks", s.arrow.marks, {"plain", "barred", "footed"});
  one_of("arrow.vane_shape", s.arrow.vane_shape, {"parabola", "shield", "soft"});
  one_of("arrow.nock", s.arrow.nock, {"plastic", "shaft", "lit"});
  one_of("arrow.point", s.arrow.point, {"field", "blunt", "head"});
  within("arrow.vanes", s.arrow.vanes, 1, 6);
  one_of("archer.hand", s.archer.hand, {"right", "left"});
  one_of("archer.headwear", s.archer.headwear, {"hair", "cap", "hat", "hood"});
  one_of("range.ground", s.range.ground, {"grass", "dirt", "floor", "gravel", "snow", "mat"});
  one_of("range.far", s.range.far, {"wood", "hedge", "hall", "posts", "field", "wall"});
  one_of("range.butt", s.range.butt, {"rings", "plain", "none"});
  within("picture.width", s.picture.width, 160, 4096);
  within("picture.height", s.picture.height, 160, 4096);
  if (s.picture.width % 2 != 0 || s.picture.height % 2 != 0) {
    throw std::runtime_error("picture.width and picture.height must be even");
  }
  if (s.picture.rotation_deg % 90 != 0 || s.picture.rotation_deg < 0 ||
      s.picture.rotation_deg > 270) {
    throw std::runtime_error("picture.rotation_deg must be 0, 90, 180 or 270");
  }
  within("picture.fps", s.picture.fps, 10.0, 2000.0);
  within("duration_s", s.duration_s, 0.01, 600.0);
  within("camera.focal_35mm", s.camera.focal_35mm, 8.0, 400.0);
  within("camera.exposure_s", s.camera.exposure_s, 1e-6, 1.0 / s.picture.fps);
  within("camera.readout_s", s.camera.readout_s, 0.0, 1.0 / s.picture.fps);
  within("arrow.length_m", s.arrow.length_m, 0.3, 1.2);
  within("range.look", s.range.look, 1, 2);
  for (const ShotSpec& shot : s.shots) {
    within("shots.speed_mps", shot.speed_mps, 5.0, 150.0);
    within("shots.damping_ratio", shot.damping_ratio, 0.0, 0.9);
    within("shots.push_shape", shot.push_shape, -0.5, 1.0);
    within("shots.wavelength_m", shot.wavelength_m, 2.0, 1000.0);
    const StrokeHistory& h = shot.stroke;
    for (const auto* column : {&h.rest_from_nock_m, &h.right_mm, &h.up_mm, &h.azimuth_deg,
                               &h.elevation_deg, &h.bend_right_mm, &h.bend_up_mm}) {
      if (column->size() != h.t_s.size() || h.t_s.size() == 1) {
        throw std::runtime_error("shots.stroke: all columns must have as many entries as t_s");
      }
    }
    for (const auto* column : {&h.nock_right_deg, &h.nock_right_slope_deg_per_m, &h.nock_high_deg,
                               &h.nock_high_slope_deg_per_m}) {
      if (column->size() != h.path_m.size() || (!h.empty() && h.path_m.size() < 2)) {
        throw std::runtime_error("shots.stroke: all offsets must have as many entries as path_m");
      }
    }
  }
}

}  // namespace clipmaker
