#include "nocktrail/tune/judgement_json.hpp"

#include <cmath>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>

#include "nocktrail/rules/words.hpp"

namespace nocktrail::tune {
namespace {

using nlohmann::json;

json number(double value) {
  return std::isfinite(value) ? json(value) : json(nullptr);
}

json number(const std::optional<double>& value) {
  return value ? number(*value) : json(nullptr);
}

json text(const std::string& value) {
  return value.empty() ? json(nullptr) : json(rules::printable(value));
}

json texts(const std::vector<std::string>& values) {
  json list = json::array();
  for (const std::string& value : values) {
    list.push_back(rules::printable(value));
  }
  return list;
}

json measured_json(const Measured& measured) {
  if (!std::isfinite(measured.value) || !std::isfinite(measured.u95)) {
    return nullptr;
  }
  return {{"value", measured.value}, {"u95", measured.u95}};
}

json band_json(const arrow::Band& band) {
  return {{"median", number(band.median)},
          {"low95", number(band.low95)},
          {"high95", number(band.high95)}};
}

json band_json(const std::optional<arrow::Band>& band) {
  return band ? band_json(*band) : json(nullptr);
}

json summary_json(const std::optional<OffsetSummary>& summary) {
  if (!summary) {
    return nullptr;
  }
  return {{"mean_deg", number(summary->mean_deg)},
          {"u95_deg", number(summary->u95_deg)},
          {"cant_u95_deg", number(summary->cant_u95_deg)},
          {"lasting_u95_deg", number(summary->lasting_u95_deg)},
          {"scatter_deg", number(summary->scatter_deg)},
          {"freedom", number(summary->freedom)}};
}

json bow_json(const Bow& bow) {
  const char* source = bow.source == BowSource::seen   ? "seen"
                       : bow.source == BowSource::told ? "told"
                                                       : "assumed";
  return {{"cant_deg", measured_json(bow.cant_deg)},
          {"hand", bow.hand == Hand::unknown ? json(nullptr)
                                             : json(bow.hand == Hand::left ? "left" : "right")},
          {"source", source}};
}

json setup_json(const SetupJudgement& setup) {
  json shots = json::array();
  for (const JudgedShot& shot : setup.shots) {
    shots.push_back({{"clip", rules::printable(shot.clip)},
                     {"lat_deg", measured_json(shot.lat_deg)},
                     {"vert_deg", measured_json(shot.vert_deg)},
                     {"correlation", number(shot.correlation)},
                     {"place", shot.place + 1},
                     {"dropped", shot.dropped},
                     {"outlier", shot.outlier},
                     {"why", text(shot.why)}});
  }
  json side_shots = json::array();
  for (const SideShot& shot : setup.side_shots) {
    side_shots.push_back({{"clip", rules::printable(shot.clip)},
                          {"high_deg", measured_json(shot.high_deg)},
                          {"vert_deg", shot.vert_deg ? measured_json(*shot.vert_deg) : json()},
                          {"dropped", shot.dropped},
                          {"why", text(shot.why)}});
  }
  return {{"name", rules::printable(setup.name)},
          {"shots", shots},
          {"side_shots", side_shots},
          {"counted", setup.counted},
          {"refused", setup.refused},
          {"stops", texts(setup.stops)},
          {"bow", bow_json(setup.bow)},
          {"lateral", summary_json(setup.lateral)},
          {"vertical", summary_json(setup.vertical)},
          {"correlation", number(setup.correlation)},
          {"spine", rules::word(setup.spine)},
          {"nocking_point", rules::word(setup.nocking_point)},
          {"summary", text(setup.summary)},
          {"warnings", texts(setup.warnings)}};
}

json curve_json(const Learned::Curve& curve) {
  json points = json::array();
  for (std::size_t i = 0; i < curve.at.size() && i < curve.offset_deg.size(); ++i) {
    points.push_back({{"at", number(curve.at[i])}, {"offset_deg", band_json(curve.offset_deg[i])}});
  }
  return points;
}

json learned_json(const Learned& learned) {
  json data = json::array();
  for (const Learned::Point& point : learned.data) {
    data.push_back({{"setup", rules::printable(point.setup)},
                    {"at", number(point.at)},
                    {"offset_deg", measured_json(point.offset_deg)}});
  }
  return {{"quantity", word(learned.quantity)},
          {"unit", learned.quantity == Quantity::tip_mass ? "kg"
                   : learned.quantity == Quantity::spine  ? "N m2"
                                                          : "m"},
          {"offset", learned.vertical ? "vertical" : "lateral"},
          {"data", data},
          {"prior", learned.prior ? curve_json(*learned.prior) : json(nullptr)},
          {"posterior", curve_json(learned.posterior)},
          {"slope_deg_per_unit", band_json(learned.slope_deg_per_unit)},
          {"prior_slope_deg_per_unit", band_json(learned.prior_slope_deg_per_unit)},
          {"straight_at", band_json(learned.straight_at)},
          {"prior_words", text(learned.prior_words)}};
}

json step_json(const Step& step) {
  return {{"kind", rules::word(step.kind)},
          {"amount", number(step.amount)},
          {"words", text(step.words)},
          {"because", text(step.because)},
          {"overshoot_chance", number(step.overshoot_chance)},
          {"cautions", texts(step.cautions)}};
}

json lines_json(const std::vector<BuildLine>& lines) {
  json list = json::array();
  for (const BuildLine& line : lines) {
    list.push_back({{"what", text(line.what)},
                    {"value", text(line.value)},
                    {"tolerance", text(line.tolerance)}});
  }
  return list;
}

json sheet_json(const std::optional<BuildSheet>& sheet) {
  if (!sheet) {
    return nullptr;
  }
  return {{"bow", lines_json(sheet->bow)},   {"arrow", lines_json(sheet->arrow)},
          {"offsets", text(sheet->offsets)}, {"columns", texts(sheet->columns)},
          {"arrows", sheet->arrows},         {"cautions", texts(sheet->cautions)}};
}

}  // namespace

json judgement_json(const SessionRecord& session, const SessionJudgement& judgement) {
  json setups = json::array();
  for (const SetupJudgement& setup : judgement.setups) {
    setups.push_back(setup_json(setup));
  }
  json learned = json::array();
  for (const Learned& each : judgement.learned) {
    learned.push_back(learned_json(each));
  }
  return {{"schema", "nocktrail.session/2"},
          {"session", text(session.name)},
          {"made_up", text(session.made_up)},
          {"next", step_json(judgement.next)},
          {"setups", setups},
          {"learned", learned},
          {"build_sheet", sheet_json(judgement.build_sheet)},
          {"cautions", texts(judgement.cautions)}};
}

}  // namespace nocktrail::tune
