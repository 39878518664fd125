// The hand-written facts as a form.
#pragma once

#include <filesystem>
#include <string>

#include "answer.hpp"
#include "target.hpp"

namespace nocktrail::serve {

// The fields of `setup` ("." or empty: of the session), and what stands in them. Throws Refused,
// 404.
Answer facts_form(const std::filesystem::path& folder, const Target& target);

// Writes {"setup", "edits": [{"field", "value", "was"}]}: all of them or none. 400 with "faults",
// beside which field; 409 with "changed", where somebody else was first. Throws Refused, BadInput.
Answer save_facts(const std::filesystem::path& folder, const std::string& body);

}  // namespace nocktrail::serve
