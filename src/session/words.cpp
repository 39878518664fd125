#include "nocktrail/session/words.hpp"

#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/kept_marks.hpp"
#include "nocktrail/tune/judgement_json.hpp"

namespace nocktrail::session {
namespace {

using nlohmann::json;
using rules::printable;

std::string shot_words(const Shot& shot) {
  if (shot.status == ShotStatus::measured && shot.view == View::side && shot.nock_high_deg) {
    return fmt::format("from the side: {} against plumb; nocking point {}",
                       rules::vertical_words(*shot.nock_high_deg),
                       rules::word(shot.verdict.nocking_point));
  }
  if (shot.status == ShotStatus::refused || !shot.nock_right_deg || !shot.nock_high_deg) {
    return fmt::format("refused: {}", printable(shot.reason));
  }
  const Measured lat = shot.in_bow ? shot.in_bow->nock_right_deg : *shot.nock_right_deg;
  const Measured vert = shot.in_bow ? shot.in_bow->nock_high_deg : *shot.nock_high_deg;
  return fmt::format("{}, {}; spine {}, nocking point {}", rules::lateral_words(lat),
                     rules::vertical_words(vert), rules::word(shot.verdict.spine),
                     rules::word(shot.verdict.nocking_point));
}

bool marked_by_hand(const Reading& reading) {
  return !reading.shots.empty() && reading.shots.front().by == ReadBy::hand;
}

std::string reading_words(const Reading& reading) {
  switch (reading.status) {
    case ClipStatus::error: {
      // Most reasons name the file themselves.
      const std::string named = reading.clip.path + ": ";
      return fmt::format("cannot be read: {}", printable(reading.reason.starts_with(named)
                                                             ? reading.reason.substr(named.size())
                                                             : reading.reason));
    }
    case ClipStatus::no_shot:
      return fmt::format("no shot: {}", printable(reading.reason));
    case ClipStatus::refused:
      return fmt::format("refused: {}", printable(reading.reason));
    case ClipStatus::measured:
      break;
  }
  std::string words;
  for (std::size_t i = 0; i < reading.shots.size(); ++i) {
    words += i == 0 ? "" : "; ";
    words += reading.shots.size() > 1 ? fmt::format("shot {}: ", i + 1) : "";
    words += shot_words(reading.shots[i]);
  }
  return words;
}

const char* status_word(ClipStatus status) {
  switch (status) {
    case ClipStatus::measured:
      return "measured";
    case ClipStatus::no_shot:
      return "no-shot";
    case ClipStatus::refused:
      return "refused";
    case ClipStatus::error:
      break;
  }
  return "error";
}

json text(const std::string& value) {
  return value.empty() ? json(nullptr) : json(printable(value));
}

json hand(Hand value) {
  return value == Hand::unknown ? json(nullptr) : json(value == Hand::left ? "left" : "right");
}

json number(const std::optional<double>& value) {
  return value ? json(*value) : json(nullptr);
}

json clip_json(const tune::ClipRecord& clip) {
  json dropped_shots = json::object();
  for (const auto& [number, reason] : clip.dropped_shots) {
    dropped_shots[std::to_string(number)] = text(reason);
  }
  return {{"file", printable(clip.file)},
          {"sha256", text(clip.sha256)},
          {"away", clip.away},
          {"status", status_word(clip.reading.status)},
          {"reason", text(clip.reading.reason)},
          {"shots", clip.reading.shots.size()},
          {"by", marked_by_hand(clip.reading) ? "hand" : "program"},
          {"dropped", text(clip.dropped)},
          {"dropped_shots", dropped_shots},
          {"hand", hand(clip.hand)},
          {"cant_deg", number(clip.cant_deg)},
          {"still", text(clip.still)},
          {"filmed_at_utc", text(clip.filmed_at_utc)},
          {"read_at_utc", text(clip.read_at_utc)},
          {"program_version", text(clip.program_version)}};
}

}  // namespace

std::string clip_line(const std::string& setup, const tune::ClipRecord& clip) {
  const std::string name = printable(setup == "." ? clip.file : setup + "/" + clip.file);
  std::string left_out =
      clip.dropped.empty() ? "" : fmt::format("left out ({}); ", printable(clip.dropped));
  for (const auto& [number, reason] : clip.dropped_shots) {
    left_out += fmt::format("shot {} left out ({}); ", number, printable(reason));
  }
  if (marked_by_hand(clip.reading) && clip.dropped != kMarksDoNotCount) {
    left_out += "marked by hand; ";
  }
  return fmt::format(
      "{}: {}{}{}", name, left_out, reading_words(clip.reading),
      clip.reading.clip.cut_short ? fmt::format("; caution: {}", rules::kCutShort) : std::string());
}

json session_json(const tune::SessionRecord& session, const tune::SessionJudgement& judgement,
                  const std::vector<std::string>& messages) {
  json document = tune::judgement_json(session, judgement);
  json& setups = document["setups"];
  for (std::size_t i = 0; i < session.setups.size() && i < setups.size(); ++i) {
    json clips = json::array();
    for (const tune::ClipRecord& clip : session.setups[i].clips) {
      clips.push_back(clip_json(clip));
    }
    setups[i]["clips"] = std::move(clips);
  }
  json lines = json::array();
  for (const std::string& line : messages) {
    lines.push_back(printable(line));
  }
  document["messages"] = std::move(lines);
  return document;
}

}  // namespace nocktrail::session
