#include <fmt/format.h>

#include <charconv>
#include <nlohmann/json.hpp>

#include "nocktrail/error.hpp"
#include "nocktrail/report/json.hpp"
#include "nocktrail/report/json_whole.hpp"
#include "schema_words.hpp"

namespace nocktrail::report {
namespace {

using Json = nlohmann::json;

double number_or(const Json& value, double unknown) {
  return value.is_null() ? unknown : value.get<double>();
}

template <typename Integer>
Integer integer_or(const Json& value, Integer unknown) {
  return value.is_null() ? unknown : whole_number<Integer>(value);
}

std::optional<double> optional_number(const Json& value) {
  return value.is_null() ? std::nullopt : std::optional<double>(value.get<double>());
}

std::string words(const Json& value) {
  return value.is_null() ? "" : value.get<std::string>();
}

std::optional<Measured> measured(const Json& value) {
  if (value.is_null()) {
    return std::nullopt;
  }
  return Measured{value.at("value").get<double>(), value.at("u95").get<double>()};
}

std::optional<Eigen::Vector2d> point(const Json& value) {
  if (value.is_null()) {
    return std::nullopt;
  }
  return Eigen::Vector2d(value.at(0).get<double>(), value.at(1).get<double>());
}

template <typename Enum, std::size_t N>
Enum enumeration(const WordTable<Enum, N>& table, const Json& value) {
  const std::string word = value.get<std::string>();
  const std::optional<Enum> found = value_of(table, word);
  if (!found) {
    throw BadInput(fmt::format("\"{}\" is not one of its words", word));
  }
  return *found;
}

FrameObservation frame_from(const Json& j) {
  FrameObservation o;
  o.index = whole_number<int>(j.at("index"));
  o.t_s = number_or(j.at("t_s"), 0.0);
  o.nock_px = point(j.at("nock_px"));
  o.tip_px = point(j.at("tip_px"));
  o.used = j.at("used").get<bool>();
  return o;
}

// Keys that schema /1 did not have.
const Json& since_2(const Json& object, const char* key) {
  static const Json none;
  const auto found = object.find(key);
  return found == object.end() ? none : *found;
}

std::optional<SharedError> shared_from(const Json& right, const Json& high,
                                       const Json& correlation) {
  if (high.is_null()) {
    return std::nullopt;
  }
  // From the side there is nothing to the right, and so nothing shared of it.
  const auto right_u95 =
      right.is_null() ? std::optional<double>(0.0) : optional_number(since_2(right, "u95_shared"));
  const auto high_u95 = optional_number(since_2(high, "u95_shared"));
  if (!right_u95 || !high_u95) {
    return std::nullopt;
  }
  return SharedError{*right_u95, *high_u95, number_or(correlation, 0.0)};
}

std::optional<FilmedFrom> filmed_from(const Json& j) {
  if (j.is_null()) {
    return std::nullopt;
  }
  const auto right = measured(j.at("right_m"));
  const auto above = measured(j.at("above_m"));
  const auto behind = measured(j.at("behind_m"));
  const std::string hex = j.at("backdrop").get<std::string>();
  FilmedFrom from;
  for (std::size_t i = 0; i + 1 < hex.size(); i += 2) {
    const char* const at = hex.data() + i;
    std::uint8_t grey = 0;
    if (std::from_chars(at, at + 2, grey, 16).ptr != at + 2) {
      return std::nullopt;
    }
    from.backdrop.push_back(grey);
  }
  if (!right || !above || !behind ||
      from.backdrop.size() != static_cast<std::size_t>(kBackdropSide) * kBackdropSide) {
    return std::nullopt;
  }
  from.right_m = *right;
  from.above_m = *above;
  from.behind_m = *behind;
  return from;
}

Shot shot_from(const Json& j) {
  Shot s;
  if (const Json& view = since_2(j, "view"); !view.is_null()) {
    s.view = enumeration(kViews, view);
  }
  if (const Json& by = since_2(j, "by"); !by.is_null()) {
    s.by = enumeration(kReadBy, by);
  }
  s.status = enumeration(kShotStatuses, j.at("status"));
  s.reason = words(j.at("reason"));
  s.loose_s = optional_number(j.at("loose_s"));
  s.exit_s = optional_number(j.at("exit_s"));
  s.nock_right_deg = measured(j.at("nock_right_deg"));
  s.nock_high_deg = measured(j.at("nock_high_deg"));
  s.nock_right_slope_deg_per_m = measured(j.at("nock_right_slope_deg_per_m"));
  s.nock_high_slope_deg_per_m = measured(j.at("nock_high_slope_deg_per_m"));
  s.right_high_correlation = number_or(since_2(j, "correlation"), 0.0);
  s.shared =
      shared_from(j.at("nock_right_deg"), j.at("nock_high_deg"), since_2(j, "correlation_shared"));
  s.filmed_from = filmed_from(since_2(j, "filmed_from"));
  s.speed_mps = measured(j.at("speed_mps"));
  if (const Json& f = j.at("flex"); !f.is_null()) {
    s.flex = Flex{measured(f.at("frequency_hz")).value_or(Measured{}),
                  measured(f.at("amplitude_mm")).value_or(Measured{})};
  }
  s.cant_seen_deg = measured(since_2(j, "cant_seen_deg"));
  if (const Json& b = since_2(j, "bow"); !b.is_null()) {
    s.bow = Bow{measured(b.at("cant_deg")).value_or(Measured{}),
                b.at("hand").is_null() ? Hand::unknown : enumeration(kHands, b.at("hand")),
                enumeration(kBowSources, b.at("source"))};
    if (s.bow->source == BowSource::seen && !s.cant_seen_deg) {
      s.cant_seen_deg = s.bow->cant_deg;  // of a program that writes no more than the schema
    }
  }
  if (const Json& b = j.at("in_bow"); !b.is_null()) {
    s.in_bow = InBow{number_or(b.at("cant_deg"), 0.0),
                     measured(b.at("nock_right_deg")).value_or(Measured{}),
                     measured(b.at("nock_high_deg")).value_or(Measured{}),
                     number_or(since_2(b, "correlation"), 0.0),
                     shared_from(b.at("nock_right_deg"), b.at("nock_high_deg"),
                                 since_2(b, "correlation_shared"))};
  }
  for (const Json& f : j.at("frames")) {
    s.frames.push_back(frame_from(f));
  }
  const Json& v = j.at("verdict");
  s.verdict.spine = enumeration(kSpineVerdicts, v.at("spine"));
  s.verdict.nocking_point = enumeration(kNockingPointVerdicts, v.at("nocking_point"));
  s.verdict.summary = words(v.at("summary"));
  if (const Json& step = since_2(v, "step"); !step.is_null()) {
    s.verdict.step = enumeration(rules::kStepWords, step);
  }
  return s;
}

Reading reading_from(const Json& j) {
  if (const std::string schema = words(j.at("schema"));
      schema != kSchema && schema != kSchemaBefore) {
    throw BadInput(fmt::format("schema \"{}\" is not one that this program knows ({}, {})", schema,
                               kSchema, kSchemaBefore));
  }
  Reading r;
  const Json& c = j.at("clip");
  r.clip.path = words(c.at("path"));
  r.clip.sha256 = words(c.at("sha256"));
  r.clip.codec = words(c.at("codec"));
  r.clip.width = integer_or(c.at("width"), 0);
  r.clip.height = integer_or(c.at("height"), 0);
  r.clip.rotation_deg = integer_or(c.at("rotation_deg"), 0);
  r.clip.mirrored = c.at("mirrored").is_boolean() && c.at("mirrored").get<bool>();
  if (const Json& mirrored = since_2(c, "picture_mirrored"); mirrored.is_boolean()) {
    r.clip.picture_mirrored = mirrored.get<bool>();
  }
  r.clip.frames = integer_or(c.at("frames"), 0L);
  r.clip.duration_s = number_or(c.at("duration_s"), 0.0);
  r.clip.capture_fps = number_or(c.at("capture_fps"), 0.0);
  if (const Json& source = c.at("capture_fps_source"); !source.is_null()) {
    r.clip.capture_fps_source = enumeration(kRateSources, source);
  }
  // Not in readings from before it was looked at.
  r.clip.cut_short =
      c.contains("cut_short") && c["cut_short"].is_boolean() && c["cut_short"].get<bool>();
  const Json& camera = j.at("camera");
  r.camera.focal_px = number_or(camera.at("focal_px"), 0.0);
  if (const Json& source = camera.at("focal_source"); !source.is_null()) {
    r.camera.source = enumeration(kFocalSources, source);
  }
  r.status = enumeration(kClipStatuses, j.at("status"));
  r.reason = words(j.at("reason"));
  for (const Json& s : j.at("shots")) {
    r.shots.push_back(shot_from(s));
  }
  return r;
}

}  // namespace

std::vector<Reading> readings_from_json(std::string_view text, std::string_view source) {
  std::vector<Reading> readings;
  try {
    const Json document = Json::parse(text);
    if (document.is_array()) {
      for (const Json& j : document) {
        readings.push_back(reading_from(j));
      }
    } else {
      readings.push_back(reading_from(document));
    }
  } catch (const Json::exception& fault) {
    throw BadInput(fmt::format(
        "{}: not a reading as JSON of schema {} ({}); give a file written by nocktrail read --json",
        source, kSchema, fault.what()));
  } catch (const BadInput& fault) {
    throw BadInput(
        fmt::format("{}: {}; give a file written by nocktrail read --json", source, fault.what()));
  }
  return readings;
}

}  // namespace nocktrail::report
