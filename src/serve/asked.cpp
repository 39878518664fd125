#include "asked.hpp"

#include "refused.hpp"

namespace nocktrail::serve {

using nlohmann::json;

json parsed(const std::string& body) {
  // A place in a frame in the list of the marks.
  constexpr int kDeepest = 6;
  bool too_deep = false;
  json document = json::parse(
      body, [&](int depth, json::parse_event_t, json&) { return !(too_deep |= depth > kDeepest); },
      false);
  if (too_deep || !document.is_object()) {
    throw Refused(400, kNotUnderstood);
  }
  return document;
}

std::string text_of(const json& document, const char* key) {
  const auto found = document.find(key);
  if (found == document.end() || found->is_null()) {
    return {};
  }
  if (!found->is_string()) {
    throw Refused(400, kNotUnderstood);
  }
  return found->get<std::string>();
}

std::optional<std::string> words_of(const json& document, const char* key) {
  const auto found = document.find(key);
  return found == document.end() || found->is_null()
             ? std::nullopt
             : std::optional<std::string>(text_of(document, key));
}

std::string dumped(const json& document) {
  return document.dump(-1, ' ', false, json::error_handler_t::replace);
}

}  // namespace nocktrail::serve
