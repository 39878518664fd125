#include "answers.hpp"

#include <fmt/format.h>

#include <nlohmann/json.hpp>
#include <system_error>

#include "nocktrail/error.hpp"
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

constexpr std::size_t kLongestTarget = 4096;

std::string dumped(const json& document) {
  // What is no UTF-8 anywhere must not cost the answer.
  return document.dump(-1, ' ', false, json::error_handler_t::replace);
}

int hex_digit(char c) {
  if (c >= '0' && c <= '9') {
    return c - '0';
  }
  const char lower = static_cast<char>(c | 0x20);
  return lower >= 'a' && lower <= 'f' ? lower - 'a' + 10 : -1;
}

// Percent-encoding (RFC 3986, 2.1); "+" is a space, as forms write it.
std::string decoded(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '%') {
      const int high = i + 2 < text.size() ? hex_digit(text[i + 1]) : -1;
      const int low = i + 2 < text.size() ? hex_digit(text[i + 2]) : -1;
      if (high < 0 || low < 0) {
        throw Refused(400, "the address is not written as one");
      }
      out += static_cast<char>(16 * high + low);
      i += 2;
    } else {
      out += text[i] == '+' ? ' ' : text[i];
    }
  }
  return out;
}

json parsed(const std::string& body) {
  const json document = json::parse(body, nullptr, false);
  if (!document.is_object()) {
    throw Refused(400, "what was sent is not understood");
  }
  return document;
}

std::string text_of(const json& document, const char* key) {
  const auto found = document.find(key);
  if (found == document.end() || found->is_null()) {
    return {};
  }
  if (!found->is_string()) {
    throw Refused(400, "what was sent is not understood");
  }
  return found->get<std::string>();
}

std::optional<std::string> words_of(const json& document, const char* key) {
  const auto found = document.find(key);
  return found == document.end() || found->is_null()
             ? std::nullopt
             : std::optional<std::string>(text_of(document, key));
}

// The file of that printable name: what a page knows a clip by.
session::ClipPlace place_of(const json& document) {
  session::ClipPlace place;
  place.setup = text_of(document, "setup");
  place.clip = text_of(document, "clip");
  const auto shot = document.find("shot");
  if (shot != document.end() && !shot->is_null()) {
    if (!shot->is_number_integer() || *shot < 0 || *shot > 1000) {
      throw Refused(400, "what was sent is not understood");
    }
    place.shot = shot->get<int>();
  }
  return place;
}

}  // namespace

Target Target::parse(std::string_view target) {
  if (target.empty() || target[0] != '/' || target.size() > kLongestTarget) {
    throw Refused(400, "the address is not written as one");
  }
  Target out;
  const std::size_t mark = target.find('?');
  out.path = decoded(target.substr(0, mark));
  std::string_view query = mark == std::string_view::npos ? "" : target.substr(mark + 1);
  while (!query.empty()) {
    const std::size_t end = query.find('&');
    const std::string_view one = query.substr(0, end);
    const std::size_t equals = one.find('=');
    out.query.emplace_back(decoded(one.substr(0, equals)), equals == std::string_view::npos
                                                               ? std::string()
                                                               : decoded(one.substr(equals + 1)));
    query = end == std::string_view::npos ? "" : query.substr(end + 1);
  }
  return out;
}

std::string Target::value(std::string_view name) const {
  for (const auto& [key, value] : query) {
    if (key == name) {
      return value;
    }
  }
  return {};
}

std::string error_body(std::string_view words) {
  return dumped({{"error", rules::printable(words)}});
}

Answers::Answers(fs::path folder, std::string results, const Board& board)
    : folder_(std::move(folder)), results_(std::move(results)), board_(board) {}

Answer Answers::get(const Target& target) const {
  if (const Page* page = page_at(target.path)) {
    return {200, page->type, std::string(page->text), false};
  }
  if (target.path == "/api/session") {
    return {200, "application/json", dumped(session_view(folder_, board_.snapshot())), false};
  }
  if (target.path == "/api/line") {
    return {200, "application/json", dumped(line_view(folder_, board_.snapshot())), false};
  }
  if (target.path == "/api/shot") {
    const json view = shot_view(board_.snapshot(), target.value("setup"), target.value("clip"));
    if (view.is_null()) {
      throw Refused(404, "there is no such clip in the session now");
    }
    return {200, "application/json", dumped(view), false};
  }
  if (target.path == "/still") {
    return still(target);
  }
  if (target.path == "/report") {
    return from_results("report.html");
  }
  if (target.path == "/build-sheet") {
    return from_results("build-sheet.html");
  }
  throw Refused(404, "there is nothing here");
}

Answer Answers::post(const Target& target, const std::string& body) {
  const std::lock_guard<std::mutex> guard(changing_);
  try {
    if (target.path == "/api/leave-out") {
      return leave_out(body);
    }
    if (target.path == "/api/setups") {
      return begin_setup(body);
    }
  } catch (const BadInput& problem) {
    throw Refused(400, problem.what());
  }
  throw Refused(404, "there is nothing here");
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
  // The name is the record's own, never the address's; stills of further shots are named after it.
  const fs::path first = fs::path(clip->still).filename();
  std::string stem = first.stem().string();
  stem = stem.substr(0, stem.find("-shot"));
  const std::string number = target.value("shot");
  const bool single = number.empty() || number == "1" ||
                      number.find_first_not_of("0123456789") != std::string::npos ||
                      number.size() > 3;
  const fs::path where = results_.empty() ? folder_ / session::kResultsFolder : fs::path(results_);
  std::error_code error;
  std::optional<std::string> png;
  if (fs::is_directory(where / "stills", error)) {
    const report::OwnFolder stills =
        report::OwnFolder::open(where, !results_.empty()).inner("stills");
    png = stills.content(single ? stem + ".png" : fmt::format("{}-shot{}.png", stem, number));
    if (!png) {
      png = stills.content(first.string());
    }
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
  const std::string name = session::begin_setup(folder_, session::default_archer_files(), wanted);
  return {201, "application/json", dumped({{"setup", rules::printable(name)}}), false};
}

}  // namespace nocktrail::serve
