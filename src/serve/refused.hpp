// What a request cannot have.
#pragma once

#include <stdexcept>
#include <string>

namespace nocktrail::serve {

class Refused : public std::runtime_error {
 public:
  // `status` of HTTP (RFC 9110); `words`, one line, for the one who asked.
  Refused(int status, const std::string& words) : std::runtime_error(words), status_(status) {}
  int status() const { return status_; }

 private:
  int status_;
};

}  // namespace nocktrail::serve
