// A reading as it is kept: the schema of readings, and beside it what is needed to judge it anew
// and to draw it anew without the measuring.
#include <fmt/format.h>

#include <nlohmann/json.hpp>
#include <span>

#include "nocktrail/error.hpp"
#include "nocktrail/report/json.hpp"
#include "nocktrail/report/json_whole.hpp"
#include "results.hpp"

namespace nocktrail::session {
namespace {

using Json = nlohmann::ordered_json;

constexpr const char* kSchema = "nocktrail.session-reading/1";

Json number(const std::optional<double>& value) {
  return value ? Json(*value) : Json(nullptr);
}

std::optional<double> number_from(const Json& j) {
  return j.is_null() ? std::nullopt : std::optional<double>(j.get<double>());
}

Json point(const Eigen::Vector2d& p) {
  return Json::array({p.x(), p.y()});
}

Eigen::Vector2d point_from(const Json& j) {
  return {j.at(0).get<double>(), j.at(1).get<double>()};
}

// Not-finite numbers become null in JSON; such a frame is of no use to a picture.
bool finite(const FittedFrame& f) {
  return f.nock_px.allFinite() && f.tip_px.allFinite() && f.straight_nock_px.allFinite() &&
         std::isfinite(f.nock_z_m) && std::isfinite(f.t_s) && f.reference_from_frame.allFinite();
}

Json fitted_json(const FittedFrame& f) {
  Json matrix = Json::array();
  for (int row = 0; row < 3; ++row) {
    for (int column = 0; column < 3; ++column) {
      matrix.push_back(f.reference_from_frame(row, column));
    }
  }
  return {{"index", f.index},
          {"t_s", f.t_s},
          {"nock_px", point(f.nock_px)},
          {"tip_px", point(f.tip_px)},
          {"straight_nock_px", point(f.straight_nock_px)},
          {"nock_z_m", f.nock_z_m},
          {"reference_from_frame", matrix}};
}

FittedFrame fitted_from(const Json& j) {
  FittedFrame f;
  f.index = report::whole_number<int>(j.at("index"));
  f.t_s = j.at("t_s").get<double>();
  f.nock_px = point_from(j.at("nock_px"));
  f.tip_px = point_from(j.at("tip_px"));
  f.straight_nock_px = point_from(j.at("straight_nock_px"));
  f.nock_z_m = j.at("nock_z_m").get<double>();
  for (int row = 0; row < 3; ++row) {
    for (int column = 0; column < 3; ++column) {
      const auto place = 3U * static_cast<std::size_t>(row) + static_cast<std::size_t>(column);
      f.reference_from_frame(row, column) = j.at("reference_from_frame").at(place).get<double>();
    }
  }
  return f;
}

}  // namespace

std::string to_json(const StoredReading& stored) {
  Json shots = Json::array();
  for (const Shot& shot : stored.reading.shots) {
    Json fitted = Json::array();
    for (const FittedFrame& frame : shot.fitted) {
      if (finite(frame)) {
        fitted.push_back(fitted_json(frame));
      }
    }
    shots.push_back(
        {{"right_high_correlation",
          std::isfinite(shot.right_high_correlation) ? shot.right_high_correlation : 0.0},
         {"reference_index", shot.reference_index},
         {"fitted", fitted}});
  }
  const Json document = {{"schema", kSchema},
                         {"program_version", stored.with.program_version},
                         {"read_at_utc", stored.read_at_utc},
                         {"filmed_at_utc", stored.filmed_at_utc},
                         {"read_with",
                          {{"arrow_length_m", number(stored.with.arrow_length_m)},
                           {"focal_35mm", number(stored.with.focal_35mm)},
                           {"capture_fps", number(stored.with.capture_fps)},
                           {"target_distance_m", number(stored.with.target_distance_m)},
                           {"marks", stored.with.marks}}},
                         {"reading", Json::parse(report::json_text(std::span(&stored.reading, 1)))},
                         {"beside", shots}};
  return document.dump() + "\n";
}

StoredReading stored_from_json(std::string_view text, std::string_view source) {
  try {
    const Json j = Json::parse(text);
    if (j.at("schema") != kSchema) {
      throw BadInput(fmt::format("{}: not of schema {}", source, kSchema));
    }
    StoredReading stored;
    stored.with.program_version = j.at("program_version").get<std::string>();
    stored.read_at_utc = j.at("read_at_utc").get<std::string>();
    stored.filmed_at_utc = j.value("filmed_at_utc", "");
    const Json& with = j.at("read_with");
    stored.with.arrow_length_m = number_from(with.at("arrow_length_m"));
    stored.with.focal_35mm = number_from(with.at("focal_35mm"));
    stored.with.capture_fps = number_from(with.at("capture_fps"));
    if (with.contains("target_distance_m")) {
      stored.with.target_distance_m = number_from(with.at("target_distance_m"));
    }
    stored.with.marks = with.value("marks", "");
    static_cast<void>(j.at("reading").at("clip").at("cut_short"));  // else from before it was told
    stored.reading = report::readings_from_json(j.at("reading").dump(), source).at(0);
    const Json& beside = j.at("beside");
    for (std::size_t i = 0; i < stored.reading.shots.size(); ++i) {
      Shot& shot = stored.reading.shots[i];
      shot.right_high_correlation = beside.at(i).at("right_high_correlation").get<double>();
      shot.reference_index = report::whole_number<int>(beside.at(i).at("reference_index"));
      for (const Json& frame : beside.at(i).at("fitted")) {
        shot.fitted.push_back(fitted_from(frame));
      }
    }
    return stored;
  } catch (const nlohmann::json::exception& fault) {
    throw BadInput(fmt::format("{}: damaged ({}); remove it, and the clip is read again", source,
                               fault.what()));
  }
}

}  // namespace nocktrail::session
