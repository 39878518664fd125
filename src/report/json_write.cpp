#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "nocktrail/report/json.hpp"
#include "schema_words.hpp"

namespace nocktrail::report {
namespace {

using Json = nlohmann::ordered_json;

Json number(double value) {
  return std::isfinite(value) ? Json(value) : Json(nullptr);
}

Json number(const std::optional<double>& value) {
  return value ? number(*value) : Json(nullptr);
}

// For facts that cannot be 0 once read.
Json positive(double value) {
  return value > 0.0 ? number(value) : Json(nullptr);
}

Json count(long value) {
  return value > 0 ? Json(value) : Json(nullptr);
}

Json words(const std::string& value) {
  return value.empty() ? Json(nullptr) : Json(value);
}

Json measured(const Measured& m) {
  if (!std::isfinite(m.value) || !std::isfinite(m.u95)) {
    return nullptr;
  }
  return {{"value", m.value}, {"u95", m.u95}};
}

Json measured(const std::optional<Measured>& m) {
  return m ? measured(*m) : Json(nullptr);
}

// An angle with the part of its error that the next shot shares; null where that is not known.
Json angle(const std::optional<Measured>& m, const std::optional<double>& shared_u95) {
  Json value = measured(m);
  if (!value.is_null()) {
    value["u95_shared"] = number(shared_u95);
  }
  return value;
}

Json angle_right(const std::optional<Measured>& m, const std::optional<SharedError>& shared) {
  return angle(m, shared ? std::optional(shared->right_u95_deg) : std::nullopt);
}

Json angle_high(const std::optional<Measured>& m, const std::optional<SharedError>& shared) {
  return angle(m, shared ? std::optional(shared->high_u95_deg) : std::nullopt);
}

Json shared_correlation(const std::optional<SharedError>& shared) {
  return shared ? number(shared->correlation) : Json(nullptr);
}

Json bow(const std::optional<Bow>& b) {
  if (!b) {
    return nullptr;
  }
  return {{"cant_deg", measured(b->cant_deg)},
          {"hand", b->hand == Hand::unknown ? Json(nullptr) : Json(word_of(kHands, b->hand))},
          {"source", word_of(kBowSources, b->source)}};
}

Json filmed_from(const std::optional<FilmedFrom>& from) {
  if (!from) {
    return nullptr;
  }
  std::string backdrop;
  for (const std::uint8_t grey : from->backdrop) {
    backdrop += fmt::format("{:02x}", grey);
  }
  return {{"right_m", measured(from->right_m)},
          {"above_m", measured(from->above_m)},
          {"behind_m", measured(from->behind_m)},
          {"backdrop", backdrop}};
}

Json point(const std::optional<Eigen::Vector2d>& p) {
  if (!p || !p->allFinite()) {
    return nullptr;
  }
  return Json::array({p->x(), p->y()});
}

Json flex(const std::optional<Flex>& f) {
  if (!f) {
    return nullptr;
  }
  return {{"frequency_hz", measured(f->frequency_hz)}, {"amplitude_mm", measured(f->amplitude_mm)}};
}

Json in_bow(const std::optional<InBow>& b) {
  if (!b) {
    return nullptr;
  }
  return {{"cant_deg", number(b->cant_deg)},
          {"nock_right_deg", angle_right(b->nock_right_deg, b->shared)},
          {"nock_high_deg", angle_high(b->nock_high_deg, b->shared)},
          {"correlation", number(b->correlation)},
          {"correlation_shared", shared_correlation(b->shared)}};
}

Json frames(const std::vector<FrameObservation>& observed) {
  Json list = Json::array();
  for (const FrameObservation& o : observed) {
    list.push_back({{"index", o.index},
                    {"t_s", number(o.t_s)},
                    {"nock_px", point(o.nock_px)},
                    {"tip_px", point(o.tip_px)},
                    {"used", o.used}});
  }
  return list;
}

Json shot_json(const Shot& s) {
  return {{"status", word_of(kShotStatuses, s.status)},
          {"reason", words(s.reason)},
          {"view", word_of(kViews, s.view)},
          {"by", word_of(kReadBy, s.by)},
          {"loose_s", number(s.loose_s)},
          {"exit_s", number(s.exit_s)},
          {"nock_right_deg", angle_right(s.nock_right_deg, s.shared)},
          {"nock_high_deg", angle_high(s.nock_high_deg, s.shared)},
          {"correlation",
           s.nock_right_deg && s.nock_high_deg ? number(s.right_high_correlation) : Json(nullptr)},
          {"correlation_shared", shared_correlation(s.shared)},
          {"nock_right_slope_deg_per_m", measured(s.nock_right_slope_deg_per_m)},
          {"nock_high_slope_deg_per_m", measured(s.nock_high_slope_deg_per_m)},
          {"filmed_from", filmed_from(s.filmed_from)},
          {"speed_mps", measured(s.speed_mps)},
          {"flex", flex(s.flex)},
          {"cant_seen_deg", measured(s.cant_seen_deg)},
          {"bow", bow(s.bow)},
          {"in_bow", in_bow(s.in_bow)},
          {"frames", frames(s.frames)},
          {"verdict",
           {{"spine", word_of(kSpineVerdicts, s.verdict.spine)},
            {"nocking_point", word_of(kNockingPointVerdicts, s.verdict.nocking_point)},
            {"summary", words(s.verdict.summary)},
            {"step", word_of(rules::kStepWords, s.verdict.step)}}}};
}

Json reading_json(const Reading& r) {
  const ClipFacts& c = r.clip;
  // A clip that was opened has a size; orientation and rate of one that was not are unknown.
  const bool opened = c.width > 0 && c.height > 0;
  const bool rated = c.capture_fps > 0.0;
  const bool focal_known = r.camera.focal_px > 0.0;
  Json shots = Json::array();
  for (const Shot& s : r.shots) {
    shots.push_back(shot_json(s));
  }
  return {{"schema", kSchema},
          {"clip",
           {{"path", words(c.path)},
            {"sha256", words(c.sha256)},
            {"codec", words(c.codec)},
            {"width", count(c.width)},
            {"height", count(c.height)},
            {"rotation_deg", opened ? Json(c.rotation_deg) : Json(nullptr)},
            {"mirrored", opened ? Json(c.mirrored) : Json(nullptr)},
            {"picture_mirrored", c.picture_mirrored ? Json(*c.picture_mirrored) : Json(nullptr)},
            {"frames", count(c.frames)},
            {"duration_s", positive(c.duration_s)},
            {"capture_fps", positive(c.capture_fps)},
            {"capture_fps_source",
             rated ? Json(word_of(kRateSources, c.capture_fps_source)) : Json(nullptr)},
            {"cut_short", opened ? Json(c.cut_short) : Json(nullptr)}}},
          {"camera",
           {{"focal_px", positive(r.camera.focal_px)},
            {"focal_source",
             focal_known ? Json(word_of(kFocalSources, r.camera.source)) : Json(nullptr)}}},
          {"status", word_of(kClipStatuses, r.status)},
          {"reason", words(r.reason)},
          {"shots", shots}};
}

Json read_with_json(const std::vector<FactUsed>& facts) {
  Json all = Json::object();
  for (const FactUsed& fact : facts) {
    const char* const from = fact.from == FactFrom::told     ? "told"
                             : fact.from == FactFrom::folder ? "folder"
                                                             : "profile";
    const Json value = std::visit([](const auto& one) { return Json(one); }, fact.value);
    all[fact.name] = {{"value", value}, {"from", from}};
  }
  return all;
}

}  // namespace

std::string json_text(std::span<const Reading> readings) {
  return json_text(readings, {});
}

std::string json_text(std::span<const Reading> readings,
                      std::span<const std::vector<FactUsed>> read_with) {
  Json all = Json::array();
  for (std::size_t i = 0; i < readings.size(); ++i) {
    Json one = reading_json(readings[i]);
    if (i < read_with.size()) {
      one["read_with"] = read_with_json(read_with[i]);
    }
    all.push_back(std::move(one));
  }
  const Json& document = all.size() == 1 ? all.front() : all;
  return document.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace nocktrail::report
