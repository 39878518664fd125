// A reading in words, for the terminal and for a screen reader: no colour, no drawn boxes, one
// statement a line, each line saying what it is about.
#pragma once

#include <optional>
#include <set>
#include <string>
#include <vector>

#include "nocktrail/reading.hpp"

namespace nocktrail::report {

struct TextOptions {
  Hand hand = Hand::unknown;        // what the reading was judged by: decides the hints given
  bool arrow_length_given = false;  // false: the text says that giving it narrows the interval
  bool view_told = false;           // from where it was filmed: a wrong one hides a good shot
  std::string read_with;            // what was told and by what; empty: nothing
  std::vector<std::string> stops;   // what they forbid: said first, in place of other steps
  // Cautions said before in this run, of which the usual ones are not said again; those said now
  // are added. Null: of this clip alone.
  std::set<std::string>* cautions_said = nullptr;
  int width = 80;  // columns; lines are broken between words, 0 = never
};

// Several lines, ends in a newline. Covers every status: measured shots with direction, meaning,
// how sure, next step and cautions; refusals and clips without a shot with the reason and what to
// do about it; unreadable files with the reason.
std::string text(const Reading& reading, const TextOptions& options = {});

}  // namespace nocktrail::report
