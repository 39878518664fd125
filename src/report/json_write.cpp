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
          {"nock_right_deg", measured(b->nock_right_deg)},
          {"nock_high_deg", measured(b->nock_high_deg)}};
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
          {"loose_s", number(s.loose_s)},
          {"exit_s", number(s.exit_s)},
          {"nock_right_deg", measured(s.nock_right_deg)},
          {"nock_high_deg", measured(s.nock_high_deg)},
          {"nock_right_slope_deg_per_m", measured(s.nock_right_slope_deg_per_m)},
          {"nock_high_slope_deg_per_m", measured(s.nock_high_slope_deg_per_m)},
          {"speed_mps", measured(s.speed_mps)},
          {"flex", flex(s.flex)},
          {"in_bow", in_bow(s.in_bow)},
          {"frames", frames(s.frames)},
          {"verdict",
           {{"spine", word_of(kSpineVerdicts, s.verdict.spine)},
            {"nocking_point", word_of(kNockingPointVerdicts, s.verdict.nocking_point)},
            {"summary", words(s.verdict.summary)}}}};
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

}  // namespace

std::string json_text(std::span<const Reading> readings) {
  Json document;
  if (readings.size() == 1) {
    document = reading_json(readings.front());
  } else {
    document = Json::array();
    for (const Reading& r : readings) {
      document.push_back(reading_json(r));
    }
  }
  return document.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace nocktrail::report
