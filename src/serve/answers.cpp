#include "answers.hpp"

#include <fmt/format.h>

#include <ctime>
#include <nlohmann/json.hpp>
#include <optional>
#include <pugixml.hpp>
#include <sstream>
#include <system_error>

#include "asked.hpp"
#include "facts.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/report/local_time.hpp"
#include "nocktrail/report/own_folder.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_edit.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "pages.hpp"
#include "view.hpp"

namespace nocktrail::serve {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

// The file of that printable name: what a page knows a clip by.
session::ClipPlace place_of(const json& document) {
  session::ClipPlace place;
  place.setup = text_of(document, "setup");
  place.clip = text_of(document, "clip");
  const auto shot = document.find("shot");
  if (shot != document.end() && !shot->is_null()) {
    if (!shot->is_number_integer() || *shot < 0 || *shot > 1000) {
      throw Refused(400, kNotUnderstood);
    }
    place.shot = shot->get<int>();
  }
  return place;
}

// A page of the results with the way back, and above it what holds in the place of what it says.
Answer with_head(Answer page, const Standing& now) {
  pugi::xml_document head;
  pugi::xml_node back = head.append_child("p");
  back.append_attribute("class") = "screen";
  pugi::xml_node link = back.append_child("a");
  link.append_attribute("href") = "/";
  link.append_attribute("style") = "display:inline-block;padding:.8rem .5rem";
  link.text() = "Back to the line";
  // Without a script it hears of nothing, and may lie open on a second screen while a shot forbids.
  pugi::xml_node as_of = head.append_child("p");
  as_of.append_attribute("class") = "screen";
  as_of.text() = fmt::format(
                     "As of {}. This page does not change by itself: load it anew before "
                     "you shoot, cut or build by it.",
                     report::local_words(std::time(nullptr)))
                     .c_str();
  if (now.instead) {
    pugi::xml_node box = head.append_child("div");
    box.append_attribute("role") = "alert";
    box.append_attribute("class") = "verdict step";
    box.append_child("h2").text() = forbids(now.instead->kind) ? "Stop" : "Not as below";
    pugi::xml_node words = box.append_child("p");
    words.append_attribute("class") = "words";
    words.text() = rules::printable(now.instead->words).c_str();
    box.append_child("p").text() = rules::printable(now.instead->because).c_str();
  }
  std::ostringstream bytes;
  head.save(bytes, "", pugi::format_raw | pugi::format_no_declaration);
  const std::string body = "<body>";
  if (const std::size_t at = page.body.find(body); at != std::string::npos) {
    page.body.insert(at + body.size(), bytes.str());
  }
  return page;
}

}  // namespace

std::string error_body(std::string_view words) {
  return dumped({{"error", rules::printable(words)}});
}

Answers::Answers(fs::path folder, std::string results, Board& board, ByHand& by_hand,
                 Replays& replays, const json& phone)
    : folder_(std::move(folder)),
      results_(std::move(results)),
      board_(board),
      by_hand_(by_hand),
      replays_(replays),
      phone_(dumped(phone)) {}

Answer Answers::get(const Target& target) const {
  if (target.path == "/api/by-hand") {
    return by_hand_.about(target);
  }
  if (target.path == "/api/frame") {
    return by_hand_.frame(target);
  }
  if (const Page* page = page_at(target.path)) {
    return {200, page->type, std::string(page->text), false};
  }
  if (target.path == "/api/session") {
    const Snapshot snapshot = board_.snapshot();
    return {200, "application/json", dumped(session_view(snapshot, standing(folder_, snapshot))),
            false};
  }
  if (target.path == "/api/line") {
    const Snapshot snapshot = board_.snapshot();
    return {200, "application/json", dumped(line_view(snapshot, standing(folder_, snapshot))),
            false};
  }
  if (target.path == "/api/shot") {
    const Snapshot snapshot = board_.snapshot();
    const json view = shot_view(snapshot, standing(folder_, snapshot), target.value("setup"),
                                target.value("clip"));
    if (view.is_null()) {
      throw Refused(404, "there is no such clip in the session now");
    }
    return {200, "application/json", dumped(view), false};
  }
  if (target.path == "/api/facts") {
    try {
      return facts_form(folder_, target);
    } catch (const BadInput& problem) {
      throw Refused(500, problem.what());
    }
  }
  if (target.path == "/replay") {
    return replays_.film(target);
  }
  if (target.path == "/still") {
    return still(target);
  }
  if (target.path == "/report") {
    return with_head(from_results("report.html"), standing(folder_, board_.snapshot()));
  }
  if (target.path == "/build-sheet") {
    if (standing(folder_, board_.snapshot()).instead) {
      throw Refused(404, "the session is being judged anew: wait until the sheet is there again");
    }
    return with_head(from_results("build-sheet.html"), {});
  }
  throw Refused(404, "there is nothing here");
}

