// What another logbook holds, taken into this one: that of a second computer, or an old one.
//
// Rows are only added. What both know (a session by its folder and its clips, a set-up by its name,
// a clip by its content) stays as this logbook has it, and readings and verdicts that only the
// other holds come as history beside the current ones. What either has forgotten is forgotten. So
// the same merged again changes nothing.
#pragma once

#include <string>
#include <vector>

#include "nocktrail/logbook/logbook.hpp"

namespace nocktrail::logbook {

struct Merged {
  int sessions = 0;  // added
  int clips = 0;
  int readings = 0;
  int notes = 0;
  int rows = 0;  // of all tables, added or newly marked as forgotten; 0: all was known
  // Set-ups of which the two tell different facts, "session / set-up"; this logbook's stay.
  std::vector<std::string> told_otherwise;
};

// `other` is best opened with Access::copy, which leaves its file alone. One transaction. Throws
// BadInput as the Logbook does, and for what no logbook of the program would hold, naming table and
// row; nothing is changed then.
Merged merge(Logbook& logbook, const Logbook& other);

}  // namespace nocktrail::logbook
