// An invented archer's tuning session, and a folder to keep a logbook in.
#pragma once

#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>

#include "nocktrail/tune/judgement.hpp"
#include "nocktrail/tune/session_data.hpp"
#include "scratch_folder.hpp"

namespace test {

namespace fs = std::filesystem;

using nocktrail::scratch::content;
using nocktrail::scratch::Folder;

inline void write(const fs::path& path, const std::string& bytes) {
  std::ofstream(path, std::ios::binary) << bytes;
}

inline nocktrail::Shot shot(double right_deg, double high_deg) {
  nocktrail::Shot s;
  s.status = nocktrail::ShotStatus::measured;
  s.exit_s = 0.8125;
  s.nock_right_deg = nocktrail::Measured{right_deg, 0.21};
  s.nock_high_deg = nocktrail::Measured{high_deg, 0.4};
  s.right_high_correlation = -0.1;
  s.speed_mps = nocktrail::Measured{51.3, 1.2};
  s.verdict.summary = "Nock left: weak.";
  return s;
}

inline nocktrail::tune::ClipRecord clip(const std::string& file, const std::string& sha256,
                                        const std::string& filmed_at, double right_deg,
                                        double high_deg) {
  nocktrail::tune::ClipRecord c;
  c.file = file;
  c.sha256 = sha256;
  c.filmed_at_utc = filmed_at;
  c.read_at_utc = "2026-06-01T08:00:00Z";
  c.program_version = "0.1.0";
  c.still = "nocktrail/" + file + ".png";
  c.reading.status = nocktrail::ClipStatus::measured;
  c.reading.clip.sha256 = sha256;
  c.reading.clip.capture_fps = 239.981;
  c.reading.camera.focal_px = 1386.7;
  c.reading.shots = {shot(right_deg, high_deg)};
  return c;
}

// Two set-ups of two shots: the nocking point brought down between them.
inline nocktrail::tune::SessionRecord heron_session() {
  using namespace nocktrail::tune;
  SessionRecord session;
  session.name = "heron, may";
  session.folder = "/home/robin/tuning/heron-may";
  SetupRecord high;
  high.name = "1 nock high";
  high.facts.hand = nocktrail::Hand::right;
  high.facts.bow.name = "Heron";
  high.facts.bow.string = "14 strands";
  high.facts.bow.draw_weight_n = 200.25;
  high.facts.bow.brace_height_m = 0.19;
  high.facts.bow.nocking_point_m = 0.015875;
  high.facts.arrow.name = "cedar";
  high.facts.arrow.spine = SpineTold{SpineConvention::wood_pounds, 50.0};
  high.facts.arrow.shaft_length_m = 0.762;
  high.facts.arrow.tip_mass_kg = 0.0081;
  high.facts.arrow.fletching = Fletching::bare;
  high.clips = {clip("a.mp4", "aa", "2026-05-30T09:00:00Z", -2.5, 1.5),
                clip("b.mp4", "bb", "2026-05-30T09:05:00Z", -2.25, 1.75)};
  SetupRecord lower = high;
  lower.name = "2 nock down";
  lower.facts.bow.nocking_point_m = 0.0127;
  lower.facts.notes = "wind from the left";
  lower.clips = {clip("c.mp4", "cc", "2026-05-30T10:00:00Z", -2.0, 0.25),
                 clip("d.mp4", "dd", "2026-05-30T10:05:00Z", -1.75, 0.0)};
  session.setups = {high, lower};
  return session;
}

inline nocktrail::tune::SessionJudgement heron_judgement() {
  using namespace nocktrail::tune;
  SessionJudgement judgement;
  SetupJudgement first;
  first.name = "1 nock high";
  first.counted = 2;
  first.lateral = OffsetSummary{-2.375, 0.5, 0.125, 1.0};
  first.vertical = OffsetSummary{1.625, 0.5, 0.125, 1.0};
  first.spine = nocktrail::SpineVerdict::weak;
  first.nocking_point = nocktrail::NockingPointVerdict::high;
  first.summary = "Weak, nocking point high.";
  first.warnings = {"only two shots", "uneven spacing"};
  SetupJudgement second = first;
  second.name = "2 nock down";
  second.lateral = OffsetSummary{-1.875, 0.5, 0.125, 1.0};
  second.vertical = OffsetSummary{0.125, 0.5, 0.125, 1.0};
  second.nocking_point = nocktrail::NockingPointVerdict::level;
  second.summary = "Weak, nocking point level.";
  judgement.setups = {first, second};
  return judgement;
}

}  // namespace test
