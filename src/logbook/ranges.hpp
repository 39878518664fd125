// What a column of the logbook may hold beside its type: ranges that no arrow, bow or reading
// leaves, the words that there are, dates. Wide: they stop nonsense, not odd set-ups.
#pragma once

#include <string>

#include "values.hpp"

namespace nocktrail::logbook {

// What is wrong with the value, to follow the column's name: "holds -1e+308; 0 to 2 is possible".
// Empty when nothing is.
std::string misfit_in(const std::string& column, const Value& value);

}  // namespace nocktrail::logbook