Answer Answers::post(const Target& target, const std::string& body) {
  try {
    if (target.path == "/api/try-marks") {
      return by_hand_.try_marks(body);
    }
    if (target.path == "/api/phone") {
      // Changes nothing, but carries the secret, which the cookie alone is not to fetch.
      return {200, "application/json", phone_, false};
    }
    const std::lock_guard<std::mutex> guard(changing_);
    std::optional<Answer> answer;
    if (target.path == "/api/marks") {
      answer = by_hand_.keep(body);
    } else if (target.path == "/api/leave-out") {
      answer = leave_out(body);
    } else if (target.path == "/api/facts") {
      answer = save_facts(folder_, body);
    } else if (target.path == "/api/setups") {
      answer = begin_setup(body);
    }
    if (answer) {
      board_.changed();
      return std::move(*answer);
    }
  } catch (const BadInput& problem) {
    throw Refused(400, in_the_session(problem.what()));
  }
  throw Refused(404, "there is nothing here");
}

// Where the session's folder lies on the computer is nothing to a phone.
std::string Answers::in_the_session(std::string words) const {
  const std::string before = rules::printable(folder_.string()) + "/";
  for (std::size_t at = words.find(before); at != std::string::npos; at = words.find(before)) {
    words.erase(at, before.size());
  }
  return words;
}

Answer Answers::from_results(const std::string& name) const {
  const fs::path where = results_.empty() ? folder_ / session::kResultsFolder : fs::path(results_);
  std::error_code error;
  std::optional<std::string> page;
  if (fs::is_directory(where, error)) {
    page = report::OwnFolder::open(where, !results_.empty()).content(name);
  }
  if (!page) {
    throw Refused(404, "this page is not written yet");
  }
  return {200, "text/html; charset=utf-8", std::move(*page), true};
}

Answer Answers::still(const Target& target) const {
  const Snapshot snapshot = board_.snapshot();
  const tune::ClipRecord* clip = find_clip(snapshot, target.value("setup"), target.value("clip"));
  if (clip == nullptr || clip->still.empty()) {
    throw Refused(404, "there is no still of this clip");
  }
  // The names are the record's own, never the address's.
  std::string name = fs::path(clip->still).filename().string();
  const std::string number = target.value("shot");
  const bool is_number = !number.empty() && number.size() <= 3 &&
                         number.find_first_not_of("0123456789") == std::string::npos;
  const std::size_t shot = is_number ? std::stoul(number) : 1;
  if (shot >= 1 && shot <= clip->stills.size() && !clip->stills[shot - 1].empty()) {
    name = fs::path(clip->stills[shot - 1]).filename().string();
  }
  const fs::path where = results_.empty() ? folder_ / session::kResultsFolder : fs::path(results_);
  std::error_code error;
  std::optional<std::string> png;
  if (fs::is_directory(where / "stills", error)) {
    png = report::OwnFolder::open(where, !results_.empty()).inner("stills").content(name);
  }
  if (!png) {
    throw Refused(404, "there is no still of this clip");
  }
  return {200, "image/png", std::move(*png), false};
}

Answer Answers::leave_out(const std::string& body) const {
  const json asked = parsed(body);
  switch (session::leave_out(folder_, place_of(asked), words_of(asked, "reason"),
                             words_of(asked, "was"))) {
    case session::LeaveOut::no_such_clip:
      throw Refused(404, "there is no such clip in the session now");
    case session::LeaveOut::changed:
      throw Refused(409, "somebody else changed this just now; look at it again");
    case session::LeaveOut::done:
      break;
  }
  return {200, "application/json", "{}", false};
}

Answer Answers::begin_setup(const std::string& body) const {
  const json asked = parsed(body);
  session::NewSetup wanted;
  wanted.name = text_of(asked, "name");
  wanted.field = text_of(asked, "field");
  wanted.value = text_of(asked, "value");
  wanted.notes = text_of(asked, "notes");
  wanted.gather = asked.value("gather", json(false)) == true;
  const std::string name = session::begin_setup(folder_, session::default_archer_files(), wanted);
  return {201, "application/json", dumped({{"setup", rules::printable(name)}}), false};
}

}  // namespace nocktrail::serve
