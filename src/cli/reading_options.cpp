#include "reading_options.hpp"

#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>

#include "nocktrail/error.hpp"
#include "nocktrail/optics/camera.hpp"
#include "nocktrail/rules/rules.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/units/units.hpp"

namespace nocktrail::cli {
namespace {

void check_range(const char* option, double value, double low, double high, const char* unit) {
  if (!(value >= low && value <= high)) {  // NaN too
    throw BadInput(fmt::format("{}: {:g} is out of range; give a number from {:g} to {:g}{}",
                               option, value, low, high, unit));
  }
}

}  // namespace

ReadClipOptions checked_reading_options(const ReadingArguments& arguments) {
  ReadClipOptions options;
  if (arguments.hand == "right") {
    options.hand = Hand::right;
  } else if (arguments.hand == "left") {
    options.hand = Hand::left;
  } else if (!arguments.hand.empty()) {
    throw BadInput(
        fmt::format("--hand: \"{}\" is neither right nor left; give the archer's hand "
                    "that draws the string",
                    rules::printable(arguments.hand)));
  }
  if (arguments.view == "behind") {
    options.view = View::behind;
  } else if (arguments.view == "side") {
    options.view = View::side;
  } else if (!arguments.view.empty()) {
    throw BadInput(
        fmt::format("--view: \"{}\" is neither behind nor side; leave it out to have it "
                    "seen",
                    rules::printable(arguments.view)));
  }
  if (!arguments.cant.empty()) {
    options.cant_deg = units::parse_angle_deg(arguments.cant, "--cant");
    check_range("--cant", *options.cant_deg, -90.0, 90.0, " degrees");
  }
  if (arguments.focal_35mm) {
    check_range("--focal-35mm", *arguments.focal_35mm, 10.0, 200.0, " mm");
  }
  options.focal_35mm = arguments.focal_35mm;
  if (!arguments.picture_width.empty()) {
    if (arguments.focal_35mm) {
      throw BadInput("--picture-width and --focal-35mm tell the same; leave one of them out");
    }
    options.focal_35mm = optics::focal_35mm_from_width(
        units::parse_picture_width(arguments.picture_width, "--picture-width"));
  }
  if (arguments.capture_fps) {
    check_range("--capture-fps", *arguments.capture_fps, 1.0, 2000.0, " frames a second");
  }
  check_range("--dead-band", arguments.dead_band_deg, 0.0, rules::kWidestBand_deg, " degrees");
  if (!arguments.arrow_length.empty()) {
    const double length_m = units::parse_length_m(arguments.arrow_length, "--arrow-length");
    constexpr double kShortest_m = 0.4;
    constexpr double kLongest_m = 1.1;
    if (length_m < kShortest_m || length_m > kLongest_m) {
      throw BadInput(
          fmt::format("--arrow-length: {} is out of range; give a length from 0.4m to "
                      "1.1m (15.75in to 43.3in)",
                      rules::printable(arguments.arrow_length)));
    }
    options.arrow_length_m = length_m;
  }
  if (!arguments.target_distance.empty()) {
    options.target_distance_m =
        units::parse_length_m(arguments.target_distance, "--target-distance");
    check_range("--target-distance", *options.target_distance_m, 3.0, 100.0, " m");
  }
  if (!arguments.speed.empty()) {
    options.speed_mps = units::parse_speed_mps(arguments.speed, "--speed");
    check_range("--speed", *options.speed_mps, 20.0, 120.0, " m/s");
  }
  options.capture_fps = arguments.capture_fps;
  options.dead_band_deg = arguments.dead_band_deg;
  return options;
}

bool tells_facts(const ReadClipOptions& options) {
  return options.hand != Hand::unknown || options.cant_deg || options.arrow_length_m ||
         options.focal_35mm || options.capture_fps || options.target_distance_m ||
         options.speed_mps || options.view;
}

void add_reading_options(CLI::App& command, ReadingArguments& arguments) {
  command
      .add_option("--hand", arguments.hand,
                  "The archer's drawing hand; without it spine is not\njudged")
      ->type_name("right|left");
  command
      .add_option(
          "--cant", arguments.cant,
          "Lean of the bow, within some 6 degrees, positive\nwhen the upper limb leans to "
          "the shooter's right, 0\nupright; without it the upper limb in the picture\ntells, "
          "or the usual lean is assumed and the\nnocking point may stay open")
      ->type_name("DEG");
  command
      .add_option("--arrow-length", arguments.arrow_length,
                  "Nock throat to the end of the point, with a unit:\n30in, 762mm, 0.762m")
      ->type_name("LEN");
  command
      .add_option(
          "--picture-width", arguments.picture_width,
          "How wide a stretch the picture's longer side shows\nand from how far, set as you "
          "film: \"2.9m at 2m\". Else\n27 mm +- 10 % is assumed")
      ->type_name("W at D");
  command
      .add_option("--focal-35mm", arguments.focal_35mm,
                  "The same as a focal length, 35 mm equivalent by the\npicture's diagonal, of the "
                  "film as it is: a data\nsheet's may be 10 % off")
      ->type_name("MM");
  command
      .add_option("--target-distance", arguments.target_distance,
                  "Arrow rest to the butt's face, within 1 %: 12m, 18yd.\nWith the impact in the "
                  "clip and its sound on, it gives\nthe speed, and up and down narrows")
      ->type_name("LEN");
  command
      .add_option("--speed", arguments.speed,
                  "The arrow's speed past the bow, of a chronograph,\nwithin 1 %: 52m/s, 170ft/s")
      ->type_name("V");
  command
      .add_option("--view", arguments.view,
                  "From where it was filmed, behind or side; else it is\nseen. From the side only "
                  "the nock's height is told")
      ->type_name("VIEW");
  command
      .add_option("--capture-fps", arguments.capture_fps,
                  "Frames a second at which the clip was filmed, when\nits file does not say")
      ->type_name("N");
  command
      .add_option("--dead-band", arguments.dead_band_deg,
                  "Offsets smaller than this count as straight")
      ->type_name("DEG")
      ->capture_default_str();
}

}  // namespace nocktrail::cli
