#include "doubts.hpp"

#include <algorithm>

namespace nocktrail::pipeline {

bool holds(const Doubt& doubt) {
  const bool kept =
      doubt.keep == Keep::at_most ? doubt.measure <= doubt.limit : doubt.measure >= doubt.limit;
  return !kept;
}

std::vector<Doubt> those_that_hold(std::vector<Doubt> table) {
  std::erase_if(table, [](const Doubt& doubt) { return !holds(doubt); });
  return table;
}

std::string in_one_sentence(const std::vector<Doubt>& doubts) {
  std::string sentence;
  std::vector<std::string> advised;
  for (const Doubt& doubt : doubts) {
    sentence += (sentence.empty() ? "" : "; also ") + doubt.what;
    if (std::find(advised.begin(), advised.end(), doubt.advice) == advised.end()) {
      sentence += ": " + doubt.advice;
      advised.push_back(doubt.advice);
    }
  }
  return sentence;
}

}  // namespace nocktrail::pipeline
