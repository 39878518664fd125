// What the logbook answers, in words for the terminal and a screen reader (no drawn boxes, every
// table with a line of headings), and as JSON in SI units with null for what was not told.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "nocktrail/logbook/answers.hpp"
#include "nocktrail/logbook/forget.hpp"

namespace nocktrail::cli {

// Several lines, ending in a newline; a line that says so when there is nothing.
std::string text(const std::vector<logbook::ShotAnswer>& shots);
std::string text(const std::vector<logbook::SetupAnswer>& setups);
std::string text(const logbook::BeforeAnswer& answer);
std::string text(const logbook::CompareAnswer& answer);
std::string text(const std::vector<logbook::Note>& notes);
std::string text(const std::vector<logbook::ForgottenEntry>& entries);
// Which it is, in a few words, without an end of line.
std::string text(const logbook::ForgottenEntry& entry);

nlohmann::ordered_json json(const std::vector<logbook::ShotAnswer>& shots);
nlohmann::ordered_json json(const std::vector<logbook::SetupAnswer>& setups);
nlohmann::ordered_json json(const logbook::BeforeAnswer& answer);
nlohmann::ordered_json json(const logbook::CompareAnswer& answer);
nlohmann::ordered_json json(const std::vector<logbook::Note>& notes);
nlohmann::ordered_json json(const std::vector<logbook::ForgottenEntry>& entries);

}  // namespace nocktrail::cli
