#include "rows.hpp"

#include <fmt/format.h>

#include <optional>
#include <vector>

#include "nocktrail/rules/words.hpp"
#include "nocktrail/version.hpp"
#include "words.hpp"

namespace nocktrail::logbook {

void append(Row& row, Row more) {
  row.insert(row.end(), more.begin(), more.end());
}

namespace {

Row measured_row(const std::string& column, const std::string& u95_column,
                 const std::optional<Measured>& measured) {
  return {{column, measured ? number(measured->value) : Value()},
          {u95_column, measured ? number(measured->u95) : Value()}};
}

std::string lines(const std::vector<std::string>& list) {
  return fmt::format("{}", fmt::join(list, "\n"));
}

void append_summary(Row& row, const std::string& name,
                    const std::optional<tune::OffsetSummary>& of) {
  append(row, {{name + "_deg", of ? number(of->mean_deg) : Value()},
               {name + "_u95_deg", of ? number(of->u95_deg) : Value()},
               {name + "_scatter_deg", of ? number(of->scatter_deg) : Value()},
               {name + "_freedom", of ? number(of->freedom) : Value()}});
}

}  // namespace

Row bow_row(const tune::BowFacts& bow) {
  return {{"name", text(bow.name)},
          {"draw_weight_n", number(bow.draw_weight_n)},
          {"rated_draw_m", number(bow.rated_draw_m)},
          {"brace_min_m", number(bow.brace_min_m)},
          {"brace_max_m", number(bow.brace_max_m)},
          {"min_grains_per_pound", number(bow.min_grains_per_pound)},
          {"max_draw_m", number(bow.max_draw_m)},
          {"max_draw_weight_n", number(bow.max_draw_weight_n)}};
}

Row arrow_row(const tune::ArrowFacts& arrow) {
  return {{"name", text(arrow.name)},
          {"spine_convention", arrow.spine ? word(arrow.spine->convention) : Value()},
          {"spine", arrow.spine ? number(arrow.spine->value) : Value()},
          {"groups", word(arrow.groups)},
          {"diameter_m", number(arrow.diameter_m)},
          {"mass_per_length_kg_per_m", number(arrow.mass_per_length_kg_per_m)},
          {"nock_mass_kg", number(arrow.nock_mass_kg)}};
}

Row changeable_row(const tune::SetupFacts& facts) {
  return {{"hand", word(facts.hand)},
          {"cant_deg", number(facts.cant_deg)},
          {"draw_m", number(facts.draw_m)},
          {"string", text(facts.bow.string)},
          {"string_mass_kg", number(facts.bow.string_mass_kg)},
          {"brace_height_m", number(facts.bow.brace_height_m)},
          {"plate_offset_m", number(facts.bow.plate_offset_m)},
          {"nocking_point_m", number(facts.bow.nocking_point_m)},
          {"shaft_length_m", number(facts.arrow.shaft_length_m)},
          {"arrow_length_m", number(facts.arrow.arrow_length_m)},
          {"tip_mass_kg", number(facts.arrow.tip_mass_kg)},
          {"total_mass_kg", number(facts.arrow.total_mass_kg)},
          {"fletching", word(facts.arrow.fletching)},
          {"fletching_mass_kg", number(facts.arrow.fletching_mass_kg)},
          {"accepted_nock_height", text(facts.accepted_nock_height)}};
}

Row clip_reading_row(const tune::ClipRecord& clip) {
  const ClipFacts& facts = clip.reading.clip;
  const bool read = clip.reading.status != ClipStatus::error;
  return {{"program_version", text(clip.program_version)},
          {"focal_px", read ? number(clip.reading.camera.focal_px) : Value()},
          {"focal_source", read ? word(clip.reading.camera.source) : Value()},
          {"capture_fps", read ? number(facts.capture_fps) : Value()},
          {"capture_fps_source", read ? word(facts.capture_fps_source) : Value()}};
}

Row shot_reading_row(const Shot& shot) {
  Row row = {{"status", word(shot.status)},
             {"reason", text(shot.reason)},
             {"loose_s", number(shot.loose_s)},
             {"exit_s", number(shot.exit_s)}};
  append(row, measured_row("nock_right_deg", "nock_right_u95_deg", shot.nock_right_deg));
  append(row, measured_row("nock_high_deg", "nock_high_u95_deg", shot.nock_high_deg));
  append(row, {{"right_high_correlation", number(shot.right_high_correlation)}});
  append(row, measured_row("nock_right_slope_deg_per_m", "nock_right_slope_u95_deg_per_m",
                           shot.nock_right_slope_deg_per_m));
  append(row, measured_row("nock_high_slope_deg_per_m", "nock_high_slope_u95_deg_per_m",
                           shot.nock_high_slope_deg_per_m));
  append(row, measured_row("speed_mps", "speed_u95_mps", shot.speed_mps));
  std::optional<Measured> hz;
  std::optional<Measured> mm;
  if (shot.flex) {
    hz = shot.flex->frequency_hz;
    mm = shot.flex->amplitude_mm;
  }
  append(row, measured_row("flex_hz", "flex_u95_hz", hz));
  append(row, measured_row("flex_mm", "flex_u95_mm", mm));
  std::optional<double> cant;
  std::optional<Measured> right;
  std::optional<Measured> high;
  if (shot.in_bow) {
    cant = shot.in_bow->cant_deg;
    right = shot.in_bow->nock_right_deg;
    high = shot.in_bow->nock_high_deg;
  }
  append(row, {{"cant_deg", number(cant)},
               {"cant_u95_deg", shot.bow ? number(shot.bow->cant_deg.u95) : Value()},
               {"cant_source", shot.bow ? word(shot.bow->source) : Value()},
               {"bow_correlation", shot.in_bow ? number(shot.in_bow->correlation) : Value()},
               {"view", word(shot.view)},
               {"read_by", word(shot.by)}});
  append(row, measured_row("bow_right_deg", "bow_right_u95_deg", right));
  append(row, measured_row("bow_high_deg", "bow_high_u95_deg", high));
  append(row, {{"spine", word(shot.verdict.spine)},
               {"nocking_point", word(shot.verdict.nocking_point)},
               {"summary", text(shot.verdict.summary)},
               {"step", text(rules::word(shot.verdict.step))},
               {"next_step", text(shot.verdict.next_step)}});
  return row;
}

Row verdict_row(const tune::SetupJudgement& judged) {
  Row row = {{"program_version", text(kVersion)},
             {"counted", whole(judged.counted)},
             {"refused", whole(judged.refused)}};
  append_summary(row, "lateral", judged.lateral);
  append_summary(row, "vertical", judged.vertical);
  append(row, {{"correlation", number(judged.correlation)},
               {"cant_deg", number(judged.bow.cant_deg.value)},
               {"cant_u95_deg", number(judged.bow.cant_deg.u95)},
               {"cant_source", word(judged.bow.source)},
               {"spine", word(judged.spine)},
               {"nocking_point", word(judged.nocking_point)},
               {"summary", text(judged.summary)},
               {"warnings", text(lines(judged.warnings))}});
  return row;
}

Row advice_row(const tune::Step& step) {
  return {
      {"program_version", text(kVersion)},     {"kind", text(rules::word(step.kind))},
      {"amount", number(step.amount)},         {"words", text(step.words)},
      {"because", text(step.because)},         {"overshoot_chance", number(step.overshoot_chance)},
      {"cautions", text(lines(step.cautions))}};
}

std::map<std::string, std::string> outliers_of(const tune::SessionJudgement& judgement,
                                               const std::string& setup) {
  std::map<std::string, std::string> why;
  for (const tune::SetupJudgement& judged : judgement.setups) {
    if (judged.name != setup) {
      continue;
    }
    for (const tune::JudgedShot& shot : judged.shots) {
      if (shot.outlier) {
        why[shot.clip] = shot.why.empty() ? "far from the others" : shot.why;
      }
    }
  }
  return why;
}

}  // namespace nocktrail::logbook
