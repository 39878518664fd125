#include "simulated_session.hpp"

#include <fmt/format.h>

#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_real_distribution.hpp>
#include <cmath>
#include <nlohmann/json.hpp>
#include <numbers>

#include "nocktrail/arrow/unknowns.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/tune/judgement.hpp"

namespace worked {
namespace {

using namespace nocktrail;

// Together about 0.4 deg sideways and 0.3 deg up and down: a practised archer (common practice, no
// source).
constexpr double kFingerRatio_log = 0.12;
constexpr double kFingerLift = 0.006;
constexpr double kDraw_m = 0.15 * units::kMetresPerInch;

// The long run begins where no film goes.
constexpr std::size_t kLongRunFirst = 1000;
constexpr std::size_t kLongRunShots = 200;

constexpr std::uint64_t kShots = 1;
constexpr std::uint64_t kCamera = 2;
constexpr std::uint64_t kSideCamera = 3;

class Stream {
 public:
  Stream(std::uint64_t seed, std::uint64_t purpose, std::size_t setup, std::size_t index)
      : generator_(((seed * 8191U + purpose) * 8191U + setup) * 8191U + index) {}
  double normal() { return normal_(generator_); }
  double between(double low, double high) {
    return boost::random::uniform_real_distribution<double>(low, high)(generator_);
  }
  std::uint64_t bits() { return generator_(); }

