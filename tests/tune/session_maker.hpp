// Sessions for the tests: facts of an invented bow, and shots with set offsets.
#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <vector>

#include "nocktrail/tune/judgement.hpp"

namespace nocktrail::tune::made {

inline constexpr double kInch = units::kMetresPerInch;
inline constexpr double kGrain = units::kKilogramsPerGrain;
inline constexpr double kPound = units::kNewtonsPerPoundForce;

inline SetupFacts facts(double length_in = 31.0, double nocking_point_in = 0.4375) {
  SetupFacts facts;
  facts.hand = Hand::right;
  facts.cant_deg = 0.0;
  facts.draw_m = 28.0 * kInch;
  facts.bow.name = "Ash stave";
  facts.bow.string = "B of 12 strands";
  facts.bow.draw_weight_n = 45.0 * kPound;
  facts.bow.brace_height_m = 7.25 * kInch;
  facts.bow.brace_min_m = 6.75 * kInch;
  facts.bow.brace_max_m = 7.75 * kInch;
  facts.bow.plate_offset_m = kInch / 16.0;
  facts.bow.nocking_point_m = nocking_point_in * kInch;
  facts.arrow.name = "tube";
  facts.arrow.spine = SpineTold{SpineConvention::deflection_in, 0.500};
  facts.arrow.shaft_length_m = length_in * kInch;
  facts.arrow.diameter_m = 0.30 * kInch;
  facts.arrow.mass_per_length_kg_per_m = 8.0 * kGrain / kInch;
  facts.arrow.nock_mass_kg = 10.0 * kGrain;
  facts.arrow.tip_mass_kg = 125.0 * kGrain;
  facts.arrow.fletching = Fletching::bare;
  return facts;
}

inline SetupFacts fletched(SetupFacts facts) {
  facts.arrow.fletching = Fletching::fletched;
  facts.arrow.fletching_mass_kg = 20.0 * kGrain;
  return facts;
}

// For the words of a step.
inline bool contains(const std::string& text, const char* part) {
  return text.find(part) != std::string::npos;
}

inline bool mentions(const std::vector<std::string>& texts, const char* wanted) {
  return std::any_of(texts.begin(), texts.end(), [&](const std::string& text) {
    return text.find(wanted) != std::string::npos;
  });
}

// Shots of a small even scatter about the given offsets; u95 0.3 deg each.
inline std::vector<ClipRecord> shots(double lat_deg, double vert_deg, int count = 6,
                                     double scatter_deg = 0.4) {
  std::vector<ClipRecord> clips;
  for (int i = 0; i < count; ++i) {
    // Alternate sides with unequal sizes: mean zero over any even count.
    const double size = scatter_deg * (0.6 + 0.35 * static_cast<double>(i / 2));
    const double off = (i == count - 1 && count % 2 == 1) ? 0.0 : (i % 2 == 0 ? size : -size);
    ClipRecord clip;
    clip.file = fmt::format("shot{}.mp4", i + 1);
    clip.reading.status = ClipStatus::measured;
    Shot shot;
    shot.status = ShotStatus::measured;
    shot.nock_right_deg = Measured{lat_deg + off, 0.3};
    shot.nock_high_deg = Measured{vert_deg - off, 0.3};
    clip.reading.shots.push_back(shot);
    clips.push_back(clip);
  }
  return clips;
}

inline SetupRecord setup(const std::string& name, const SetupFacts& facts, double lat_deg,
                         double vert_deg, int count = 6, double scatter_deg = 0.4) {
  return {name, facts, shots(lat_deg, vert_deg, count, scatter_deg)};
}

inline SessionRecord session(std::vector<SetupRecord> setups) {
  SessionRecord record;
  record.name = "made up";
  record.setups = std::move(setups);
  return record;
}

inline JudgementOptions quick() {
  JudgementOptions options;
  options.draws = 60;
  return options;
}

inline SessionJudgement judged(std::vector<SetupRecord> setups) {
  return judge_session(session(std::move(setups)), quick());
}

}  // namespace nocktrail::tune::made
