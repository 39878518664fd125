// What an arrow's facts imply for one another.
#pragma once

#include <array>
#include <optional>
#include <string>

#include "nocktrail/tune/session_data.hpp"

namespace nocktrail::session {

// Which of the derived facts a file states itself.
struct ArrowTold {
  bool shaft_length = false;
  bool arrow_length = false;
  bool spine = false;
  bool diameter = false;
  bool total_mass = false;
  bool shaft_mass = false;  // by its length or as a whole
};

// Carries the change from `before` along into what the file does not state itself. Of another shaft
// what was measured and weighed before is forgotten: it may be longer, and a cut by the other's
// length would be too much.
void carry_along(const tune::ArrowFacts& before, const ArrowTold& told, tune::ArrowFacts& arrow);

struct Contradiction {
  std::array<const char*, 3> fields;  // any of which may be the wrong one
  std::string message;                // follows the field's name
};
std::optional<Contradiction> contradiction_in(const tune::ArrowFacts& arrow);

}  // namespace nocktrail::session
