// An invented session; no real archer, bow or arrow, and offsets made up, not measured.
#pragma once

#include <cmath>
#include <string>
#include <vector>

#include "nocktrail/tune/judgement.hpp"
#include "nocktrail/tune/session_data.hpp"

namespace nocktrail::test {

inline double inches(double value) {
  return value * units::kMetresPerInch;
}
inline double grains(double value) {
  return value * units::kKilogramsPerGrain;
}

struct SampleSetup {
  const char* name;
  double shaft_in;
  double nocking_point_in;
  tune::Fletching fletching;
  double lat_deg;
  double vert_deg;
};

inline const std::vector<SampleSetup>& sample_setups() {
  static const std::vector<SampleSetup> setups{
      {"1-full-length", 31.0, 0.75, tune::Fletching::fletched, -3.9, 2.4},
      {"2-nock-lower", 31.0, 0.5, tune::Fletching::fletched, -3.7, 0.3},
      {"3-trimmed", 30.75, 0.5, tune::Fletching::fletched, -2.6, 0.2},
      {"4-trimmed", 30.5, 0.5, tune::Fletching::bare, -1.4, 0.1},
      {"5-bare", 30.25, 0.5, tune::Fletching::bare, -0.1, 0.1}};
  return setups;
}

// A spread that repeats, about 1 in standard deviation over six shots.
inline double sway(int setup, int shot, bool vertical) {
  constexpr double kSway[6] = {0.4, -1.1, 1.3, -0.2, 0.9, -1.3};
  return kSway[(shot * (vertical ? 5 : 1) + 2 * setup + (vertical ? 3 : 0)) % 6];
}

inline tune::SessionRecord sample_session(int shots_each = 6) {
  tune::SessionRecord session;
  session.name = "Rook Hollow 45, spring set";
  session.folder = "/nowhere/rook-hollow";
  int setup_number = 0;
  for (const SampleSetup& sample : sample_setups()) {
    tune::SetupRecord setup;
    setup.name = sample.name;
    setup.facts.hand = Hand::right;
    setup.facts.cant_deg = 10.0;
    setup.facts.draw_m = inches(28.0);
    setup.facts.bow.name = "Rook Hollow 45";
    setup.facts.bow.string = "flemish, 12 strands";
    setup.facts.bow.draw_weight_n = 45.0 * units::kNewtonsPerPoundForce;
    setup.facts.bow.brace_height_m = inches(7.5);
    setup.facts.bow.brace_min_m = inches(7.0);
    setup.facts.bow.brace_max_m = inches(8.0);
    setup.facts.bow.plate_offset_m = inches(0.125);
    setup.facts.bow.nocking_point_m = inches(sample.nocking_point_in);
    setup.facts.arrow.name = "alder grey";
    setup.facts.arrow.spine = tune::SpineTold{tune::SpineConvention::deflection_in, 0.600};
    setup.facts.arrow.shaft_length_m = inches(sample.shaft_in);
    setup.facts.arrow.tip_mass_kg = grains(125.0);
    setup.facts.arrow.fletching = sample.fletching;
    for (int i = 0; i < shots_each; ++i) {
      tune::ClipRecord clip;
      clip.file = "evening-" + std::to_string(setup_number + 1) + std::to_string(i + 1) + ".mp4";
      clip.sha256 = std::string(60, 'a') + std::to_string(1000 + 10 * setup_number + i);
      clip.reading.status = ClipStatus::measured;
      Shot shot;
      shot.status = ShotStatus::measured;
      shot.nock_right_deg = Measured{sample.lat_deg + 0.35 * sway(setup_number, i, false), 0.30};
      shot.nock_high_deg = Measured{sample.vert_deg + 0.30 * sway(setup_number, i, true), 0.40};
      shot.nock_right_slope_deg_per_m = Measured{0.25 + 0.1 * sway(setup_number, i, true), 0.20};
      shot.nock_high_slope_deg_per_m = Measured{-0.10 + 0.1 * sway(setup_number, i, false), 0.25};
      shot.right_high_correlation = -0.2;
      clip.reading.shots.push_back(shot);
      setup.clips.push_back(clip);
    }
    session.setups.push_back(setup);
    ++setup_number;
  }
  if (shots_each >= 3) {
    session.setups[1].clips[2].dropped = "plucked";
    tune::ClipRecord refused;
    refused.file = "evening-1x.mp4";
    refused.reading.status = ClipStatus::refused;
    refused.reading.reason = "The arrow shows in too few frames for an offset.";
    session.setups[0].clips.push_back(refused);
  }
  return session;
}

// As a judgement would read, filled in by hand.
inline tune::SessionJudgement sample_judgement(const tune::SessionRecord& session) {
  tune::SessionJudgement judgement;
  int setup_number = 0;
  for (const tune::SetupRecord& record : session.setups) {
    const SampleSetup& sample = sample_setups()[static_cast<std::size_t>(setup_number)];
    tune::SetupJudgement setup;
    setup.name = record.name;
    for (const tune::ClipRecord& clip : record.clips) {
      if (clip.reading.status != ClipStatus::measured) {
        ++setup.refused;
        continue;
      }
      const Shot& shot = clip.reading.shots[0];
      tune::JudgedShot judged;
      judged.clip = clip.file;
      judged.lat_deg = *shot.nock_right_deg;
      judged.vert_deg = *shot.nock_high_deg;
      judged.correlation = -0.2;
      judged.dropped = !clip.dropped.empty();
      judged.why = clip.dropped;
      setup.shots.push_back(judged);
      setup.counted += judged.dropped ? 0 : 1;
    }
    if (setup_number == 2 && setup.shots.size() > 4) {
      setup.shots[4].outlier = true;
      setup.shots[4].why = "1.6 deg from the others sideways";
    }
    setup.lateral = tune::OffsetSummary{sample.lat_deg, 0.38, 0.33, 5.4};
    setup.vertical = tune::OffsetSummary{sample.vert_deg, 0.36, 0.28, 5.8};
    setup.correlation = -0.25;
    setup.spine = setup_number < 4 ? SpineVerdict::weak : SpineVerdict::matched;
    setup.nocking_point =
        setup_number == 0 ? NockingPointVerdict::high : NockingPointVerdict::level;
    setup.summary = setup_number == 4
                        ? "The arrow leaves straight: spine matched, nocking point level."
                        : "The shaft acts weak; trim a little at a time.";
    if (setup_number == 2) {
      setup.warnings.push_back("One shot stands far from the others: mind the release.");
    }
    judgement.setups.push_back(setup);
    ++setup_number;
  }

  tune::Learned lateral;
  lateral.quantity = tune::Quantity::shaft_length;
  tune::Learned::Curve prior;
  for (int i = 0; i <= 40; ++i) {
    const double length_in = 29.75 + 0.0375 * i;
    const double past = length_in - 30.23;
    prior.at.push_back(inches(length_in));
    prior.offset_deg.push_back({-3.4 * past, -3.4 * past - 3.0, -3.4 * past + 3.0});
    lateral.posterior.at.push_back(inches(length_in));
    const double half = 0.2 + 0.15 * std::abs(length_in - 30.5);
    lateral.posterior.offset_deg.push_back({-4.9 * past, -4.9 * past - half, -4.9 * past + half});
  }
  lateral.prior = prior;
  for (int i = 1; i < 5; ++i) {
    const SampleSetup& sample = sample_setups()[static_cast<std::size_t>(i)];
    lateral.data.push_back({sample.name, inches(sample.shaft_in), {sample.lat_deg, 0.38}});
  }
  lateral.slope_deg_per_unit = {-4.9 / inches(1.0), -5.6 / inches(1.0), -4.2 / inches(1.0)};
  lateral.prior_slope_deg_per_unit =
      arrow::Band{-3.4 / inches(1.0), -6.5 / inches(1.0), -1.2 / inches(1.0)};
  lateral.straight_at = arrow::Band{inches(30.23), inches(30.18), inches(30.27)};
  lateral.prior_words = "From the arrow model, 400 draws of what no archer measures.";
  judgement.learned.push_back(lateral);

  tune::Learned vertical;
  vertical.quantity = tune::Quantity::nocking_point;
  vertical.vertical = true;
  for (int i = 0; i <= 20; ++i) {
    const double at_in = 0.4 + 0.02 * i;
    const double middle = 0.3 + 8.4 * (at_in - 0.5);
    vertical.posterior.at.push_back(inches(at_in));
    vertical.posterior.offset_deg.push_back({middle, middle - 0.4, middle + 0.4});
  }
  vertical.data = {{"1-full-length", inches(0.75), {2.4, 0.36}},
                   {"2-nock-lower", inches(0.5), {0.3, 0.36}}};
  vertical.slope_deg_per_unit = {8.4 / inches(1.0), 6.0 / inches(1.0), 10.8 / inches(1.0)};
  vertical.straight_at = arrow::Band{inches(0.464), inches(0.41), inches(0.5)};
  judgement.learned.push_back(vertical);

  judgement.next.kind = StepKind::done;
  judgement.next.words = "Leave the set-up as it is and build the set to the sheet.";
  judgement.next.because = "both offsets lie inside the dead band with their 95 % intervals";
  judgement.next.cautions = {"Flex and look over every shaft before each shot."};
  judgement.cautions = {"Shoot bare shafts close to a large soft butt; they may glance."};

  tune::BuildSheet sheet;
  sheet.bow = {{"Bow", "Rook Hollow 45, 45 lb at 28 in", ""},
               {"Brace height", "7 1/2 in (190.5 mm)", "± 1/8 in"},
               {"Nocking point above square", "1/2 in (12.7 mm)", "± 1/32 in"},
               {"String", "flemish, 12 strands", ""},
               {"Strike plate", "1/8 in (3.2 mm) outside", "± 1/64 in"}};
  sheet.arrow = {{"Finished shaft length, without the tip", "30 1/4 in (768.4 mm)", "± 1/16 in"},
                 {"Tip weight", "125 gr (8.10 g)", "± 3 gr"},
                 {"Static spine", "0.600 in deflection", "± 0.015 in"},
                 {"Total mass", "", "± 8 gr"},
                 {"FOC", "13.8 %", ""}};
  sheet.offsets = "Measured: nock left 0.10 ± 0.38 deg, nock high 0.10 ± 0.36 deg.";
  sheet.columns = {"Length", "Spine", "Tip", "Mass", "Balance"};
  sheet.cautions = {"Never trim so far that the arrow could be drawn past the rest.",
                    "Cut carbon wet, with mask, goggles and gloves."};
  judgement.build_sheet = sheet;
  return judgement;
}

}  // namespace nocktrail::test
