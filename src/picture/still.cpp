#include "nocktrail/picture/still.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <stdexcept>

#include "dial.hpp"
#include "nocktrail/rules/safety.hpp"
#include "nocktrail/rules/words.hpp"
#include "palette.hpp"
#include "photo.hpp"

namespace nocktrail::picture {
namespace {

constexpr int kWidth_px = 1440;
// Tall enough for any reading's words; the sheet is cut to what was used.
constexpr int kMostHeight_px = 7000;
constexpr double kMargin_px = 44.0;
constexpr double kGap_px = 28.0;

// Sizes that are still read when 1440 px are shown across a phone held upright.
constexpr Type kTitle{44.0, true, kInk, false};
constexpr Type kFigures{54.0, true, kInk, false};
constexpr Type kVerdict{40.0, true, kInk, false};
constexpr Type kBody{36.0, false, kInk, false};
constexpr Type kBodyBold{36.0, true, kInk, false};
constexpr Type kSmall{32.0, false, kSoftInk, false};
constexpr Type kCaution{32.0, false, kInk, false};

// Where things stand on the sheet, below the title; two plans, by the shape of the clip.
struct Plan {
  Box strobe;
  Box enlarged;
  Box dial;
  double bottom = 0.0;
};

Plan plan_for(bool portrait, double top) {
  const double inner = kWidth_px - 2.0 * kMargin_px;
  const double half = 0.5 * (inner - kGap_px);
  Plan plan;
  if (portrait) {
    const double height = 1260.0;
    plan.strobe = {kMargin_px, top, half, height};
    const double right = kMargin_px + half + kGap_px;
    plan.enlarged = {right, top, half, 600.0};
    plan.dial = {right, top + 600.0 + kGap_px, half, height - 600.0 - kGap_px};
    plan.bottom = top + height;
  } else {
    plan.strobe = {kMargin_px, top, inner, 780.0};
    const double below = top + 780.0 + kGap_px;
    plan.enlarged = {kMargin_px, below, half, 620.0};
    plan.dial = {kMargin_px + half + kGap_px, below, half, 620.0};
    plan.bottom = below + 620.0;
  }
  return plan;
}

// Shortened in the middle, so that both the start and the numbered end of a name stay.
std::string fitting(Canvas& canvas, const std::string& words, const Type& type, double width_px) {
  const auto at_character = [&](std::size_t i) {
    return (static_cast<unsigned char>(words[i]) & 0xC0U) != 0x80U;
  };
  std::string shown = words;
  for (std::size_t cut = 1; canvas.text_width_px(shown, type) > width_px; ++cut) {
    if (2 * cut >= words.size()) {
      return "…";
    }
    std::size_t head = words.size() / 2 - cut;
    std::size_t tail = words.size() / 2 + cut;
    while (head > 0 && !at_character(head)) {
      --head;
    }
    while (tail < words.size() && !at_character(tail)) {
      ++tail;
    }
    shown = words.substr(0, head) + "…" + words.substr(tail);
  }
  return shown;
}

std::string capitalised(std::string words) {
  if (!words.empty() && words[0] >= 'a' && words[0] <= 'z') {
    words[0] = static_cast<char>(words[0] - 'a' + 'A');
  }
  return words;
}

std::string sentence(const std::string& words) {
  const std::string safe = capitalised(rules::printable(words));
  return safe.empty() || safe.back() == '.' ? safe : safe + ".";
}

double title(Canvas& canvas, const Reading& reading, std::size_t shot_number) {
  const double inner = kWidth_px - 2.0 * kMargin_px;
  std::string name = rules::printable(std::filesystem::path(reading.clip.path).filename().string());
  if (reading.shots.size() > 1) {
    name += fmt::format(", shot {} of {}", shot_number + 1, reading.shots.size());
  }
  double y = kMargin_px;
  canvas.text(fitting(canvas, name, kTitle, inner), {kMargin_px, y + kTitle.size_px}, kTitle);
  y += 1.35 * kTitle.size_px;
  const ClipFacts& clip = reading.clip;
  const bool by_hand =
      shot_number < reading.shots.size() && reading.shots[shot_number].by == ReadBy::hand;
  canvas.text(fmt::format("{:.4g} frames a second, {} by {}{}", clip.capture_fps, clip.width,
                          clip.height, by_hand ? "; marked by hand" : ""),
              {kMargin_px, y + kSmall.size_px}, kSmall);
  return y + 1.9 * kSmall.size_px;
}

// What the set-up's limits forbid, before any number; returns the y below.
double forbidden(Canvas& canvas, const StillOptions& options, double top) {
  double y = top;
  for (const std::string& stop : options.stops) {
    y = canvas.paragraph(rules::printable(stop), kMargin_px, y, kWidth_px - 2.0 * kMargin_px,
                         kBodyBold) +
        12.0;
  }
  return options.stops.empty() ? top : y + 0.5 * kGap_px;
}

const char* archer_words(Hand hand) {
  switch (hand) {
    case Hand::right:
      return "right-handed archer";
    case Hand::left:
      return "left-handed archer";
    case Hand::unknown:
      break;
  }
  return "hand not given";
}

// "bow at 15 ± 6 deg, told"
std::string bow_words(const Shot& shot) {
  const bool assumed = shot.bow && shot.bow->source == BowSource::assumed;
  const char* source = !shot.bow                             ? ""
                       : assumed                             ? ", assumed"
                       : shot.bow->source == BowSource::seen ? ", seen"
                                                             : ", told";
  return shot.bow ? fmt::format("bow at {:.3g} ± {:.0f} deg{}", shot.bow->cant_deg.value,
                                shot.bow->cant_deg.u95, source)
                  : fmt::format("bow at {:.3g} deg", shot.in_bow->cant_deg);
}

// The offsets and what they say, side by side; returns the y below.
double headline(Canvas& canvas, const Shot& shot, const StillOptions& options, double top) {
  const double right_edge = kWidth_px - kMargin_px;
  const double inner = right_edge - kMargin_px;
  double baseline = top + kFigures.size_px;
  const auto line = [&](const std::string& figures, const std::string& verdict) {
    const double left_width = inner - canvas.text_width_px(verdict, kVerdict) - kGap_px;
    canvas.text(fitting(canvas, capitalised(figures), kFigures, left_width), {kMargin_px, baseline},
                kFigures);
    canvas.text(verdict, {right_edge, baseline}, kVerdict, Anchor::right);
    baseline += 1.35 * kFigures.size_px;
  };
  // The offsets that the verdict judged: in the frame of a canted bow, else as seen from behind.
  if (shot.view == nocktrail::View::side) {
    line(rules::vertical_words(*shot.nock_high_deg),
         fmt::format("nocking point {}", rules::word(shot.verdict.nocking_point)));
    baseline += 0.55 * kSmall.size_px - 0.35 * kFigures.size_px;
    canvas.text("From the side, against plumb; ± is half a 95 % interval, nock 2 m past the rest",
                {kMargin_px, baseline}, kSmall);
    return baseline + 0.9 * kSmall.size_px;
  }
  line(rules::lateral_words(shot.in_bow ? shot.in_bow->nock_right_deg : *shot.nock_right_deg),
       fmt::format("spine {}", rules::word(shot.verdict.spine)));
  line(rules::vertical_words(shot.in_bow ? shot.in_bow->nock_high_deg : *shot.nock_high_deg),
       fmt::format("nocking point {}", rules::word(shot.verdict.nocking_point)));
  baseline += 0.55 * kSmall.size_px - 0.35 * kFigures.size_px;
  canvas.text(shot.in_bow ? bow_words(shot) + "; ± is half a 95 % interval"
                          : "± is half a 95 % interval, nock 2 m past the rest",
              {kMargin_px, baseline}, kSmall);
  canvas.text(archer_words(options.hand), {right_edge, baseline}, kSmall, Anchor::right);
  return baseline + 0.9 * kSmall.size_px;
}

double words_below(Canvas& canvas, const Shot& shot, const StillOptions& options, double top) {
  const double inner = kWidth_px - 2.0 * kMargin_px;
  double y = top + kGap_px;
  if (shot.in_bow) {
    const std::string seen = fmt::format(
        "As seen from behind, upright: {}, {}, nock 2 m past the rest.",
        rules::lateral_words(*shot.nock_right_deg), rules::vertical_words(*shot.nock_high_deg));
    y = canvas.paragraph(seen, kMargin_px, y, inner, kBody) + 12.0;
  }
  y = canvas.paragraph(sentence(shot.verdict.summary), kMargin_px, y, inner, kBodyBold) + 12.0;
  // What must not be shot again is said wherever the shot is shown.
  if (!shot.verdict.next_step.empty() && (options.next_step || forbids(shot.verdict.step))) {
    y = canvas.paragraph("Next step: " + sentence(shot.verdict.next_step), kMargin_px, y, inner,
                         kBody) +
        12.0;
  }
  for (const std::string& caution : shot.verdict.cautions) {
    if (!options.stops.empty() && caution == rules::caution::kBare) {
      continue;  // how to shoot what must not be shot
    }
    y = canvas.paragraph("Caution: " + sentence(caution), kMargin_px, y, inner, kCaution) + 6.0;
  }
  return canvas.paragraph("One shot: scatter between shots is not in the intervals.", kMargin_px,
                          y + 6.0, inner, kSmall);
}

// With what it was shot, below a rule of its own; returns the y below.
double foot(Canvas& canvas, const StillOptions& options, double top) {
  if (options.particulars.empty()) {
    return top;
  }
  const double inner = kWidth_px - 2.0 * kMargin_px;
  double y = top + 0.5 * kGap_px;
  canvas.path({{kMargin_px, y}, {kMargin_px + inner, y}}, {kRule, 2.0, {}, false});
  y += 0.5 * kGap_px;
  for (const std::string& line : options.particulars) {
    y = canvas.paragraph(rules::printable(line), kMargin_px, y, inner, kSmall) + 6.0;
  }
  return y;
}

cv::Mat first_of(const std::map<long, cv::Mat>& frames) {
  return frames.empty() ? cv::Mat() : frames.begin()->second;
}

cv::Mat refusal_still(const Reading& reading, const Shot* shot, std::size_t shot_number,
                      const FrameFetcher& fetch, const StillOptions& options) {
  Canvas canvas(kWidth_px, kMostHeight_px);
  const double inner = kWidth_px - 2.0 * kMargin_px;
  double y = forbidden(canvas, options, title(canvas, reading, shot_number));
  const bool no_shot = shot == nullptr && reading.status == ClipStatus::no_shot;
  canvas.text(no_shot ? "No shot found" : "Refused: no number is given",
              {kMargin_px, y + kFigures.size_px}, kFigures);
  y += 1.6 * kFigures.size_px;
  const std::string reason =
      shot != nullptr && !shot->reason.empty() ? shot->reason : reading.reason;
  y = canvas.paragraph(sentence(reason), kMargin_px, y, inner, kBody) + kGap_px;
  const long frame = shot != nullptr ? shot->reference_index : reading.clip.frames / 2;
  const cv::Mat picture = first_of(fetch({frame}));
  Box box{kMargin_px, y, inner, 780.0};
  if (!picture.empty()) {
    // The whole frame, as wide as the sheet or as tall as a landscape sheet would be.
    const double scale = std::min(inner / picture.cols, 1300.0 / picture.rows);
    box.width = std::round(scale * picture.cols);
    box.height = std::round(scale * picture.rows);
  }
  draw_plain_panel(canvas, box, picture);
  y = foot(canvas, options, box.bottom());
  return canvas.bgr(static_cast<int>(std::ceil(y + kMargin_px)));
}

}  // namespace

cv::Mat draw_still(const Reading& reading, std::size_t shot_number, const FrameFetcher& fetch,
                   const StillOptions& options) {
  const Shot* shot = shot_number < reading.shots.size() ? &reading.shots[shot_number] : nullptr;
  const bool from_side = shot != nullptr && shot->view == nocktrail::View::side;
  if (shot == nullptr || shot->status != ShotStatus::measured || !shot->nock_high_deg ||
      (!from_side && !shot->nock_right_deg)) {
    return refusal_still(reading, shot, shot_number, fetch, options);
  }
  Canvas canvas(kWidth_px, kMostHeight_px);
  const std::vector<Instant> all = drawable_instants(*shot);
  const std::vector<Instant> shown = spaced_instants(all);
  const cv::Mat strobe = strobe_picture(*shot, all, shown, fetch);

  double y = forbidden(canvas, options, title(canvas, reading, shot_number));
  y = headline(canvas, *shot, options, y);
  const bool portrait =
      strobe.empty() ? reading.clip.height > reading.clip.width : strobe.rows > strobe.cols;
  const Plan plan = plan_for(portrait, y);
  draw_strobe_panel(canvas, plan.strobe, strobe, all, shown, shot->limb_px);
  if (all.empty()) {
    draw_plain_panel(canvas, plan.enlarged, first_of(fetch({shot->reference_index})));
  } else {
    const FittedFrame& fitted = all[reference_distance_instant(all)].fitted;
    draw_enlarged_panel(canvas, plan.enlarged, first_of(fetch({fitted.index})), fitted);
  }
  if (!from_side) {  // the dial is the view from behind
    DialContent dial;
    dial.nock_right_deg = *shot->nock_right_deg;
    dial.nock_high_deg = *shot->nock_high_deg;
    dial.correlation = shot->right_high_correlation;
    dial.dead_band_deg = options.dead_band_deg;
    if (shot->in_bow) {
      dial.cant_deg = shot->in_bow->cant_deg;
    }
    draw_dial(canvas, plan.dial, dial);
  }
  y = foot(canvas, options, words_below(canvas, *shot, options, plan.bottom));
  return canvas.bgr(static_cast<int>(std::ceil(y + kMargin_px)));
}

}  // namespace nocktrail::picture
