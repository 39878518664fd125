// A table of what speaks against an answer: what was measured, the limit it must keep, and what to
// do. Private to the pipeline.
#pragma once

#include <string>
#include <vector>

namespace nocktrail::pipeline {

enum class Keep { at_most, at_least };

struct Doubt {
  double measure = 0.0;
  Keep keep = Keep::at_most;
  double limit = 0.0;
  std::string what;    // happened, with its figures
  std::string advice;  // what to do next
};

// A measure that is no number keeps no limit.
bool holds(const Doubt& doubt);

// Those that hold, in the order of the table.
std::vector<Doubt> those_that_hold(std::vector<Doubt> table);

// All of them in one sentence, the first one leading; the same advice is given once. Empty when
// there are none.
std::string in_one_sentence(const std::vector<Doubt>& doubts);

}  // namespace nocktrail::pipeline
