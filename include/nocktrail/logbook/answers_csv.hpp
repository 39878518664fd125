// The logbook's answers for a spreadsheet: RFC 4180 (comma, CRLF, quotes doubled), UTF-8, a line
// of column names first. SI units and degrees, times in UTC; an empty field is what is not known.
#pragma once

#include <string>
#include <vector>

#include "nocktrail/logbook/answers.hpp"
#include "nocktrail/logbook/forget.hpp"

namespace nocktrail::logbook {

// Of nothing, the line of names alone.
std::string csv(const std::vector<ShotAnswer>& shots);
std::string csv(const std::vector<SetupAnswer>& setups);
std::string csv(const BeforeAnswer& answer);   // `when`: "in-force" or "same-day"
std::string csv(const CompareAnswer& answer);  // the difference beside the set-up that it ends at
std::string csv(const std::vector<Note>& notes);
std::string csv(const std::vector<ForgottenEntry>& entries);

}  // namespace nocktrail::logbook
