// Several readings side by side, for the end of a run that read more than one clip.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "nocktrail/reading.hpp"

namespace nocktrail::report {

struct SummaryOptions {
  std::vector<std::string> stops;  // what forbids to go on shooting; said first
  std::size_t width = 80;          // columns; 0 = as wide as it comes
};

// How many shots of how many clips were measured, and one row for each shot, or for a clip without
// one. Offsets to the bow where every measured shot has them, else as seen from behind: never both
// in one column. Ends in a newline.
std::string summary(const std::vector<Reading>& readings, const SummaryOptions& options);

}  // namespace nocktrail::report
