// What one clip says: the plain data that the measuring rooms fill in and that rules, picture and
// report read. Field names, units and frames follow docs/measurement.md, schema
// nocktrail.reading/2: angles in degrees, lengths in metres, range frame X right, Y down, Z
// downrange, pixels in display orientation with integer coordinates at pixel centres.
#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace nocktrail {

// A value with half the width of its 95 % interval.
struct Measured {
  double value = 0.0;
  double u95 = 0.0;
};

enum class Hand { unknown, right, left };

enum class RateSource { tag, container, user };

enum class FocalSource { user, calibration, assumed };

enum class ClipStatus { measured, no_shot, refused, error };

enum class ShotStatus { measured, refused };

// The arrow in one frame as observed (not as fitted).
struct FrameObservation {
  int index = 0;     // presented frame, from 0
  double t_s = 0.0;  // capture time since the first frame
  std::optional<Eigen::Vector2d> nock_px;
  std::optional<Eigen::Vector2d> tip_px;
  bool used = false;  // took part in the fit
};

struct Flex {
  Measured frequency_hz;
  Measured amplitude_mm;  // at the nock end, peak, at exit
};

// From where a clip was filmed.
enum class View { behind, side };

// Who found the arrow in the frames.
enum class ReadBy { program, hand };

// The part of the errors of two angles that is the same in the next shot of the same phone, place
// and arrow, and so does not average out.
struct SharedError {
  double right_u95_deg = 0.0;
  double high_u95_deg = 0.0;
  double correlation = 0.0;
};

// From where a shot was filmed, so that two of them can be told apart: an error that comes of a
// place is not that of another.
struct FilmedFrom {
  // The camera past the arrow rest, in the basis of the flight; behind is positive upstream.
  Measured right_m;
  Measured above_m;
  Measured behind_m;
  // The picture before the loose as kBackdropSide by kBackdropSide means of brightness, row by row,
  // whatever its shape.
  std::vector<std::uint8_t> backdrop;
};
inline constexpr int kBackdropSide = 24;

enum class BowSource { seen, told, assumed };

// How the bow stood as the arrow left it.
struct Bow {
  Measured cant_deg;          // positive: the upper limb leans to the shooter's right
  Hand hand = Hand::unknown;  // that draws
  BowSource source = BowSource::assumed;
};

// The reading turned into the frame of the bow, with what is not known of the cant carried along.
struct InBow {
  double cant_deg = 0.0;
  Measured nock_right_deg;
  Measured nock_high_deg;
  double correlation = 0.0;  // of the errors of the two
  std::optional<SharedError> shared;
};

enum class SpineVerdict { weak, stiff, matched, unclear };
enum class NockingPointVerdict { high, low, level, unclear };

// What to do next, the same list for one shot, a set-up and a session. docs/measurement.md has the
// words that stand for them in files.
enum class StepKind {
  none,                // nothing was measured, so nothing follows
  do_not_shoot_arrow,  // a limit is passed: nothing else is advised until it is mended
  do_not_draw_bow,
  do_not_shoot_bow,  // as it is braced
  tell_facts,        // what would decide is not known
  tell_hand,
  tell_cant,
  film_more,   // no reading or too few shots
  mind_form,   // scatter hides the answer
  start_high,  // nocking point: back to a known high start
  lower_nocking_point,
  raise_nocking_point,
  trim_shaft,
  heavier_tip,
  lighter_tip,
  weaker_shaft,
  stiffer_shaft,
  thinner_plate,
  thicker_plate,
  check_contact,   // a known change moved the reading the wrong way
  look_for_cause,  // nock high or low that the nocking point does not take away
  shoot_bare,      // the bare shaft tells more than the fletched one
  shoot_fletched,  // bare it is straight: see that the finished arrow is
  fine_tune_brace,
  done
};

// Whether a step says that something must not be shot or drawn: nothing else is advised beside it.
inline constexpr bool forbids(StepKind kind) {
  return kind == StepKind::do_not_shoot_arrow || kind == StepKind::do_not_draw_bow ||
         kind == StepKind::do_not_shoot_bow;
}

struct Verdict {
  SpineVerdict spine = SpineVerdict::unclear;
  NockingPointVerdict nocking_point = NockingPointVerdict::unclear;
  std::string summary;  // one sentence
  StepKind step = StepKind::none;
  std::string next_step;              // the same in words; empty when there is none
  std::vector<std::string> cautions;  // safety wording that goes with the next step
};

// The fitted flight in one frame, for drawing: where the model puts the shaft in the picture.
struct FittedFrame {
  int index = 0;
  double t_s = 0.0;
  Eigen::Vector2d nock_px = Eigen::Vector2d::Zero();
  Eigen::Vector2d tip_px = Eigen::Vector2d::Zero();
  // Where a perfectly matched arrow's nock would be, its tip being where it is: the shaft laid
  // along the direction of flight.
  Eigen::Vector2d straight_nock_px = Eigen::Vector2d::Zero();
  double nock_z_m = 0.0;  // downrange distance of the nock past the rest
  // Maps homogeneous pixels of this frame onto the shot's reference frame: the camera's motion
  // taken out, so that several instants can be laid over one background.
  Eigen::Matrix3d reference_from_frame = Eigen::Matrix3d::Identity();
};

struct Shot {
  ShotStatus status = ShotStatus::refused;
  std::string reason;  // empty when measured
  View view = View::behind;
  ReadBy by = ReadBy::program;
  std::optional<double> loose_s;
  std::optional<double> exit_s;
  std::optional<Measured> nock_right_deg;
  std::optional<Measured> nock_high_deg;
  std::optional<Measured> nock_right_slope_deg_per_m;
  std::optional<Measured> nock_high_slope_deg_per_m;
  // Correlation of the errors of nock_right and nock_high (from beside the plane of flight the two
  // trade against each other).
  double right_high_correlation = 0.0;
  std::optional<SharedError> shared;      // empty: not told apart, counts as half of the variance
  std::optional<FilmedFrom> filmed_from;  // of a measured shot seen from behind
  std::optional<Measured> speed_mps;
  std::optional<Flex> flex;
  std::optional<Measured> cant_seen_deg;  // as the limb in the picture shows it, told or not
  std::optional<Bow> bow;
  std::optional<InBow> in_bow;  // whenever `bow` is
  std::vector<FrameObservation> frames;
  std::vector<FittedFrame> fitted;  // one per frame of the fitted stretch, in time order
  int reference_index = 0;          // presented index of the shot's reference frame
  // The middle of the upper limb where it was seen as the arrow left, upward, px of the reference
  // frame; empty where it was seen at full draw only.
  std::vector<Eigen::Vector2d> limb_px;
  Verdict verdict;
};

struct ClipFacts {
  std::string path;
  std::string sha256;
  std::string codec;
  int width = 0;  // display size
  int height = 0;
  int rotation_deg = 0;
  bool mirrored = false;
  // Whether left and right of the displayed picture are exchanged, as a selfie camera may store
  // them; empty: nothing in the file says so.
  std::optional<bool> picture_mirrored;
  long frames = 0;
  double duration_s = 0.0;  // capture time
  double capture_fps = 0.0;
  RateSource capture_fps_source = RateSource::container;
  bool cut_short = false;  // the file ends before its own account does
};

struct CameraFacts {
  double focal_px = 0.0;
  FocalSource source = FocalSource::assumed;
};

struct Reading {
  ClipFacts clip;
  CameraFacts camera;
  ClipStatus status = ClipStatus::no_shot;
  std::string reason;  // empty when measured
  std::vector<Shot> shots;
};

}  // namespace nocktrail
