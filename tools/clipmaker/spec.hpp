// Everything that makes a clip, as plain data with a JSON form. Units are in the names; frames and
// signs follow docs/measurement.md (X right, Y down, Z downrange, origin at the arrow rest).
#pragma once

#include <cstdint>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

namespace clipmaker {

struct PictureSpec {
  int width = 1920;  // as stored
  int height = 1080;
  int rotation_deg = 0;        // clockwise turn that a player applies: 0, 90, 180, 270
  bool mirrored = false;       // stored left-right reversed, undone by the display matrix
  bool mirror_scene = false;   // the displayed picture itself is reversed (no matrix undoes it)
  double fps = 240.0;          // capture rate
  double play_fps = 0.0;       // rate of the time stamps; 0: the capture rate
  bool capture_tag = false;    // write com.android.capture.fps
  std::string codec = "h264";  // h264 | hevc
  std::string preset = "superfast";
  double bitrate_mbps = 0.0;  // most, of the stored file at its play rate; 0: no limit
  double crf = 20.0;
};

struct CameraSpec {
  double focal_35mm = 27.0;      // diagonal convention
  double height_above_m = 0.55;  // above the arrow rest
  double behind_m = 1.45;        // behind the arrow rest
  double lateral_m = 0.08;       // to the shooter's right of the rest
  double yaw_deg = 0.0;          // to the right
  double pitch_deg = -8.0;       // up
  double roll_deg = 0.0;         // camera turned clockwise as seen from behind it
  double k1 = 0.0;               // radial distortion: x_d = x (1 + k1 r^2), r in focal lengths
  double axis_right = 0.0;       // the lens's axis off the picture's middle, shares of its width
  double axis_down = 0.0;
  double exposure_s = 0.001;
  double readout_s = 0.003;      // first to last stored row
  double shake_deg_per_s = 0.5;  // rms angular speed of the hand (yaw, pitch and roll together)
  double shake_mm = 1.0;         // rms wander of the position per axis
  // Electronic stabilisation, row by row: turns slower than steady_hz are left in the picture (0:
  // no stabilisation), of the faster ones steady_gain is taken out, as they were steady_lag_s ago.
  double steady_hz = 0.0;
  double steady_gain = 1.0;
  double steady_lag_s = 0.0;
};

struct ArrowSpec {
  double length_m = 0.75;  // nock throat to the end of the point
  double diameter_m = 0.0075;
  std::string material = "wood";  // wood | carbon | bright
  std::string marks = "plain";    // plain | barred | footed: dark bars; a front of other wood
  double gloss = 0.0;             // added to the material's sheen
  bool fletched = true;
  int vanes = 3;
  std::string vane_shape = "parabola";  // parabola | shield | soft: a feather's frayed edge
  double vane_length_m = 0.09;
  double vane_height_m = 0.013;
  double vane_offset_m = 0.025;  // nock throat to the rear end of the vanes
  double vane_roll_deg = 0.0;
  double spin_hz = 0.0;           // in free flight
  double spin_up_s = 0.0;         // the time in which the spin comes up from rest; 0: at once
  double nock_ears_m = 0.006;     // how far they reach behind the throat
  double nock_width = 1.0;        // of the shaft's
  std::string nock = "plastic";   // plastic | shaft: of its colour | lit
  std::string point = "field";    // field | blunt | head: a heavy one of 6 cm
  double nock_mass_ratio = 0.03;  // to the shaft's mass
  double tip_mass_ratio = 0.30;
  std::uint64_t paint_seed = 1;  // colours of vanes, nock, crest
};

// A simulated way from the loose until the nock passes the rest, sampled in time (straight lines
// between the samples), and the offsets along the flight from there to the reference distance,
// sampled in distance (cubic pieces). Empty: both are prescribed.
struct StrokeHistory {
  double aim_azimuth_deg = 0.0;  // of the bow: all that follows is relative to it
  double aim_elevation_deg = 0.0;
  double exit_s = 0.0;      // the nock leaves the string
  std::vector<double> t_s;  // from the loose
  std::vector<double> rest_from_nock_m;
  std::vector<double> right_mm, up_mm;             // centre of mass
  std::vector<double> azimuth_deg, elevation_deg;  // rigid axis
  std::vector<double> bend_right_mm, bend_up_mm;   // first bending mode, at the nock end
  std::vector<double> path_m;                      // 2 m is where the headline is taken
  std::vector<double> nock_right_deg, nock_right_slope_deg_per_m;
  std::vector<double> nock_high_deg, nock_high_slope_deg_per_m;
  bool empty() const { return t_s.empty(); }
};

struct ShotSpec {
  double loose_s = 0.3;      // the string is let go
  double speed_mps = 52.0;   // of the centre of mass as the nock leaves the string
  double azimuth_deg = 0.0;  // of the velocity then
  double elevation_deg = 0.5;
  // Offsets and slopes at Z(nock) = 2 m; slopes per metre of path.
  double nock_right_deg = 0.0;
  double nock_right_slope_deg_per_m = 0.0;
  double nock_high_deg = 0.0;
  double nock_high_slope_deg_per_m = 0.0;
  double wavelength_m = 14.0;  // undamped, the same in both planes
  double damping_ratio = 0.1;
  double drag_per_m = 0.0015;  // dv/dx = -drag v
  double lift_eta_m = 0.0;     // a = eta kappa^2 v^2 offset, toward where the arrow points
  double flex_hz = 70.0;
  double flex_lateral_mm = 6.0;  // at the nock end, at exit
  double flex_vertical_mm = 2.0;
  double flex_phase_deg = 0.0;
  double flex_vertical_phase_deg = 60.0;
  double flex_damping_ratio = 0.03;
  // The second bending mode, at the nock end.
  double flex2_hz = 190.0;
  double flex2_lateral_mm = 0.0;
  double flex2_vertical_mm = 0.0;
  double flex2_phase_deg = 0.0;
  double flex2_damping_ratio = 0.03;
  // The push: 0 a quarter sine of speed, 1 even, below 0 the more at the start.
  double push_shape = 0.0;
  double point_past_rest_m = 0.02;
  double hold_azimuth_deg = 0.0;  // of the arrow at full draw, relative to the launch
  double hold_elevation_deg = 0.0;
  double draw_start_s = -100.0;  // the draw begins (takes draw_lasts_s); long before: still
  double draw_lasts_s = 1.0;
  double let_down_s = 1e6;  // the string is eased back, slowly
  double let_down_lasts_s = 1.2;
  StrokeHistory stroke;  // takes the place of hold_*, point_past_rest_m, the swing and early flex
};

struct ArcherSpec {
  std::string hand = "right";  // the hand that draws
  double cant_deg = 10.0;      // positive: upper limb to the shooter's right
  double brace_m = 0.17;
  double bow_length_m = 1.65;
  double limb_width_m = 0.036;
  double recurve_m = 0.0;       // the tips before where a straight limb's would be
  double limb_aside_m = 0.0;    // a limb's middle to the right of straight: a stave with character
  double bow_swings_deg = 0.0;  // in the hand after the shot, the upper limb to the right
  bool quiver = false;          // four arrows on the bow, on the side away from the shot
  bool stringer = false;        // a cord from tip to tip, forgotten
  bool sleeve = false;          // a wide one, on the bow arm
  double second_bow_x_m = 0.0;  // another, strung, that stands so far to the right; 0: none
  double second_bow_z_m = 4.0;  // and downrange
  double second_bow_cant_deg = 0.0;
  std::string headwear = "cap";  // hair | cap | hat | hood
  double hat_scale = 1.0;        // 4: hides the flight
  double head_drop_m = 0.0;      // head lower than usual
  double build = 1.0;            // size of the body
  std::uint64_t paint_seed = 1;
};

struct RangeSpec {
  int look = 1;
  std::string ground = "grass";  // look 1: grass | dirt | floor; look 2: gravel | snow | mat
  std::string far = "wood";      // look 1: wood | hedge | hall; look 2: posts | field | wall
  double ground_below_m = 1.5;
  double far_m = 40.0;
  double butt_m = 15.0;
  std::string butt = "rings";  // rings | plain | none
  int arrows_in_butt = 3;
  bool sun = true;
  double sun_azimuth_deg = 140.0;
  double sun_elevation_deg = 45.0;
  double wind = 0.5;  // sway of leaves, 0..2
  std::uint64_t texture_seed = 1;
};

// Where the archer stands and which way the shot goes as the camera's world sees it; all zero is
// the view from behind. p_world = turn about the vertical by yaw (to the right), then shift.
struct StageSpec {
  double yaw_deg = 0.0;
  double x_m = 0.0;
  double z_m = 0.0;
};

struct SensorSpec {
  double full_well_e = 5000.0;  // electrons at white, after gain: less is darker and noisier
  double read_noise_e = 3.0;
  double brightness = 1.0;      // scales the scene
  double noise_grain_px = 0.5;  // blur of the noise (demosaicing, denoising)
  double defocus = 1.0;         // blur of near things, 1: a phone focused far away
};

struct SoundSpec {
  bool on = true;
  double noise = 0.01;
  double wind = 0.01;
};

// What the clip shows. "shot" is measurable, all others have none.
struct ClipSpec {
  std::string kind = "shot";
  double duration_s = 0.7;
  PictureSpec picture;
  CameraSpec camera;
  ArrowSpec arrow;
  ArcherSpec archer;
  RangeSpec range;
  StageSpec stage;
  SensorSpec sensor;
  SoundSpec sound;
  std::vector<ShotSpec> shots{ShotSpec{}};
  bool draw_arrow = true;  // off for the check of the drawn arrow against its truth
  bool draw_archer = true;
  bool draw_bow = true;
  bool walking = false;  // the archer walks through, arms swinging
  // What the archer believes; 0: the truth.
  double told_focal_35mm = 0.0;
  double told_arrow_length_m = 0.0;
  double cut_s = 0.0;      // from here on another, empty place (edited footage); 0: never
  std::uint64_t seed = 1;  // shake, sensor noise, sound
};

void to_json(nlohmann::json& json, const ClipSpec& spec);
void from_json(const nlohmann::json& json, ClipSpec& spec);

// Display size of the picture.
int display_width(const PictureSpec& picture);
int display_height(const PictureSpec& picture);

// Throws std::runtime_error with the field and the allowed values when the clip cannot be made.
void check(const ClipSpec& spec);

}  // namespace clipmaker