 private:
  boost::random::mt19937_64 generator_;
  boost::random::normal_distribution<double> normal_;
};

}  // namespace

Archer::Archer(std::uint64_t self, std::uint64_t seed)
    : seed_(seed), own_(arrow::draw_unknowns(arrow::Prior{}, self, 0)) {}

SimulatedShot Archer::shot(const tune::SetupFacts& facts, std::size_t setup,
                           std::size_t index) const {
  const tune::ModelSetup told = tune::model_setup(facts);
  if (!told.setup) {
    throw BadInput(fmt::format("set-up {}: {} is missing; the shot cannot be simulated", setup + 1,
                               told.missing.empty() ? "something" : told.missing.front()));
  }
  Stream draw(seed_, kShots, setup, index);
  SimulatedShot result{*told.setup, own_, {}};
  result.unknowns.finger_ratio *= std::exp(kFingerRatio_log * draw.normal());
  result.unknowns.finger_lift_ratio += kFingerLift * draw.normal();
  result.setup.archer.draw_m += kDraw_m * draw.normal();
  const arrow::ExitState exit = arrow::simulate_shot(result.setup, result.unknowns);
  result.offsets = {exit.lateral.reference_offset_deg, exit.vertical.reference_offset_deg};
  return result;
}

LongRun Archer::long_run(const tune::SetupFacts& facts, std::size_t setup) const {
  std::vector<Offsets> shots(kLongRunShots);
  arrow::for_each_index(kLongRunShots, [&](std::size_t i) {
    shots[i] = shot(facts, setup, kLongRunFirst + i).offsets;
  });
  LongRun result;
  for (const Offsets& at : shots) {
    result.mean.lateral_deg += at.lateral_deg / kLongRunShots;
    result.mean.vertical_deg += at.vertical_deg / kLongRunShots;
  }
  for (const Offsets& at : shots) {
    result.scatter.lateral_deg += std::pow(at.lateral_deg - result.mean.lateral_deg, 2);
    result.scatter.vertical_deg += std::pow(at.vertical_deg - result.mean.vertical_deg, 2);
  }
  for (double* square : {&result.scatter.lateral_deg, &result.scatter.vertical_deg}) {
    *square = std::sqrt(*square / (kLongRunShots - 1.0));
  }
  return result;
}

nlohmann::json clip_spec(const tune::SetupFacts& facts, std::uint64_t seed, std::size_t setup,
                         std::size_t index) {
  Stream draw(seed, kCamera, setup, index);
  return {{"seed", draw.bits() % 1000000U},
          {"duration_s", 0.46},
          {"archer",
           {{"hand", facts.hand == Hand::left ? "left" : "right"},
            {"cant_deg", facts.cant_deg.value_or(0.0)},
            {"bow_length_m", 1.68},
            {"headwear", "cap"},
            {"paint_seed", 4107}}},
          {"arrow", {{"paint_seed", 88}, {"material", "wood"}}},
          {"camera",
           {{"focal_35mm", facts.camera.focal_35mm.value_or(26.0)},
            {"height_above_m", draw.between(0.5, 0.6)},
            {"behind_m", draw.between(1.35, 1.55)},
            {"lateral_m", draw.between(-0.05, 0.05)},
            {"pitch_deg", draw.between(-9.5, -7.5)},
            {"roll_deg", draw.between(-0.8, 0.8)},
            {"exposure_s", 1.0 / 1500.0},
            {"readout_s", 0.003},
            {"shake_deg_per_s", draw.between(0.2, 0.6)},
            {"shake_mm", draw.between(0.3, 0.8)}}},
          {"picture",
           {{"width", 1920},
            {"height", 1080},
            {"fps", 240.0},
            {"codec", "h264"},
            {"bitrate_mbps", 40.0}}},
          {"range",
           {{"look", 1},
            {"ground", "grass"},
            {"far", "wood"},
            {"far_m", 40.0},
            {"butt_m", 12.0},
            {"butt", "plain"},
            {"arrows_in_butt", static_cast<int>(index)},
            {"sun", true},
            {"sun_azimuth_deg", 120.0},
            {"sun_elevation_deg", 50.0},
            {"wind", 0.2},
            {"texture_seed", 515}}},
          {"sensor", {{"full_well_e", 6000.0}, {"read_noise_e", 2.0}, {"brightness", 1.0}}},
          {"shots",
           {{{"loose_s", 0.2},
             {"azimuth_deg", draw.between(-0.8, 0.8)},
             {"elevation_deg", draw.between(-0.2, 1.0)},
             {"drag_per_m", 0.0012}}}}};
}

nlohmann::json clip_spec_from_side(const tune::SetupFacts& facts, std::uint64_t seed,
                                   std::size_t setup, std::size_t index) {
  nlohmann::json spec = clip_spec(facts, seed, setup, index);
  Stream draw(seed, kSideCamera, setup, index);
  // On the bow's open side, put up anew for each set-up of the day but hardly moved between shots.
  Stream day(seed, kSideCamera, setup, kLongRunFirst);
  const double way = facts.hand == Hand::left ? -1.0 : 1.0;
  const double beside_m = way * day.between(2.5, 2.9);
  const double aim_m = day.between(1.3, 1.6);
  const double turn_rad = (90.0 * way + day.between(-8.0, 8.0)) * std::numbers::pi / 180.0;
  const double along_m = aim_m - beside_m * std::cos(turn_rad) / std::sin(turn_rad);
  spec["kind"] = "from-side";
  spec["seed"] = draw.bits() % 1000000U;
  spec["stage"] = {{"yaw_deg", turn_rad * 180.0 / std::numbers::pi},
                   {"x_m", -std::cos(turn_rad) * beside_m - std::sin(turn_rad) * along_m},
                   {"z_m", std::sin(turn_rad) * beside_m - std::cos(turn_rad) * along_m}};
  nlohmann::json& camera = spec["camera"];
  camera["behind_m"] = 0.0;
  camera["lateral_m"] = 0.0;
  camera["height_above_m"] = day.between(-0.06, 0.06);
  camera["pitch_deg"] = day.between(-2.0, 2.0);
  camera["roll_deg"] = day.between(-1.0, 1.0);
  camera["shake_deg_per_s"] = 0.02;
  camera["shake_mm"] = 0.1;
  spec["range"]["butt"] = "none";
  return spec;
}

}  // namespace worked
