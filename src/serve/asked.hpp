// What was sent with a request, taken apart.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>

namespace nocktrail::serve {

// What a request without sense is answered.
inline constexpr const char* kNotUnderstood = "what was sent is not understood";

// An object of JSON that lies no deeper than anything that is asked for. Throws Refused (400).
nlohmann::json parsed(const std::string& body);

// Empty where it is not there, or null. Throws Refused (400) for what is no text.
std::string text_of(const nlohmann::json& document, const char* key);
std::optional<std::string> words_of(const nlohmann::json& document, const char* key);

// As an answer's body; what is no UTF-8 must not cost the answer.
std::string dumped(const nlohmann::json& document);

}  // namespace nocktrail::serve
