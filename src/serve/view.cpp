#include "view.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "nocktrail/error.hpp"
#include "nocktrail/rules/cant.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_edit.hpp"
#include "nocktrail/session/kept_marks.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "qr.hpp"

namespace nocktrail::serve {
namespace {

using nlohmann::json;
using rules::printable;

// A clip of ordinary frames: what is left of slow motion that was flattened on the way. Phones film
// slow motion at 120 a second and more (common practice, no source).
constexpr double kOrdinaryFps = 65.0;

json text(const std::string& words) {
  return words.empty() ? json(nullptr) : json(printable(words));
}

std::string capitalised(std::string words) {
  if (!words.empty() && words[0] >= 'a' && words[0] <= 'z') {
    words[0] = static_cast<char>(words[0] - 'a' + 'A');
  }
  return words;
}

json shot_json(const tune::ClipRecord& clip, std::size_t index, bool fletched) {
  const Shot& shot = clip.reading.shots[index];
  const int number = static_cast<int>(index) + 1;
  const auto dropped = clip.dropped_shots.find(number);
  json one = {
      {"number", number},
      {"dropped", dropped == clip.dropped_shots.end() ? json(nullptr) : text(dropped->second)}};
  if (shot.status == ShotStatus::measured && shot.view == View::side && shot.nock_high_deg) {
    one["measured"] = true;
    one["lateral"] = "From the side: nothing is seen of left and right";
    one["vertical"] = capitalised(rules::vertical_words(*shot.nock_high_deg));
    one["spine"] = nullptr;
    one["fletched"] = fletched;
    one["nocking_point"] = rules::word(shot.verdict.nocking_point);
    one["summary"] = text(shot.verdict.summary);
    one["in_bow"] = false;
    return one;
  }
  if (shot.status == ShotStatus::refused || !shot.nock_right_deg || !shot.nock_high_deg) {
    one["measured"] = false;
    one["reason"] = text(shot.reason);
    return one;
  }
  const Measured lateral = shot.in_bow ? shot.in_bow->nock_right_deg : *shot.nock_right_deg;
  const Measured vertical = shot.in_bow ? shot.in_bow->nock_high_deg : *shot.nock_high_deg;
  one["measured"] = true;
  one["lateral"] = capitalised(rules::lateral_words(lateral));
  one["vertical"] = capitalised(rules::vertical_words(vertical));
  one["spine"] = rules::word(shot.verdict.spine);
  one["fletched"] = fletched;  // the bare shaft decides of spine
  one["nocking_point"] = rules::word(shot.verdict.nocking_point);
  one["summary"] = text(shot.verdict.summary);
  one["in_bow"] = shot.in_bow.has_value();
  // The hand told does not go with how the bow leans: the summary says so.
  one["at_odds"] = shot.bow && rules::against_hand(*shot.bow, shot.cant_seen_deg).has_value();
  return one;
}

bool is_fletched(const Snapshot& snapshot, const std::string& setup) {
  const std::vector<tune::SetupRecord>& setups = snapshot.published->record.setups;
  return std::any_of(setups.begin(), setups.end(), [&](const tune::SetupRecord& one) {
    return one.name == setup && one.facts.arrow.fletching == tune::Fletching::fletched;
  });
}

// Freshly read clips stand in the place of what was read of the same file before.
bool is_fresh(const Snapshot& snapshot, const std::string& setup, const std::string& file) {
  return std::any_of(snapshot.fresh.begin(), snapshot.fresh.end(), [&](const auto& one) {
    return one.first == setup && one.second.file == file;
  });
}

// A set-up of which nothing is judged yet.
json empty_setup(const std::string& name, const Standing& now) {
  const auto stops = now.stops.find(name);
  return {{"name", printable(name)},
          {"notes", nullptr},
          {"changed", nullptr},
          {"clips", json::array()},
          {"summary", nullptr},
          {"stops", stops == now.stops.end() ? json::array() : json(stops->second)},
          {"warnings", json::array()}};
}

json judged_setup(const Snapshot& snapshot, std::size_t i, const Standing& now) {
  const Published& published = *snapshot.published;
  const tune::SetupRecord& setup = published.record.setups[i];
  json one = empty_setup(setup.name, now);
  one["notes"] = text(setup.facts.notes);
  if (i > 0) {
    one["changed"] =
        text(tune::changes_in_brief(published.record.setups[i - 1].facts, setup.facts));
  }
  for (const tune::ClipRecord& clip : setup.clips) {
    if (!is_fresh(snapshot, setup.name, clip.file)) {
      one["clips"].push_back(clip_view(snapshot, setup.name, clip));
    }
  }
  if (i < published.judgement.setups.size()) {
    const tune::SetupJudgement& judged = published.judgement.setups[i];
    one["summary"] = text(judged.summary);
    one["warnings"] = judged.warnings;
  }
  return one;
}

// Those that the folder has now; one that was just begun, or of which the first clip is being read,
// is not judged yet.
json setups_json(const Snapshot& snapshot, const Standing& now) {
  const std::vector<tune::SetupRecord>& judged = snapshot.published->record.setups;
  std::vector<std::string> names = now.setups;
  if (names.empty()) {
    for (const tune::SetupRecord& setup : judged) {
      names.push_back(setup.name);
    }
  }
  for (const auto& fresh : snapshot.fresh) {
    if (std::find(names.begin(), names.end(), fresh.first) == names.end()) {
      names.push_back(fresh.first);
    }
  }
  json setups = json::array();
  for (const std::string& name : names) {
    const auto at = std::find_if(judged.begin(), judged.end(),
                                 [&](const auto& setup) { return setup.name == name; });
    json one = at == judged.end()
                   ? empty_setup(name, now)
                   : judged_setup(snapshot, static_cast<std::size_t>(at - judged.begin()), now);
    for (const auto& [setup, clip] : snapshot.fresh) {
      if (setup == name) {
        one["clips"].push_back(clip_view(snapshot, setup, clip));
      }
    }
    setups.push_back(std::move(one));
  }
  return setups;
}

json newest_json(const Snapshot& snapshot) {
  if (!snapshot.fresh.empty()) {
    return clip_view(snapshot, snapshot.fresh.back().first, snapshot.fresh.back().second);
  }
  const tune::ClipRecord* newest = nullptr;
  const tune::SetupRecord* of = nullptr;
  for (const tune::SetupRecord& setup : snapshot.published->record.setups) {
    for (const tune::ClipRecord& clip : setup.clips) {
      if (newest == nullptr || clip.read_at_utc >= newest->read_at_utc) {
        newest = &clip;
        of = &setup;
      }
    }
  }
  return newest == nullptr ? json(nullptr) : clip_view(snapshot, of->name, *newest);
}

}  // namespace

json clip_view(const Snapshot& snapshot, const std::string& setup, const tune::ClipRecord& clip) {
  const Reading& reading = clip.reading;
  const bool fletched = is_fletched(snapshot, setup);
  json shots = json::array();
  for (std::size_t i = 0; i < reading.shots.size(); ++i) {
    shots.push_back(shot_json(clip, i, fletched));
  }
  const bool flattened = reading.status != ClipStatus::measured &&
                         reading.status != ClipStatus::error && reading.clip.capture_fps > 0.0 &&
                         reading.clip.capture_fps < kOrdinaryFps;
  const char* const status = reading.status == ClipStatus::measured  ? "measured"
                             : reading.status == ClipStatus::refused ? "refused"
                             : reading.status == ClipStatus::no_shot ? "no-shot"
                                                                     : "error";
  const bool by_hand = !reading.shots.empty() && reading.shots.front().by == ReadBy::hand;
  const bool waits = clip.dropped == session::kMarksDoNotCount;
  // Most reasons of a file that cannot be read begin with its path, which is the computer's affair.
  const std::string named = reading.clip.path + ": ";
  return {{"setup", printable(setup)},
          {"clip", printable(clip.file)},
          {"status", status},
          {"reason", text(reading.reason.starts_with(named) ? reading.reason.substr(named.size())
                                                            : reading.reason)},
          {"dropped", waits ? json(nullptr) : text(clip.dropped)},
          {"by_hand", by_hand},
          {"away", clip.away},  // the film is not here, only its reading
          {"waits", waits},     // for its archer to say that it counts
          {"caution", reading.clip.cut_short ? json(rules::kCutShort) : json(nullptr)},
          {"flattened", flattened},
          {"still", !clip.still.empty()},
          {"shots", std::move(shots)}};
}

json session_view(const Snapshot& snapshot, const Standing& now) {
  json document = snapshot.published->json;
  document["waiting"] = now.waiting;
  for (json& setup : document["setups"]) {
    for (const auto& [name, stops] : now.stops) {
      if (setup["name"] == printable(name)) {
        setup["stops"] = stops;
      }
    }
  }
  if (now.instead) {
    document["next"] = {{"kind", rules::word(now.instead->kind)},
                        {"amount", nullptr},
                        {"words", now.instead->words},
                        {"because", now.instead->because},
                        {"overshoot_chance", nullptr},
                        {"cautions", json::array()}};
    document["build_sheet"] = nullptr;
  }
  return document;
}

json line_view(const Snapshot& snapshot, const Standing& now) {
  const Published& published = *snapshot.published;
  const tune::Step& next = now.instead ? *now.instead : published.judgement.next;
  json facts = json::array();
  for (const session::ChangeableFact& fact : session::changeable_facts()) {
    facts.push_back({{"field", fact.field}, {"words", fact.words}, {"example", fact.example}});
  }
  json setups = setups_json(snapshot, now);
  return {{"session", printable(published.record.name)},
          {"version", snapshot.version},
          {"waiting", now.waiting},
          // What is said as the next step is of all that is known.
          {"settled", !now.instead || forbids(now.instead->kind)},
          {"faults", snapshot.faults},
          {"hindered", text(snapshot.hindered)},
          {"messages", snapshot.messages},
          {"cautions", published.judgement.cautions},
          {"next",
           {{"words", next.words},
            {"because", text(next.because)},
            {"cautions", next.cautions},
            {"kind", rules::word(next.kind)},
            {"forbids", forbids(next.kind)}}},
          {"newest", newest_json(snapshot)},
          {"setups", std::move(setups)},
          {"facts", std::move(facts)},
          {"sheet", published.judgement.build_sheet.has_value() && !now.instead}};
}

const tune::ClipRecord* find_clip(const Snapshot& snapshot, const std::string& setup,
                                  const std::string& clip) {
  for (auto fresh = snapshot.fresh.rbegin(); fresh != snapshot.fresh.rend(); ++fresh) {
    if (printable(fresh->first) == setup && printable(fresh->second.file) == clip) {
      return &fresh->second;
    }
  }
  for (const tune::SetupRecord& one : snapshot.published->record.setups) {
    for (const tune::ClipRecord& record : one.clips) {
      if (printable(one.name) == setup && printable(record.file) == clip) {
        return &record;
      }
    }
  }
  return nullptr;
}

json shot_view(const Snapshot& snapshot, const Standing& now, const std::string& setup,
               const std::string& clip) {
  const tune::ClipRecord* found = find_clip(snapshot, setup, clip);
  if (found == nullptr) {
    return nullptr;
  }
  json view = clip_view(snapshot, setup, *found);
  const tune::Step& next = now.instead ? *now.instead : snapshot.published->judgement.next;
  view["session"] = printable(snapshot.published->record.name);
  // What forbids this set-up comes before what forbids the latest.
  view["stop"] = forbids(next.kind) ? json(next.words) : json(nullptr);
  for (const auto& [name, stops] : now.stops) {
    if (printable(name) == setup && !stops.empty()) {
      view["stop"] = fmt::format("{}", fmt::join(stops, " "));
    }
  }
  view["faults"] = snapshot.faults;
  return view;
}

json phone_view(const Ready& where) {
  json addresses = json::array();
  const auto add = [&](const std::string& url) {
    const QrDrawing code = qr_drawing(url);
    addresses.push_back({{"url", url}, {"side", code.side}, {"path", code.path}});
  };
  if (where.lan) {
    add(where.url);
    // The last one is this computer's own, which leads a phone to itself.
    for (std::size_t i = 0; i + 1 < where.others.size(); ++i) {
      add(where.others[i]);
    }
  }
  return {{"addresses", addresses}, {"are_private", where.are_private}};
}

}  // namespace nocktrail::serve
