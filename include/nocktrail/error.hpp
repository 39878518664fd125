// The errors that a user or the outside world can cause. Expected "no answer" results (no shot,
// a refused reading) are not errors: they travel as data with a reason.
#pragma once

#include <stdexcept>
#include <string>

namespace nocktrail {

// Something the user gave cannot be used. what() is one line for the terminal: what happened, to
// which file or field, and what to do next.
class BadInput : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

// A file that cannot be read as video at all (exit status 4 of `nocktrail read`).
class UnreadableClip : public BadInput {
 public:
  using BadInput::BadInput;
};

}  // namespace nocktrail
