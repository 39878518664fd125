#include "nocktrail/report/text.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <string_view>
#include <utility>

#include "nocktrail/report/lines.hpp"
#include "nocktrail/rules/safety.hpp"
#include "nocktrail/rules/words.hpp"

namespace nocktrail::report {
namespace {

// Below this rate the arrow is in view for too few frames; the advice then is slow motion.
constexpr double kSlowMotionFps = 100.0;

// Collects "Label: words" lines.
class Page {
 public:
  explicit Page(int width) : width_(width > 0 ? static_cast<std::size_t>(width) : 0) {}

  void line(std::string_view words) { out_ += report::line(words, width_); }

  void item(std::string_view label, std::string_view words) {
    out_ += report::line(fmt::format("{}: {}", label, words), width_, 2);
  }

  std::string take() { return std::move(out_); }

 private:
  std::size_t width_;
  std::string out_;
};

const char* source_words(RateSource source) {
  switch (source) {
    case RateSource::tag:
      return "by the file's tag";
    case RateSource::user:
      return "as given";
    case RateSource::container:
      break;
  }
  return "by the file's time stamps";
}

std::string clip_line(const Reading& reading) {
  const ClipFacts& clip = reading.clip;
  std::string facts;
  if (clip.width > 0) {
    facts = fmt::format(" ({} {} by {}, {:.4g} frames a second {}, {:.2f} s)",
                        rules::printable(clip.codec), clip.width, clip.height, clip.capture_fps,
                        source_words(clip.capture_fps_source), clip.duration_s);
  }
  return rules::printable(clip.path) + facts;
}

std::string slope_words(const Measured& slope, const char* way) {
  return fmt::format("{}{} deg per metre {}", slope.value < 0.0 ? "-" : "",
                     rules::with_interval(std::abs(slope.value), slope.u95), way);
}

std::string cant_words(const Shot& shot) {
  if (!shot.bow) {
    return fmt::format("cant {:.3g} deg", shot.in_bow->cant_deg);
  }
  const char* source = shot.bow->source == BowSource::seen   ? "seen"
                       : shot.bow->source == BowSource::told ? "told"
                                                             : "assumed";
  return fmt::format("cant {:.3g} ± {:.0f} deg ({})", shot.bow->cant_deg.value,
                     shot.bow->cant_deg.u95, source);
}

// The same words for every shot; others tell of the very shot, whatever was said of another.
bool is_usual(const std::string& caution) {
  return caution == rules::caution::kShaft || caution == rules::caution::kRange ||
         caution == rules::caution::kBare || caution == rules::caution::kWeak;
}

void add_shot(Page& page, const Reading& reading, std::size_t number, const TextOptions& options,
              std::set<std::string>& said) {
  const Shot& shot = reading.shots[number];
  const std::string when =
      shot.exit_s ? fmt::format(", nock leaves the string at {:.3f} s", *shot.exit_s) : "";
  const char* const by = shot.by == ReadBy::hand ? ", marked by hand" : "";
  if (shot.status == ShotStatus::refused) {
    page.line(
        fmt::format("Shot {} of {}: refused{}{}", number + 1, reading.shots.size(), by, when));
    page.item("Reason", rules::printable(shot.reason));
    return;
  }
  page.line(fmt::format("Shot {} of {}: measured{}{}", number + 1, reading.shots.size(), by, when));
  const bool stop = forbids(shot.verdict.step);
  if (stop) {
    page.item("Next step", shot.verdict.next_step);
  }
  if (shot.nock_right_deg && shot.nock_high_deg) {
    page.item("As seen from behind, upright",
              fmt::format("{}, {}, where the nock is 2 m past the arrow rest",
                          rules::lateral_words(*shot.nock_right_deg),
                          rules::vertical_words(*shot.nock_high_deg)));
  }
  if (shot.view == View::side && shot.nock_high_deg) {
    page.item("As seen from the side, upright",
              fmt::format("{}, where the nock is 2 m past the arrow rest",
                          rules::vertical_words(*shot.nock_high_deg)));
  }
  if (shot.in_bow) {
    page.item(fmt::format("To the bow, {}", cant_words(shot)),
              fmt::format("{}, {}", rules::lateral_words(shot.in_bow->nock_right_deg),
                          rules::vertical_words(shot.in_bow->nock_high_deg)));
  }
  page.item("Meaning", shot.verdict.summary);
  page.item("Spine", rules::word(shot.verdict.spine));
  page.item("Nocking point", rules::word(shot.verdict.nocking_point));
  page.item("How sure",
            "each ± is half of a 95 % interval for this one shot; scatter between shots is not in "
            "it, so a tune needs several shots");
  if (shot.nock_right_slope_deg_per_m && shot.nock_high_slope_deg_per_m) {
    page.item("Change along the flight",
              fmt::format("{}, {}", slope_words(*shot.nock_right_slope_deg_per_m, "to the right"),
                          slope_words(*shot.nock_high_slope_deg_per_m, "upward")));
  }
  if (shot.view == View::side && shot.nock_high_slope_deg_per_m) {
    page.item("Change along the flight", slope_words(*shot.nock_high_slope_deg_per_m, "upward"));
  }
  if (shot.speed_mps) {
    page.item("Speed", rules::with_interval(shot.speed_mps->value, shot.speed_mps->u95) + " m/s");
  }
  if (shot.flex) {
    page.item(
        "Flex",
        fmt::format(
            "{} Hz, {} mm at the nock",
            rules::with_interval(shot.flex->frequency_hz.value, shot.flex->frequency_hz.u95),
            rules::with_interval(shot.flex->amplitude_mm.value, shot.flex->amplitude_mm.u95)));
  }
  if (shot.bow && shot.bow->source == BowSource::assumed) {
    page.item("Assumed", "the usual cant for the hand; give it with --cant, 0 for an upright bow");
  }
  if (options.hand == Hand::unknown) {
    page.item("Missing", "the archer's hand; give --hand right or --hand left");
  }
  if (reading.camera.source == FocalSource::assumed) {
    page.item("Assumed",
              "a picture as wide as a usual phone's; --picture-width narrows the interval");
  }
  if (!options.arrow_length_given) {
    page.item("Assumed", "a usual arrow length; --arrow-length narrows the interval");
  }
  if (!stop && options.stops.empty() && !shot.verdict.next_step.empty()) {
    page.item("Next step", shot.verdict.next_step);
  }
  for (const std::string& caution : shot.verdict.cautions) {
    if (!options.stops.empty() && caution == rules::caution::kBare) {
      continue;  // how to shoot what must not be shot
    }
    if (said.insert(caution).second || !is_usual(caution)) {
      page.item("Caution", caution);
    }
  }
}

bool reason_says(const Reading& reading, std::string_view words) {
  return reading.reason.find(words) != std::string::npos ||
         std::any_of(reading.shots.begin(), reading.shots.end(), [&](const Shot& shot) {
           return shot.reason.find(words) != std::string::npos;
         });
}

void add_what_to_do(Page& page, const Reading& reading, const TextOptions& options) {
  if (options.view_told) {
    page.item("What to do", "leave --view out, unless you know from where it was filmed");
  }
  if (reading.clip.capture_fps > 0.0 && reading.clip.capture_fps < kSlowMotionFps) {
    page.item("What to do",
              "film in slow motion, 240 frames a second if the phone can; if this clip is slow "
              "motion and only its tag is lost, give the rate it was filmed at with --capture-fps");
  } else if (reason_says(reading, rules::kSayRate)) {
    page.item("What may help", "--capture-fps 240 says at what rate the clip was filmed");
  }
  const bool from_side = !reading.shots.empty() && reading.shots.front().view == View::side;
  if (from_side) {
    page.item(
        "What to do",
        "from the side, stand the phone 2 to 4 m beside the line, square to it within 30 deg, "
        "level and at the arrow's height, with the bow and two metres of flight in the "
        "picture, before a background of another brightness than the shaft, in bright light; "
        "nobody stands beside the arrow's path forward of the shooting line");
    return;
  }
  page.item("What to do",
            "film from behind and above the archer's head, looking level downrange, the phone held "
            "by a secured mount; keep the arrow in the picture from full draw until it is well on "
            "its way, against a plain background in bright light; leave two seconds before the "
            "loose and one after it");
  if (reading.status == ClipStatus::no_shot) {
    return;
  }
  std::string assumed = options.arrow_length_given ? "" : "--arrow-length";
  if (reading.camera.source == FocalSource::assumed) {
    assumed += assumed.empty() ? "--picture-width" : " and --picture-width";
  }
  if (!assumed.empty()) {
    page.item("What may help", "tell the program what it had to assume, with " + assumed);
  }
}

bool by_hand(const Reading& reading) {
  return !reading.shots.empty() && reading.shots.front().by == ReadBy::hand;
}

}  // namespace

std::string text(const Reading& reading, const TextOptions& options) {
  Page page(options.width);
  page.line(clip_line(reading));
  if (reading.clip.cut_short) {
    page.item("Caution", rules::kCutShort);
  }
  if (!options.read_with.empty()) {
    page.item("Read with", rules::printable(options.read_with));
  }
  for (const std::string& stop : options.stops) {
    page.item("Next step", rules::printable(stop));
  }
  const std::string reason = rules::printable(reading.reason);
  switch (reading.status) {
    case ClipStatus::error:
      page.line("Result: cannot be read as video");
      page.item("Reason", reason);
      return page.take();
    case ClipStatus::no_shot:
      page.line("Result: no shot found");
      page.item("Reason", reason);
      break;
    case ClipStatus::refused:
      page.line(by_hand(reading) ? "Result: refused, no number is given (marked by hand)"
                                 : "Result: refused, no number is given");
      page.item("Reason", reason);
      break;
    case ClipStatus::measured:
      break;
  }
  std::set<std::string> of_this_clip;
  std::set<std::string>& cautions = options.cautions_said ? *options.cautions_said : of_this_clip;
  bool all_measured = reading.status == ClipStatus::measured;
  for (std::size_t i = 0; i < reading.shots.size(); ++i) {
    // The clip's own reason already said it.
    const bool said = reading.shots.size() == 1 && reading.status == ClipStatus::refused &&
                      reading.shots[i].reason == reading.reason;
    if (!said) {
      add_shot(page, reading, i, options, cautions);
    }
    all_measured = all_measured && reading.shots[i].status == ShotStatus::measured;
  }
  // A person who marks has seen the arrow: the reason says what to mark.
  if (!all_measured && !by_hand(reading)) {
    add_what_to_do(page, reading, options);
  }
  return page.take();
}

}  // namespace nocktrail::report
