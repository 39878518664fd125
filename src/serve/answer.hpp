// What a request gets.
#pragma once

#include <string>

namespace nocktrail::serve {

struct Answer {
  int status = 200;
  std::string type = "application/json";
  std::string body;
  bool report = false;             // a page of the report, whose style is inside it
  std::string content_range = {};  // of a part (byte_range.hpp)
};

}  // namespace nocktrail::serve
